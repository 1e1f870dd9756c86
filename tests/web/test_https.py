"""Pages by https, trusted with the studio's own authority and with nothing else.

Lifetime: CA/Browser Forum ballot SC-031, at most 398 days.
"""

import signal
import socket
import ssl
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from server.certificate import certificates

NAMES = ["localhost", "127.0.0.1", "studio.local"]


def test_the_server_is_trusted_by_its_authority_alone(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port), "--tls",
               "--faces", "none", "--database", str(tmp_path / "s.db")]  # fmt: skip
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline().strip().endswith(f"https://127.0.0.1:{port}/")
        authority = tmp_path / "s.db-tls" / "authority.pem"
        trusting = ssl.create_default_context(cafile=str(authority))
        url = f"https://127.0.0.1:{port}/trust/authority.crt"
        for _ in range(600):  # a loaded machine takes its time
            try:
                with urllib.request.urlopen(url, context=trusting, timeout=2) as answer:
                    assert answer.read() == authority.read_bytes()
                break
            except urllib.error.URLError:
                time.sleep(0.1)
        else:
            pytest.fail("no answer by https")
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(url, context=ssl.create_default_context(), timeout=2)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)
        process.stdout.close()


def test_certificates_are_private_short_lived_and_kept(tmp_path: Path) -> None:
    first = certificates(tmp_path / "tls", NAMES)
    server = x509.load_pem_x509_certificate(first.server.read_bytes())
    assert server.not_valid_after_utc - server.not_valid_before_utc <= timedelta(days=398)
    for private in (first.key, tmp_path / "tls" / "authority.key"):
        assert stat.S_IMODE(private.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700
    again = certificates(tmp_path / "tls", NAMES)
    assert again == first
    assert x509.load_pem_x509_certificate(again.server.read_bytes()) == server


def test_it_is_made_anew_in_time_and_for_new_names(tmp_path: Path) -> None:
    first = certificates(tmp_path, NAMES)
    before = first.server.read_bytes(), first.authority.read_bytes()
    later = certificates(tmp_path, NAMES, datetime.now(UTC) + timedelta(days=370))
    assert later.server.read_bytes() != before[0]
    moved = certificates(tmp_path, [*NAMES, "192.0.2.5"])
    server = x509.load_pem_x509_certificate(moved.server.read_bytes())
    listed = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.0.2.5" in {str(name.value) for name in listed}
    assert moved.authority.read_bytes() == before[1]  # tablets need not be told again
