"""A signing key on a token: a card, stick or module that signs by itself and lets no key out, reached by PKCS#11.

It needs `python-pkcs11`, an extra of the installation: whoever imports this module must expect an ImportError.
A login to a token is the whole process's and lasts until it ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import cast

from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from pkcs11 import Attribute, KeyType, ObjectClass, PKCS11Error, PublicKey, Session, lib
from pkcs11.exceptions import (
    MultipleObjectsReturned,
    MultipleTokensReturned,
    NoSuchKey,
    NoSuchToken,
    PinIncorrect,
    PinInvalid,
    PinLenRange,
    PinLocked,
    UserAlreadyLoggedIn,
)
from pkcs11.util.ec import encode_ec_public_key
from pkcs11.util.rsa import encode_rsa_public_key
from pyhanko.sign.pkcs11 import PKCS11Signer
from pyhanko_certvalidator.registry import SimpleCertificateStore

from reports.errors import TokenUnusable, WrongPassphrase
from reports.keyfile import Public
from reports.signing import SigningKey, of_signer

ENCODERS: Mapping[KeyType, Callable[[PublicKey], bytes]] = {
    KeyType.EC: encode_ec_public_key,
    KeyType.RSA: encode_rsa_public_key,
}
"""The kinds of key that PDF readers verify, and how a token's answer becomes DER."""


@dataclass(frozen=True, slots=True)
class Token:
    """Where a key on a token is."""

    module: Path
    """The library through which this kind of token is reached."""

    label: str
    key: str
    """The label of the key, which its private and its public half share."""


def public_key(token: Token, pin: str) -> Public:
    """The public half of the key. Raises TokenUnusable or WrongPassphrase."""
    with _told(token):
        return _public(token, _session(token, pin))


def load(token: Token, pin: str, certificate: bytes, chain: tuple[bytes, ...], now: datetime) -> SigningKey:
    """The key, ready to sign. `certificate` is its own and `chain` those behind it, as DER.

    Raises TokenUnusable, WrongPassphrase, KeyExpired or KeyNotYetValid.
    """
    own = asn1_x509.Certificate.load(certificate)
    with _told(token):
        session = _session(token, pin)
        public = _public(token, session)
        if serialization.load_der_public_key(own.public_key.dump()) != public:
            raise TokenUnusable(
                f"the works' certificate is of another key than '{token.key}' on the token '{token.label}'; "
                "name the right key in works.yaml, or let the root sign this one with `station key --renew`"
            )
        signer = _Signer(token, session, own, chain, digests=isinstance(public, ec.EllipticCurvePublicKey))
    key = of_signer(own, chain, signer)
    key.check(now)
    return key


class _Signer(PKCS11Signer):
    """What the PDF library signs with; tells in our words what goes wrong then, a token pulled out for one."""

    def __init__(
        self,
        token: Token,
        session: Session,
        own: asn1_x509.Certificate,
        chain: tuple[bytes, ...],
        *,
        digests: bool,
    ) -> None:
        """`digests`: give it the digest to sign, since few tokens make one themselves for elliptic curves."""
        self._token = token
        super().__init__(
            session,
            signing_cert=own,
            key_label=token.key,
            embed_roots=False,
            use_raw_mechanism=digests,
        )
        # The library would put the signer's own certificate in twice.
        self._cert_registry = SimpleCertificateStore()  # type: ignore[no-untyped-call]
        self._cert_registry.register_multiple([asn1_x509.Certificate.load(each) for each in chain])
        # Asked for now, so that a missing private key is told before anything is written.
        self._load_objects()  # type: ignore[no-untyped-call]

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        with _told(self._token):
            return bytes(await super().async_sign_raw(data, digest_algorithm, dry_run))


def _session(token: Token, pin: str) -> Session:
    found = lib(str(token.module)).get_token(token_label=token.label)
    try:
        return found.open(user_pin=pin)
    except UserAlreadyLoggedIn:
        # The PIN was given before in this process; the token looks at none until it logs out.
        return found.open()


def _public(token: Token, session: Session) -> Public:
    found = cast(PublicKey, session.get_key(object_class=ObjectClass.PUBLIC_KEY, label=token.key))
    encode = ENCODERS.get(found[Attribute.KEY_TYPE])
    public = serialization.load_der_public_key(encode(found)) if encode else None
    if not isinstance(public, Public):
        raise TokenUnusable(
            f"the key '{token.key}' is of a kind that PDF readers do not verify; "
            "use an elliptic-curve or RSA key"
        )
    return public


@contextmanager
def _told(token: Token) -> Iterator[None]:
    """Errors of tokens as ours. Raises TokenUnusable or WrongPassphrase."""
    where = f"the token '{token.label}'"
    try:
        if not token.module.is_file():
            raise TokenUnusable(
                f"{token.module}: there is no such PKCS#11 module; name in works.yaml the library that came with "
                "the token, by its whole path"
            )
        yield
    except NoSuchToken as error:
        raise TokenUnusable(
            f"{where} is not there; plug it in, or name another label in works.yaml"
        ) from error
    except (MultipleTokensReturned, MultipleObjectsReturned) as error:
        raise TokenUnusable(
            f"there are several tokens '{token.label}', or several keys '{token.key}' on one; give each a label of "
            "its own"
        ) from error
    except NoSuchKey as error:
        raise TokenUnusable(
            f"{where} has no key '{token.key}', private and public; make one there with the token's own program "
            "(P-256 or RSA), or name another label in works.yaml"
        ) from error
    except (PinIncorrect, PinInvalid, PinLenRange) as error:
        raise WrongPassphrase(f"that is not the PIN of {where}; too many wrong ones lock it") from error
    except PinLocked as error:
        raise TokenUnusable(f"the PIN of {where} is locked; its administrator unlocks it") from error
    except PKCS11Error as error:
        raise TokenUnusable(
            f"{where} does not do what it is asked, through {token.module}: {error or type(error).__name__}"
        ) from error
