"""The works' root: what it signs is believed by outside programs, and what it revokes is not."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from reports import authority
from reports.authority import Cause, Revocation, Root
from reports.certificate import certificate
from reports.errors import BadCertificateFile, KeyExpired, KeyNotYetValid, NotAKey, WrongPassphrase
from reports.record import UnitRecord
from reports.signing import SigningKey, sign
from reports.verification import Status, Verification
from reports.verifying import verify

Need = Callable[[str], str]
MADE = datetime(2026, 1, 1, tzinfo=UTC)
SIGNED_AT = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)
NAMES = ("Skerry Works final test", "Skerry Works")


@pytest.fixture(scope="module")
def root() -> Root:
    return Root.load(
        authority.make_root("Skerry Works root", "Skerry Works", b"safe", MADE, 20), b"safe", MADE
    )


@pytest.fixture(scope="module")
def issued_key(root: Root) -> SigningKey:
    return SigningKey.load(authority.issue_key(root, *NAMES, b"x", MADE, 5), b"x", SIGNED_AT)


@pytest.fixture
def signed_under_root(passing: UnitRecord, issued: datetime, issued_key: SigningKey) -> bytes:
    return sign(certificate(passing, issued), issued_key, reason="r", location="l", signed_at=SIGNED_AT)


def serial_of(key: SigningKey) -> int:
    return x509.load_der_x509_certificate(key.certificate).serial_number


def list_of(root: Root, key: SigningKey, revoked: datetime, cause: Cause) -> bytes:
    (der,) = authority.revocation_lists(
        authority.revocation_list(root, (Revocation(serial_of(key), revoked, cause),), revoked)
    )
    return der


def checked(pdf: bytes, root: Root, *lists: bytes) -> Verification:
    return verify(pdf, (root.certificate,), datetime(2027, 6, 1, tzinfo=UTC), lists=lists)


def test_openssl_believes_a_key_by_its_root_and_the_empty_list(
    root: Root, issued_key: SigningKey, need: Need, tmp_path: Path
) -> None:
    assert openssl_says(need, tmp_path, root, issued_key, authority.revocation_list(root, (), MADE)) == ""


def test_openssl_finds_a_revoked_key_on_the_list(
    root: Root, issued_key: SigningKey, need: Need, tmp_path: Path
) -> None:
    revoked = Revocation(serial_of(issued_key), MADE + timedelta(days=30), Cause.STOLEN)
    crl = authority.revocation_list(root, (revoked,), revoked.revoked)
    assert "certificate revoked" in openssl_says(need, tmp_path, root, issued_key, crl)


def openssl_says(need: Need, folder: Path, root: Root, key: SigningKey, crl: bytes) -> str:
    (folder / "root.pem").write_bytes(authority.pem(root.certificate))
    (folder / "key.pem").write_bytes(authority.pem(key.certificate))
    (folder / "list.crl").write_bytes(crl)
    command = [need("openssl"), "verify", "-x509_strict", "-crl_check", "-CRLfile", folder / "list.crl"]
    command += [
        "-CAfile",
        folder / "root.pem",
        "-attime",
        str(int(SIGNED_AT.timestamp())),
        folder / "key.pem",
    ]
    done = subprocess.run(command, capture_output=True, text=True)
    return done.stderr if done.returncode else ""


def test_a_customer_with_the_root_believes_what_any_of_its_keys_signed(
    signed_under_root: bytes, root: Root, passing: UnitRecord, issued: datetime
) -> None:
    second = SigningKey.load(authority.issue_key(root, *NAMES, b"x", MADE, 5), b"x", SIGNED_AT)
    other = sign(certificate(passing, issued), second, reason="r", location="l", signed_at=SIGNED_AT)
    assert [checked(pdf, root).status for pdf in (signed_under_root, other)] == [Status.VALID] * 2


def test_a_key_of_another_root_of_the_same_name_is_unknown(signed_under_root: bytes) -> None:
    data = authority.make_root("Skerry Works root", "Skerry Works", b"safe", MADE, 20)
    other = Root.load(data, b"safe", MADE)
    assert checked(signed_under_root, other).status is Status.UNKNOWN_SIGNER


@pytest.mark.parametrize("cause", [Cause.REPLACED, Cause.CLOSED])
@pytest.mark.parametrize(("days", "status"), [(1, Status.VALID), (-1, Status.KEY_REVOKED)])
def test_a_key_that_was_replaced_counts_until_then(
    cause: Cause,
    days: int,
    status: Status,
    signed_under_root: bytes,
    root: Root,
    issued_key: SigningKey,
) -> None:
    crl = list_of(root, issued_key, SIGNED_AT + timedelta(days=days), cause)
    found = checked(signed_under_root, root, crl)
    assert (found.status, found.revoked_as) == (status, cause.word)


def test_a_stolen_key_counts_no_more_however_early_it_claims_to_have_signed(
    signed_under_root: bytes, root: Root, issued_key: SigningKey
) -> None:
    crl = list_of(root, issued_key, SIGNED_AT + timedelta(days=30), Cause.STOLEN)
    found = checked(signed_under_root, root, crl)
    assert found.status is Status.KEY_REVOKED
    assert found.sentence == (
        "Doubtful: unchanged, but the key of Skerry Works final test was revoked on 25 December 2026 (stolen), and "
        "nothing proves that it was signed before."
    )


def test_a_list_that_another_root_signed_does_not_count(
    signed_under_root: bytes, root: Root, issued_key: SigningKey
) -> None:
    data = authority.make_root("Skerry Works root", "Skerry Works", b"safe", MADE, 20)
    forged = list_of(Root.load(data, b"safe", MADE), issued_key, MADE, Cause.STOLEN)
    assert checked(signed_under_root, root, forged).status is Status.VALID


def test_what_a_list_says_is_read_back(root: Root) -> None:
    said = tuple(
        Revocation(number, MADE + timedelta(days=number), cause) for number, cause in enumerate(Cause, 1)
    )
    (der,) = authority.revocation_lists(authority.revocation_list(root, said, MADE))
    assert authority.revocations(der) == said
    assert authority.revocation_lists(der) == (der,)


@pytest.mark.parametrize("data", [b"", b"hello", b"-----BEGIN X509 CRL-----\nxx\n-----END X509 CRL-----\n"])
def test_a_file_that_is_no_list_is_refused(data: bytes) -> None:
    with pytest.raises(BadCertificateFile, match=r"\.crl"):
        authority.revocation_lists(data)


def test_a_root_signs_keys_and_lists_and_no_documents(root: Root) -> None:
    found = x509.load_der_x509_certificate(root.certificate).extensions
    usage = found.get_extension_for_class(x509.KeyUsage).value
    assert (usage.key_cert_sign, usage.crl_sign, usage.digital_signature) == (True, True, False)
    assert found.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_no_key_outlives_its_root(root: Root) -> None:
    with pytest.raises(KeyExpired, match="ends on 1 January 2046"):
        authority.issue_key(root, *NAMES, b"x", datetime(2042, 1, 1, tzinfo=UTC), 5)


def test_a_root_that_ran_out_or_has_not_begun_is_refused() -> None:
    data = authority.make_root("R", "W", b"safe", MADE, 1)
    with pytest.raises(KeyExpired, match="station key --root --renew"):
        Root.load(data, b"safe", datetime(2027, 1, 2, tzinfo=UTC))
    with pytest.raises(KeyNotYetValid, match="check this computer's clock"):
        Root.load(data, b"safe", datetime(2025, 1, 2, tzinfo=UTC))


def test_a_root_wants_its_own_passphrase_and_a_root(root: Root) -> None:
    data = authority.make_root("R", "W", b"safe", MADE, 20)
    with pytest.raises(WrongPassphrase, match="does not open the root key"):
        Root.load(data, b"wrong", MADE)
    with pytest.raises(NotAKey, match="station key --root"):
        Root.load(authority.issue_key(root, *NAMES, b"x", MADE, 5), b"x", MADE)
    with pytest.raises(WrongPassphrase, match="choose a passphrase"):
        authority.make_root("R", "W", b"", MADE, 20)
