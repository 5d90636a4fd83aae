"""The keys of a works as files: the station's signing key, the root that stands behind it, and what they were before.

Certificates signed with a key that was replaced stay valid, so its certificate stays in `keys/former`; its private
half does not. Whoever has none may sign with a key that stands for itself; with a root, customers need that one only.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits.yamlfile import read_bytes
from station import tokens
from station.errors import UserMistake
from station.files import write_whole
from station.settings import Works

if TYPE_CHECKING:
    from reports.authority import Root
    from reports.signing import SigningKey

Ask = Callable[[], str]
"""Gives a passphrase when it is needed."""

ROOT_YEARS = 20
KEY_YEARS = 5


def make_root(works: Works, passphrase: Ask, now: datetime, years: int, *, renew: bool = False) -> Path:
    """Make the works' root key, its certificate for customers, and its list of revoked keys, which is empty.

    Gives the certificate's path. Raises UserMistake when there is one already, unless it is to be renewed.
    """
    from reports.authority import Root, make_root, pem, revocation_list

    public = root_certificate(works)
    if not renew:
        _refuse_there(works.root, "station key --root --renew")
        _refuse_there(public, "station key --root --renew")
    word = passphrase().encode()
    data = make_root(f"{works.name} root", works.name, word, now, years)
    root = Root.load(data, word, now)
    _retire(works, public)
    _retire(works, revoked_list(works))
    write_whole(works.root, data, private=True)
    write_whole(public, pem(root.certificate))
    write_whole(revoked_list(works), revocation_list(root, (), now))
    return public


def make_key(
    works: Works,
    passphrase: Ask,
    valid_from: datetime,
    years: int,
    *,
    root_passphrase: Ask | None = None,
    renew: bool = False,
) -> tuple[Path, Path]:
    """Make the works' signing key and, beside it, its certificate. The root signs it where the works has one.

    A key on a token is there already, and gets a certificate of the root. Raises UserMistake when there is a key
    already, unless it is to be renewed: what was signed with it must stay verifiable, so its certificate is kept.
    """
    from reports.authority import issue_key
    from reports.signing import SigningKey, make_key, public_certificate

    if not renew:
        _refuse_there(works.needed_to_sign, "station key --renew")
    root = open_root(works, root_passphrase, valid_from) if is_there(root_certificate(works)) else None
    names = f"{works.name} final test", works.name
    if works.token is not None:
        certificate = _certified(works, root, passphrase, names, valid_from, years)
        _retire(works, own_certificate(works))
        write_whole(own_certificate(works), certificate)
        return works.key, own_certificate(works)
    word = passphrase().encode()
    if root is None:
        data = make_key(*names, word, valid_from, years)
    else:
        data = issue_key(root, *names, word, valid_from, years)
    _retire(works, own_certificate(works))
    # First what others verify with: should the power go between the two, the former key still signs.
    write_whole(own_certificate(works), public_certificate(SigningKey.load(data, word, valid_from)))
    write_whole(works.key, data, private=True)
    return works.key, own_certificate(works)


def open_key(works: Works, passphrase: str, now: datetime) -> SigningKey:
    """The works' signing key. Raises UserMistake or reports.errors.KeyUnusable with the way out."""
    from reports.signing import SigningKey

    if not is_there(works.needed_to_sign):
        raise UserMistake(f"{works.needed_to_sign}: there is no signing key; make one with `station key`")
    if works.token is None:
        key = SigningKey.load(read_bytes(works.key), passphrase.encode(), now)
    else:
        key = _on_token(works, passphrase, now)
    _refuse_revoked(works, key.certificate, key.chain)
    return key


def _on_token(works: Works, pin: str, now: datetime) -> SigningKey:
    from reports.authority import issuer_of

    (own, *behind) = certificates_in((own_certificate(works),))
    roots = certificates_in((root_certificate(works),)) if is_there(root_certificate(works)) else ()
    root = issuer_of(own, roots)
    chain = (*behind, *((root,) if root is not None else ()))
    return tokens.load(works, pin, own, chain, now)


def _certified(
    works: Works, root: Root | None, pin: Ask, names: tuple[str, str], valid_from: datetime, years: int
) -> bytes:
    """The root's certificate, as PEM, of the key on the works' token."""
    from reports.authority import issue_certificate, pem, same_key

    if root is None:
        raise UserMistake(
            "a key on a token needs a root that signs its certificate; make one with `station key --root`"
        )
    certificate = issue_certificate(root, tokens.public_key(works, pin()), names, valid_from, years)
    known = certificates_in(own_certificates(works))
    for each in known:
        if same_key(each, certificate):
            _refuse_revoked(works, each, known)
    return pem(certificate)


def open_root(works: Works, passphrase: Ask | None, now: datetime) -> Root:
    """The works' root key. Raises UserMistake where it is not at hand, or KeyUnusable."""
    from reports.authority import Root

    if not is_there(works.root):
        if not is_there(root_certificate(works)):
            raise UserMistake("this works has no root key; make one with `station key --root`")
        raise UserMistake(
            f"{works.root}: the root key is not here; bring it from where it is kept, or name its place in "
            "works.yaml as 'root' under 'signing'. If it is lost, make a new one with `station key --root --renew`: "
            "what was signed before stays valid, and customers get the new root's certificate"
        )
    if passphrase is None:
        raise UserMistake(f"{works.root}: the passphrase of the root key is needed")
    root = Root.load(read_bytes(works.root), passphrase().encode(), now)
    if (root.certificate,) != certificates_in((root_certificate(works),)):
        raise UserMistake(
            f"{works.root} is not the key of {root_certificate(works)}; name the right one in works.yaml"
        )
    return root


def own_certificates(works: Works) -> tuple[Path, ...]:
    """The files of signers' certificates that count in this works: its own of all times, and those it trusts."""
    own = [path for path in (own_certificate(works), root_certificate(works)) if is_there(path)]
    return (*own, *former_certificates(works), *works.trusted)


def own_lists(works: Works) -> tuple[Path, ...]:
    """The files with lists of revoked keys that count in this works."""
    present = revoked_list(works)
    former = sorted((works.keys / "former").glob("*.crl"))
    return (*((present,) if is_there(present) else ()), *former)


def former_certificates(works: Works) -> tuple[Path, ...]:
    """The certificates of keys and roots that were replaced."""
    return tuple(sorted((works.keys / "former").glob("*.pem")))


def own_certificate(works: Works) -> Path:
    """Where the certificate of the signing key is."""
    return works.key.with_suffix(".pem")


def root_certificate(works: Works) -> Path:
    """Where the root's certificate is, whether or not the root's key is at hand."""
    return works.keys / "root.pem"


def revoked_list(works: Works) -> Path:
    """Where the root's list of revoked keys is."""
    return works.keys / "revoked.crl"


def is_there(path: Path) -> bool:
    """Raises UserMistake where that may not even be asked."""
    try:
        return path.is_file()
    except OSError as error:
        raise UserMistake(f"{path} may not be looked at: {error.strerror}; ask its owner") from error


def _refuse_there(path: Path, renew: str) -> None:
    if is_there(path):
        raise UserMistake(
            f"{path} exists; replace it with `{renew}`, which keeps what verifies earlier signatures"
        )


def _refuse_revoked(works: Works, certificate: bytes, chain: Iterable[bytes]) -> None:
    from reports.authority import facts_of, revocation_of
    from reports.errors import KeyRevoked

    issuers = (*certificates_in(own_certificates(works)), *chain)
    found = revocation_of(certificate, issuers, lists_in(own_lists(works)))
    if found is not None:
        way_out = (
            "make a new one" if works.token is None else "make a new one on the token, name it in works.yaml,"
        )
        certify = "with `station key --renew`" if works.token is None else "and run `station key --renew`"
        raise KeyRevoked(
            f"the signing key of {facts_of(certificate).name} was revoked on {found.revoked:%Y-%m-%d} "
            f"({found.cause.word}); {way_out} {certify}"
        )


def _retire(works: Works, path: Path) -> None:
    """Keep a public file under a name of its own before another takes its place."""
    if is_there(path):
        data = read_bytes(path)
        name = f"{path.stem}-{hashlib.sha256(data).hexdigest()[:12]}{path.suffix}"
        write_whole(works.keys / "former" / name, data)


def certificates_in(paths: Iterable[Path]) -> tuple[bytes, ...]:
    """The certificates of these files, as DER. Raises reports.errors.BadCertificateFile or limits.errors.BadInput."""
    from reports.verifying import certificates

    return tuple(der for path in paths for der in certificates(read_bytes(path)))


def lists_in(paths: Iterable[Path]) -> tuple[bytes, ...]:
    """The lists of revoked keys in these files, as DER. Raises as `certificates_in` does."""
    from reports.authority import revocation_lists

    return tuple(der for path in paths for der in revocation_lists(read_bytes(path)))
