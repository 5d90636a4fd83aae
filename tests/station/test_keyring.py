"""The keys of a works as files: made, replaced, revoked, and refused with the way out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from reports.errors import KeyExpired, KeyNotYetValid, KeyRevoked, WrongPassphrase
from reports.signing import SigningKey, sign_text
from reports.verifying import verify_text
from station import keylist, keyring, settings
from station.errors import UserMistake
from station.settings import Works

NOW = datetime(2026, 11, 25, tzinfo=UTC)


@pytest.fixture
def works(tmp_path: Path) -> Works:
    return settings.create(tmp_path / "w", "Skerry Works", ("Quay 3",), "bench: b\n")


def root_of(works: Works, *, renew: bool = False, now: datetime = NOW) -> Path:
    return keyring.make_root(works, lambda: "safe", now, 20, renew=renew)


def key_of(works: Works, *, renew: bool = False, now: datetime = NOW) -> SigningKey:
    keyring.make_key(works, lambda: "word", now, 5, root_passphrase=lambda: "safe", renew=renew)
    return keyring.open_key(works, "word", now)


def is_ours(works: Works, signature: bytes, at: datetime = NOW) -> bool:
    found = verify_text("t", signature, keyring.certificates_in(keyring.own_certificates(works)), at)
    return found.intact and found.trusted


def test_without_a_root_a_key_stands_for_itself(works: Works) -> None:
    key = key_of(works)
    assert key.chain == ()
    assert [known.is_root for known in keylist.known_keys(works)] == [False]


def test_with_a_root_the_key_is_the_roots(works: Works) -> None:
    public = root_of(works)
    assert key_of(works).chain == keyring.certificates_in((public,))


def test_what_a_replaced_key_signed_stays_ours(works: Works) -> None:
    first = sign_text("t", key_of(works), NOW)
    root_of(works)
    second = sign_text("t", key_of(works, renew=True), NOW)
    root_of(works, renew=True)
    third = sign_text("t", key_of(works, renew=True), NOW)
    assert [is_ours(works, each) for each in (first, second, third)] == [True] * 3
    assert sorted(each.stands for each in keylist.known_keys(works)) == ["former"] * 3 + ["in use"] * 2


def test_what_is_there_is_replaced_only_on_request(works: Works) -> None:
    root_of(works)
    key_of(works)
    with pytest.raises(UserMistake, match="station key --renew"):
        key_of(works)
    with pytest.raises(UserMistake, match="station key --root --renew"):
        root_of(works)


def test_a_private_key_is_the_owners_alone(works: Works) -> None:
    root_of(works)
    key_of(works)
    assert {path.stat().st_mode & 0o777 for path in (works.root, works.key)} == {0o600}


def test_a_revoked_key_signs_no_more_until_it_is_renewed(works: Works) -> None:
    root_of(works)
    key = key_of(works)
    revoked = keylist.revoke(works, key.fingerprint[:12], "replaced", lambda: "safe", NOW)
    assert (revoked.cause, revoked.stands) == ("replaced", "revoked, replaced")
    with pytest.raises(KeyRevoked, match=r"revoked on 2026-11-25 \(replaced\).*station key --renew"):
        keyring.open_key(works, "word", NOW)
    assert key_of(works, renew=True).fingerprint != key.fingerprint


def test_every_revoked_key_stays_on_the_list(works: Works) -> None:
    root_of(works)
    for renew in (False, True, True):
        keylist.revoke(works, key_of(works, renew=renew).fingerprint, "stolen", lambda: "safe", NOW)
    assert [known.cause for known in keylist.known_keys(works)] == ["", "stolen", "stolen", "stolen"]


@pytest.mark.parametrize(
    ("beginning", "cause", "said"),
    [
        ("zz", "stolen", "no key of this works begins with 'zz'"),
        ("", "stolen", "no key of this works begins with ''"),
        ("KEY", "gone", "stolen, replaced, closed, not 'gone'"),
        ("ROOT", "stolen", "a root is not revoked"),
    ],
)
def test_a_revocation_that_cannot_be_is_refused(works: Works, beginning: str, cause: str, said: str) -> None:
    root_of(works)
    prints = {"KEY": key_of(works).fingerprint, "ROOT": keylist.known_keys(works)[0].fingerprint}
    with pytest.raises(UserMistake, match=said):
        keylist.revoke(works, prints.get(beginning, beginning), cause, lambda: "safe", NOW)


def test_a_key_is_revoked_once_and_by_its_own_root_only(works: Works) -> None:
    alone = key_of(works)
    with pytest.raises(UserMistake, match="no root key; make one"):
        keylist.revoke(works, alone.fingerprint, "stolen", lambda: "safe", NOW)
    root_of(works)
    with pytest.raises(UserMistake, match="the present root did not sign that key"):
        keylist.revoke(works, alone.fingerprint, "stolen", lambda: "safe", NOW)
    key = key_of(works, renew=True)
    keylist.revoke(works, key.fingerprint, "closed", lambda: "safe", NOW)
    with pytest.raises(UserMistake, match="revoked already"):
        keylist.revoke(works, key.fingerprint, "closed", lambda: "safe", NOW)


def test_a_lost_root_is_told_with_the_way_out(works: Works) -> None:
    root_of(works)
    works.root.rename(works.folder / "elsewhere.p12")
    with pytest.raises(UserMistake, match=r"root key is not here.*If it is lost.*station key --root --renew"):
        key_of(works)
    root_of(works, renew=True)
    assert key_of(works).chain == keyring.certificates_in((keyring.root_certificate(works),))


def test_another_works_root_is_not_taken_for_ours(works: Works, tmp_path: Path) -> None:
    other = settings.create(tmp_path / "o", "Other Works", ("Quay 4",), "bench: b\n")
    root_of(works)
    root_of(other)
    works.root.write_bytes(other.root.read_bytes())
    with pytest.raises(UserMistake, match=r"is not the key of .*root\.pem"):
        key_of(works)


def test_a_key_out_of_its_time_or_with_a_wrong_passphrase_is_refused(works: Works) -> None:
    key_of(works)
    with pytest.raises(KeyExpired, match="station key --renew"):
        keyring.open_key(works, "word", NOW + timedelta(days=6 * 365))
    with pytest.raises(KeyNotYetValid, match="check this computer's clock"):
        keyring.open_key(works, "word", NOW - timedelta(days=1))
    with pytest.raises(WrongPassphrase, match="does not open the signing key"):
        keyring.open_key(works, "wrong", NOW)
