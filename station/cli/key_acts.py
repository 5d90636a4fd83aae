"""What the verbs on keys do: one call, then the showing of what came back."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from reports import wording
from station.cli.asking import ask_secret, out, passphrase
from station.cli.signing_in import signed_in
from station.cli.tables import Column, say, show, there

if TYPE_CHECKING:
    from station.settings import Works


def make_key(folder: Path, years: int | None, by: str, *, renew: bool) -> None:
    """Make the signing key."""
    from station import keyring
    from station.desk import now_utc

    works = _allowed(folder, by, "signing key")
    secret, public = keyring.make_key(
        works,
        passphrase(works, twice=works.token is None),
        now_utc(),
        years or keyring.KEY_YEARS,
        root_passphrase=_root_passphrase(works),
        renew=renew,
    )
    if works.token is None:
        say(out(), f"Signing key: {secret} (keep it and its passphrase safe)")
    else:
        say(
            out(),
            f"Signing key: '{works.token.key}' on the token '{works.token.label}'; its certificate: {public}",
        )
    root = keyring.root_certificate(works)
    if keyring.is_there(root):
        say(out(), f"Signed by the works' root: customers need nothing but {root}")
    else:
        say(out(), f"For your customers: {public}")


def make_root(folder: Path, years: int | None, by: str, *, renew: bool) -> None:
    """Make the root key."""
    from station import keyring
    from station.desk import now_utc

    works = _allowed(folder, by, "root key")
    public = keyring.make_root(
        works, _root_passphrase(works, twice=True), now_utc(), years or keyring.ROOT_YEARS, renew=renew
    )
    again = " --renew" if keyring.is_there(works.needed_to_sign) else ""
    say(
        out(),
        f"Root key: {works.root} (take it off this computer, with its passphrase, into a safe)\n"
        f"For your customers: {public}\n"
        f"Its list of revoked keys: {keyring.revoked_list(works)}\n"
        f"Next: station key{again}{there(folder)}",
    )


KEYS = (
    Column("what", "Key"),
    Column("fingerprint", "Fingerprint", lambda value: wording.digest(value)),
    Column("valid_from", "From", wording.day),
    Column("valid_until", "Until", wording.day),
    Column("stands", "Stands"),
)


def list_keys(folder: Path, *, as_json: bool) -> None:
    """List the keys."""
    from station import keylist, settings

    known = keylist.known_keys(settings.load(folder))
    if not known and not as_json:
        say(out(), f"No keys yet. Next: station key --root{there(folder)}, then station key")
        return
    rows = [
        {
            "what": "root" if each.is_root else "signing",
            **{name: value for name, value in asdict(each).items() if name != "path"},
            "file": str(each.path),
            "stands": each.stands,
        }
        for each in known
    ]
    show(rows, KEYS, out(), as_json=as_json)


def revoke_key(folder: Path, fingerprint: str, cause: str, by: str) -> None:
    """Revoke a key."""
    from station import keylist, keyring
    from station.desk import now_utc

    works = _allowed(folder, by, fingerprint)
    revoked = keylist.revoke(works, fingerprint, cause, _root_passphrase(works), now_utc())
    say(out(), f"Revoked: {revoked.name}, {wording.digest(revoked.fingerprint)} ({revoked.cause})")
    say(out(), f"Give your customers the new list: {keyring.revoked_list(works)}")
    if revoked.is_present:
        say(out(), f"Next: station key --renew{there(folder)}")


def _allowed(folder: Path, by: str, about: str) -> Works:
    """The works whose keys somebody may make. Raises UserMistake where they may not."""
    from station.desk import open_desk
    from station.rights import Act

    with open_desk(folder) as desk:
        signed_in(desk, by).expect(Act.KEYS, about)
        return desk.works


def _root_passphrase(works: Works, *, twice: bool = False) -> Callable[[], str]:
    from station import settings

    return lambda: settings.root_passphrase(works, os.environ, ask_secret(twice=twice))
