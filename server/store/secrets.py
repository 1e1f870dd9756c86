"""What identifies this installation and lets a tablet in."""

from secrets import token_hex, token_urlsafe

from sqlmodel import Session

from server.store.tables import SecretRow


def pairing_token(session: Session) -> str:
    """The token in the printed address, kept over a restart of this process."""
    return _kept(session, "pairing", token_urlsafe(16))


def new_pairing_token(session: Session) -> str:
    """Another token: the addresses printed and scanned before let nobody in any more."""
    session.merge(SecretRow(name="pairing", value=token_urlsafe(16)))
    session.commit()
    return pairing_token(session)


def signing_key(session: Session) -> bytes:
    """What device cookies are signed with, made once and kept. [32 octets]"""
    return bytes.fromhex(_kept(session, "cookies", token_hex(32)))


def _kept(session: Session, name: str, new: str) -> str:
    row = session.get(SecretRow, name)
    if row is None:
        row = SecretRow(name=name, value=new)
        session.add(row)
        session.commit()
    return row.value
