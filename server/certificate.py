"""A certificate of our own for the studio's network, so that tablets may use https.

A small authority is made once and kept beside the database; it signs the server's certificate,
which is made anew a month before it ends or when the machine's names have changed. Needs the
`cryptography` package (the extra `tls`).
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from server.errors import Refused

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

AUTHORITY_DAYS = 3650
SERVER_DAYS = 397
"""Browsers refuse certificates that live longer than 398 days (CA/Browser Forum ballot SC-031)."""
RENEW_DAYS = 30


@dataclass(frozen=True)
class Certificates:
    """Where the files are, and the authority's fingerprint to compare on the tablet."""

    authority: Path
    server: Path
    key: Path
    fingerprint: str


def certificates(folder: Path, names: Sequence[str], now: datetime | None = None) -> Certificates:
    """The authority and the server's certificate for these names and addresses, made when needed.

    Raises
    ------
    Refused
        `cryptography` is not installed, or the folder cannot be used.
    """
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes
    except ImportError:
        raise Refused(
            "--tls needs the package cryptography: install it with"
            " .venv/bin/pip install -e '.[tls]'"
        ) from None
    moment = now or datetime.now(UTC)
    found = Certificates(folder / "authority.pem", folder / "server.pem", folder / "server.key", "")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        key_file = folder / "authority.key"
        if not (found.authority.exists() and key_file.exists()):
            authority_key = _new_key(key_file)
            _write(found.authority, _authority(authority_key, moment), 0o644)
        authority = x509.load_pem_x509_certificate(found.authority.read_bytes())
        if not _good(found, names, moment):
            _write(
                found.server,
                _signed(authority, _load(key_file), _new_key(found.key), names, moment),
                0o644,
            )
    except (OSError, ValueError) as error:
        raise Refused(f"the certificates in {folder} cannot be used: {error}") from None
    print_of = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificates(found.authority, found.server, found.key, print_of)


def _good(found: Certificates, names: Sequence[str], moment: datetime) -> bool:
    from cryptography import x509

    if not (found.server.exists() and found.key.exists()):
        return False
    server = x509.load_pem_x509_certificate(found.server.read_bytes())
    listed = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    named = {str(name.value) for name in listed}
    left = server.not_valid_after_utc - moment
    return left > timedelta(days=RENEW_DAYS) and set(names) <= named


def _new_key(path: Path) -> "ec.EllipticCurvePrivateKey":
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    _write(path, text, 0o600)
    return key


def _load(path: Path) -> "ec.EllipticCurvePrivateKey":
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = serialization.load_pem_private_key(path.read_bytes(), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError(f"{path.name} is not a key of ours")
    return key


def _write(path: Path, data: bytes, mode: int) -> None:
    """In one step, and never readable by others even for a moment."""
    draft = path.with_suffix(".new")
    draft.unlink(missing_ok=True)
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(data)
    draft.replace(path)


def _name(text: str) -> "x509.Name":
    from cryptography import x509

    return x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, text)])


def _authority(key: "ec.EllipticCurvePrivateKey", moment: datetime) -> bytes:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization

    name = _name("Thirdstop in this studio")
    built = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(moment - timedelta(days=1))
        .not_valid_after(moment + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.KeyUsage(
            digital_signature=False, content_commitment=False, key_encipherment=False,
            data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=True,
            encipher_only=False, decipher_only=False), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    return built.public_bytes(serialization.Encoding.PEM)


def _signed(
    authority: "x509.Certificate",
    authority_key: "ec.EllipticCurvePrivateKey",
    key: "ec.EllipticCurvePrivateKey",
    names: Sequence[str],
    moment: datetime,
) -> bytes:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.x509.oid import ExtendedKeyUsageOID

    built = (
        x509.CertificateBuilder()
        .subject_name(_name("Thirdstop"))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(moment - timedelta(days=1))
        .not_valid_after(moment + timedelta(days=SERVER_DAYS - 1))
        .add_extension(x509.SubjectAlternativeName([_alternative(n) for n in names]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), False
        )
        .sign(authority_key, hashes.SHA256())
    )
    return built.public_bytes(serialization.Encoding.PEM)


def _alternative(name: str) -> "x509.GeneralName":
    from cryptography import x509

    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)
