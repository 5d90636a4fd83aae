"""The works' signing key where it is on a token: what it is reached by is an extra of the installation."""

from __future__ import annotations

from datetime import datetime
from types import ModuleType
from typing import TYPE_CHECKING

from station.errors import UserMistake
from station.settings import Works

if TYPE_CHECKING:
    from reports.keyfile import Public
    from reports.signing import SigningKey
    from reports.token import Token


def public_key(works: Works, pin: str) -> Public:
    """The public half of the key. Raises UserMistake or reports.errors.KeyUnusable."""
    library = _library()
    found: Public = library.public_key(_token(works), pin)
    return found


def load(works: Works, pin: str, certificate: bytes, chain: tuple[bytes, ...], now: datetime) -> SigningKey:
    """The key, ready to sign, with its certificate and those behind it as DER. Raises as `public_key` does."""
    library = _library()
    key: SigningKey = library.load(_token(works), pin, certificate, chain, now)
    return key


def _library() -> ModuleType:
    try:
        from reports import token
    except ImportError as error:
        if error.name is None or not error.name.startswith("pkcs11"):
            raise
        raise UserMistake(
            "works.yaml names a key on a token, and what tokens are reached by is not installed; "
            "run: pip install python-pkcs11"
        ) from error
    return token


def _token(works: Works) -> Token:
    from reports.token import Token

    assert works.token is not None
    return Token(works.folder / works.token.module, works.token.label, works.token.key)
