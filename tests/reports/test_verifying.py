"""Whatever file comes in, the check gives one clear status and never a traceback."""

from __future__ import annotations

import io
import random
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, pkcs12
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from reports.attached import twin_in
from reports.certificate import certificate
from reports.errors import BadCertificateFile
from reports.record import UnitRecord
from reports.signing import SigningKey, make_key, public_certificate, sign, sign_text
from reports.verification import Level, Status, Verification
from reports.verifying import certificates, verify, verify_text

NOW = datetime(2026, 12, 24, tzinfo=UTC)
SIGNED_AT = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)
READINGS = (
    "the end of the file is missing",
    "its signature cannot be read",
    "its parts do not fit together",
)


def covered(pdf: bytes) -> tuple[int, int]:
    """Where the signature itself begins and ends; everything else is covered by it."""
    found = re.search(rb"/ByteRange \[0 (\d+) (\d+) \d+", pdf)
    assert found is not None
    return int(found[1]), int(found[2])


@pytest.fixture
def check(key: SigningKey) -> Callable[[bytes], Verification]:
    return lambda pdf: verify(pdf, (key.certificate,), NOW)


def test_a_certificate_as_it_was_signed_is_valid(
    signed: bytes, key: SigningKey, check: Callable[[bytes], Verification]
) -> None:
    found = check(signed)
    assert found == Verification(
        is_pdf=True,
        readable=True,
        signatures=1,
        intact=True,
        covers_whole_file=True,
        signer="Skerry Works final test",
        fingerprint=key.fingerprint,
        signed_at=SIGNED_AT,
        reason="Final test of SKV-0107",
        trusted=True,
        key_valid_when_signed=True,
        claimed_in_future=False,
        level=Level.BASIC,
        twin=found.twin,
        twin_note="What it carries for programs is what its page names: SKV-0107-1.json.",
    )
    assert found.twin == twin_in(signed).digest
    assert found.status is Status.VALID
    assert found.sentence == (
        "Valid: signed by Skerry Works final test on 25 November 2026, 15:20 UTC and unchanged since."
    )


def test_a_signer_we_do_not_know_is_not_ours(signed: bytes, key: SigningKey) -> None:
    found = verify(signed, (), NOW)
    assert found.status is Status.UNKNOWN_SIGNER
    assert "somebody unknown" in found.sentence
    assert found.intact


def test_another_works_key_of_the_same_name_is_unknown(signed: bytes) -> None:
    data = make_key("Skerry Works final test", "Skerry Works", b"x", datetime(2026, 1, 1, tzinfo=UTC), 5)
    other = SigningKey.load(data, b"x", SIGNED_AT)
    assert verify(signed, (other.certificate,), NOW).status is Status.UNKNOWN_SIGNER


def test_a_key_issued_by_somebody_trusted_is_trusted(passing: UnitRecord, issued: datetime) -> None:
    root_key, root = _issuer()
    key = _issued_by(root_key, root)
    pdf = sign(certificate(passing, issued), key, reason="r", location="l", signed_at=SIGNED_AT)
    assert verify(pdf, (root.public_bytes(Encoding.DER),), NOW).status is Status.VALID
    assert verify(pdf, (), NOW).status is Status.UNKNOWN_SIGNER


def test_any_changed_byte_that_is_covered_is_found(
    signed: bytes, check: Callable[[bytes], Verification]
) -> None:
    """A sample of 200 places, the structure at the end of the file more often."""
    begin, end = covered(signed)
    rng = random.Random(5)
    places = [rng.randrange(begin) for _ in range(100)] + [
        rng.randrange(end, len(signed)) for _ in range(100)
    ]
    for place in places:
        changed = bytearray(signed)
        changed[place] ^= 1 << rng.randrange(8)
        status = check(bytes(changed)).status
        assert status in (Status.ALTERED, Status.UNREADABLE, Status.NOT_SIGNED), place


def test_a_changed_reading_is_altered(signed: bytes, check: Callable[[bytes], Verification]) -> None:
    place = signed.index(b"stream") + 100
    found = check(signed[:place] + bytes([signed[place] ^ 1]) + signed[place + 1 :])
    assert found.status is Status.ALTERED
    assert found.sentence == "Altered: this is not what Skerry Works final test signed."


@pytest.mark.parametrize("tail", [b"\n", b"%\n", b"\nxref\n0 0\ntrailer\n<<>>\nstartxref\n0\n%%EOF\n"])
def test_anything_appended_is_found(
    tail: bytes, signed: bytes, check: Callable[[bytes], Verification]
) -> None:
    assert check(signed + tail).status in (Status.ADDED_TO, Status.UNREADABLE)


def test_an_update_in_due_form_is_found(signed: bytes, check: Callable[[bytes], Verification]) -> None:
    """A second revision, as an editor appends one."""
    writer = IncrementalPdfFileWriter(io.BytesIO(signed))
    writer.root["/Note"] = generic.pdf_string("passed")
    writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    found = check(out.getvalue())
    assert found.status is Status.ADDED_TO
    assert "something was added" in found.sentence


def test_an_unsigned_certificate_is_not_signed(
    passing: UnitRecord, issued: datetime, check: Callable[[bytes], Verification]
) -> None:
    assert check(certificate(passing, issued)).status is Status.NOT_SIGNED


@pytest.mark.parametrize("data", [b"", b"hello", b"\x89PNG\r\n\x1a\n", bytes(5000)])
def test_what_is_no_pdf_is_said_to_be_none(data: bytes, check: Callable[[bytes], Verification]) -> None:
    assert check(data).status is Status.NOT_A_PDF


@pytest.mark.parametrize("data", [b"%PDF-", b"%PDF-1.7\n%%EOF", b"%PDF-1.4\nstartxref\n99999\n%%EOF\n"])
def test_what_only_begins_as_a_pdf_is_unreadable(data: bytes, check: Callable[[bytes], Verification]) -> None:
    found = check(data)
    assert found.status is Status.UNREADABLE
    assert found.detail in READINGS


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99, 0.9999])
def test_a_torn_file_is_never_valid(
    share: float, signed: bytes, check: Callable[[bytes], Verification]
) -> None:
    found = check(signed[: int(share * len(signed))])
    assert found.status is Status.UNREADABLE
    assert found.sentence == "Unreadable: this PDF is damaged or altered (the end of the file is missing)."


def test_damage_of_any_kind_never_ends_in_a_traceback(
    signed: bytes, check: Callable[[bytes], Verification], capfd: pytest.CaptureFixture[str]
) -> None:
    rng = random.Random(11)
    for _ in range(150):
        data = bytearray(signed)
        for _ in range(rng.randrange(1, 30)):
            place = len(data) - rng.randrange(1, 8000)
            data[place : place + rng.randrange(3)] = rng.randbytes(rng.randrange(4))
        found = check(bytes(data))
        assert found.status is not Status.VALID
        assert found.detail in ("", *READINGS), "no word of a library"
    assert capfd.readouterr() == ("", "")


def test_a_signature_stays_valid_after_its_key_has_run_out(signed: bytes, key: SigningKey) -> None:
    later = key.valid_until + timedelta(days=3650)
    assert verify(signed, (key.certificate,), later).status is Status.VALID


def test_a_signature_from_the_future_is_doubtful(signed: bytes, key: SigningKey) -> None:
    found = verify(signed, (key.certificate,), SIGNED_AT - timedelta(hours=1))
    assert found.status is Status.TIME_DOUBTFUL
    assert verify(signed, (key.certificate,), SIGNED_AT - timedelta(minutes=5)).status is Status.VALID


def test_a_signature_made_outside_the_keys_validity_is_doubtful(
    passing: UnitRecord, issued: datetime, key: SigningKey
) -> None:
    careless = replace(key, valid_until=key.valid_until + timedelta(days=1000))
    late = key.valid_until + timedelta(days=10)
    pdf = sign(certificate(passing, issued), careless, reason="r", location="l", signed_at=late)
    found = verify(pdf, (key.certificate,), late)
    assert (found.trusted, found.key_valid_when_signed) == (True, False)
    assert found.status is Status.TIME_DOUBTFUL


def test_certificates_are_read_from_pem_and_der(key: SigningKey) -> None:
    pem = public_certificate(key)
    assert certificates(pem) == (key.certificate,)
    assert certificates(pem + pem) == (key.certificate, key.certificate)
    assert certificates(key.certificate) == (key.certificate,)


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"-----BEGIN CERTIFICATE-----\nxx\n-----END CERTIFICATE-----\n"]
)
def test_a_file_without_a_certificate_is_refused(data: bytes) -> None:
    with pytest.raises(BadCertificateFile, match=r"\.pem"):
        certificates(data)


def _issuer() -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Skerry Works")])
    builder = _builder(name, name, key.public_key()).add_extension(
        x509.BasicConstraints(True, None), critical=True
    )
    return key, builder.sign(key, hashes.SHA256())


def _issued_by(root_key: ec.EllipticCurvePrivateKey, root: x509.Certificate) -> SigningKey:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Final test 1")])
    usage = x509.KeyUsage(True, True, False, False, False, False, False, False, False)
    builder = _builder(name, root.subject, key.public_key()).add_extension(usage, critical=True)
    leaf = builder.sign(root_key, hashes.SHA256())
    data = pkcs12.serialize_key_and_certificates(b"k", key, leaf, [root], BestAvailableEncryption(b"x"))
    return SigningKey.load(data, b"x", SIGNED_AT)


def _builder(
    subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder(issuer, subject, public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime(2026, 1, 1, tzinfo=UTC))
        .not_valid_after(datetime(2031, 1, 1, tzinfo=UTC))
    )


def test_a_changed_byte_in_the_signature_itself_is_found_too(
    signed: bytes, check: Callable[[bytes], Verification]
) -> None:
    """No signature covers itself, and readers take other cases, spaces and padding there for the same."""
    end, begin_again = covered(signed)
    first = signed.index(b"A", end)
    assert first < begin_again
    for place, byte in ((first, b"a"), (begin_again - 2, b"8"), (begin_again - 9, b" "), (end, b" ")):
        changed = signed[:place] + byte + signed[place + 1 :]
        assert check(changed).status is not Status.VALID, (place, byte)


def test_a_signed_text_is_whole_and_its_signer_known(key: SigningKey) -> None:
    signature = sign_text("released", key, SIGNED_AT)
    found = verify_text("released", signature, (key.certificate,), SIGNED_AT)
    assert (found.intact, found.trusted) == (True, True)
    assert (found.signer, found.fingerprint) == (key.name, key.fingerprint)


def test_a_text_signed_by_a_stranger_is_whole_but_not_trusted(key: SigningKey) -> None:
    found = verify_text("released", sign_text("released", key, SIGNED_AT), (), SIGNED_AT)
    assert (found.intact, found.trusted) == (True, False)


def test_another_text_or_a_damaged_signature_is_not_what_was_signed(key: SigningKey) -> None:
    signature = sign_text("released", key, SIGNED_AT)
    assert not verify_text("rejected", signature, (key.certificate,), SIGNED_AT).intact
    for damaged in (b"", b"no CMS", signature[:-1], signature[:400], signature + b"\0", signature[::-1]):
        assert not verify_text("released", damaged, (key.certificate,), SIGNED_AT).intact


def test_no_changed_byte_of_a_signature_over_a_text_raises(key: SigningKey) -> None:
    signature = sign_text("released", key, SIGNED_AT)
    draw = random.Random(4)
    for _ in range(200):
        place = draw.randrange(len(signature))
        changed = (
            signature[:place] + bytes([signature[place] ^ draw.randrange(1, 256)]) + signature[place + 1 :]
        )
        verify_text("released", changed, (key.certificate,), SIGNED_AT)
