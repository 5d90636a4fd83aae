"""Keys and signatures, judged by outside programs: `pdfsig` and `openssl`."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asn1crypto import cms
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

from reports.certificate import certificate
from reports.errors import KeyExpired, KeyNotYetValid, NotAKey, NotSignable, WrongPassphrase
from reports.record import UnitRecord
from reports.signing import SigningKey, make_key, public_certificate, sign, sign_text

Need = Callable[[str], str]
PASSPHRASE = b"a long way to the skerry"
NOW = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)


def parts(pdf: bytes) -> tuple[bytes, bytes]:
    """What a signature covers, and the signature itself as DER, found without any PDF library."""
    found = re.search(rb"/ByteRange \[(\d+) (\d+) (\d+) (\d+)", pdf)
    assert found is not None
    start, first, second, length = map(int, found.groups())
    assert (start, second + length) == (0, len(pdf))
    padded = bytes.fromhex(pdf[first + 1 : second - 1].decode())
    assert padded[:2] == b"\x30\x82"
    return pdf[:first] + pdf[second:], padded[: 4 + int.from_bytes(padded[2:4], "big")]


def pdfsig(need: Need, pdf: bytes, folder: Path) -> str:
    path = folder / "signed.pdf"
    path.write_bytes(pdf)
    done = subprocess.run([need("pdfsig"), "-nocert", path], capture_output=True, text=True)
    return done.stdout


def openssl_accepts(need: Need, content: bytes, signature: bytes, pem: bytes, folder: Path) -> bool:
    (folder / "content").write_bytes(content)
    (folder / "signature").write_bytes(signature)
    (folder / "signer.pem").write_bytes(pem)
    command = [need("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-in", folder / "signature"]
    command += ["-content", folder / "content", "-CAfile", folder / "signer.pem", "-partial_chain"]
    command += ["-purpose", "any", "-attime", str(int(NOW.timestamp())), "-out", folder / "out"]
    return subprocess.run(command, capture_output=True).returncode == 0


def test_pdfsig_finds_the_signature_valid_and_the_whole_document_signed(
    signed: bytes, need: Need, tmp_path: Path
) -> None:
    said = pdfsig(need, signed, tmp_path)
    assert "Signature is Valid." in said
    assert "Total document signed" in said
    assert "ETSI.CAdES.detached" in said
    assert "Skerry Works final test" in said


def test_openssl_verifies_the_signature_over_the_signed_bytes(
    signed: bytes, key: SigningKey, need: Need, tmp_path: Path
) -> None:
    content, signature = parts(signed)
    assert openssl_accepts(need, content, signature, public_certificate(key), tmp_path)


@pytest.mark.parametrize("share", [0.0005, 0.3, 0.7, 0.999])
def test_one_changed_byte_is_found_by_pdfsig_and_by_openssl(
    share: float, signed: bytes, key: SigningKey, need: Need, tmp_path: Path
) -> None:
    content, signature = parts(signed)
    place = int(share * len(content))
    changed = content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]
    assert not openssl_accepts(need, changed, signature, public_certificate(key), tmp_path)
    gap = len(signed) - len(content)
    begin = signed.index(b"/ByteRange")
    place = place if place < begin else place + gap
    changed = signed[:place] + bytes([signed[place] ^ 1]) + signed[place + 1 :]
    assert "Signature is Valid." not in pdfsig(need, changed, tmp_path)


def test_the_signature_is_pades_b_b(signed: bytes) -> None:
    """One signer, its certificate inside, the ESS attribute present, no signing-time attribute (EN 319 142-1)."""
    _, signature = parts(signed)
    data = cms.ContentInfo.load(signature)["content"]
    attributes = {attribute["type"].native for attribute in data["signer_infos"][0]["signed_attrs"]}
    assert len(data["signer_infos"]) == 1
    assert len(data["certificates"]) == 1
    assert {"content_type", "message_digest", "signing_certificate_v2"} <= attributes
    assert "signing_time" not in attributes
    assert b"/SubFilter /ETSI.CAdES.detached" in signed
    assert b"/M (D\\07220261125152000Z)" in signed


def test_signing_only_adds_to_the_certificate(signed: bytes, passing: UnitRecord, issued: datetime) -> None:
    """And so does not touch a byte of what was laid out."""
    assert signed.startswith(certificate(passing, issued))


def test_the_place_kept_for_the_signature_fits_it_closely(signed: bytes, key: SigningKey) -> None:
    content, signature = parts(signed)
    assert 0 <= key.reserve - len(signature) < 1500
    assert len(signed) - len(content) == 2 * key.reserve + 2


def test_a_key_carries_its_name_and_validity(key: SigningKey) -> None:
    assert key.name == "Skerry Works final test"
    assert key.valid_from == datetime(2026, 1, 1, tzinfo=UTC)
    assert key.valid_until == datetime(2031, 1, 1, tzinfo=UTC)


def test_a_keys_certificate_is_for_signing_only(key: SigningKey) -> None:
    certificate = x509.load_pem_x509_certificate(public_certificate(key))
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical and usage.value.digital_signature and usage.value.content_commitment
    assert not usage.value.key_cert_sign
    assert not certificate.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    public = certificate.public_key()
    assert isinstance(public, ec.EllipticCurvePublicKey) and public.curve.name == "secp256r1"


def test_a_key_made_on_a_leap_day_ends_on_the_28th() -> None:
    data = make_key("Skerry Works", "Skerry Works", PASSPHRASE, datetime(2028, 2, 29, tzinfo=UTC), 1)
    loaded = SigningKey.load(data, PASSPHRASE, datetime(2028, 3, 1, tzinfo=UTC))
    assert loaded.valid_until == datetime(2029, 2, 28, tzinfo=UTC)


@pytest.mark.parametrize("passphrase", [b"", b"wrong", PASSPHRASE + b" ", "Ålesund".encode()])
def test_a_wrong_passphrase_is_said_to_be_wrong(key_file: bytes, passphrase: bytes) -> None:
    with pytest.raises(WrongPassphrase, match="passphrase does not open"):
        SigningKey.load(key_file, passphrase, NOW)


@pytest.mark.parametrize("data", [b"", b"hello", b"%PDF-1.4", b"\x30\x03\x02\x01\x03", bytes(4096)])
def test_what_is_no_key_file_is_said_to_be_none(data: bytes) -> None:
    with pytest.raises(NotAKey, match="no PKCS#12 key"):
        SigningKey.load(data, PASSPHRASE, NOW)


def test_a_torn_key_file_is_refused(key_file: bytes) -> None:
    with pytest.raises((NotAKey, WrongPassphrase)):
        SigningKey.load(key_file[: len(key_file) // 2], PASSPHRASE, NOW)


def test_a_key_without_its_certificate_is_refused() -> None:
    private = ec.generate_private_key(ec.SECP256R1())
    data = pkcs12.serialize_key_and_certificates(
        b"k", private, None, None, BestAvailableEncryption(PASSPHRASE)
    )
    with pytest.raises(NotAKey, match="lacks the private key or the signer's certificate"):
        SigningKey.load(data, PASSPHRASE, NOW)


def test_a_key_opens_on_its_last_day_and_not_after(key_file: bytes, key: SigningKey) -> None:
    assert SigningKey.load(key_file, PASSPHRASE, key.valid_until).name == key.name
    with pytest.raises(KeyExpired, match="1 January 2031"):
        SigningKey.load(key_file, PASSPHRASE, key.valid_until + timedelta(seconds=1))


def test_a_key_does_not_open_before_its_first_day(key_file: bytes, key: SigningKey) -> None:
    with pytest.raises(KeyNotYetValid, match="check this computer's clock"):
        SigningKey.load(key_file, PASSPHRASE, key.valid_from - timedelta(seconds=1))


def test_an_open_key_signs_nothing_after_its_end(
    passing: UnitRecord, issued: datetime, key: SigningKey
) -> None:
    late = key.valid_until + timedelta(days=1)
    with pytest.raises(KeyExpired):
        sign(certificate(passing, issued), key, reason="r", location="l", signed_at=late)


def test_an_empty_passphrase_makes_no_key() -> None:
    with pytest.raises(WrongPassphrase, match="choose a passphrase"):
        make_key("Skerry Works", "Skerry Works", b"", NOW, 5)


def test_a_name_too_long_for_a_certificate_makes_no_key() -> None:
    with pytest.raises(NotAKey, match="name"):
        make_key("S" * 65, "Skerry Works", PASSPHRASE, NOW, 5)


@pytest.mark.parametrize("pdf", [b"", b"hello", b"%PDF-1.4\nnothing"])
def test_what_is_no_pdf_is_not_signed(pdf: bytes, key: SigningKey) -> None:
    with pytest.raises(NotSignable, match="no PDF that can be signed"):
        sign(pdf, key, reason="r", location="l", signed_at=NOW)


def test_a_signed_certificate_is_not_signed_again(signed: bytes, key: SigningKey) -> None:
    with pytest.raises(NotSignable, match="signed already"):
        sign(signed, key, reason="r", location="l", signed_at=NOW)


def test_names_in_other_letters_are_signed_too(
    passing: UnitRecord, issued: datetime, need: Need, tmp_path: Path
) -> None:
    data = make_key("Ørsted Σίγμα", "Ørsted", "пароль".encode(), datetime(2026, 1, 1, tzinfo=UTC), 5)
    other = SigningKey.load(data, "пароль".encode(), NOW)
    pdf = sign(certificate(passing, issued), other, reason="Prüfung", location="Håøya", signed_at=NOW)
    assert "Signature is Valid." in pdfsig(need, pdf, tmp_path)


def test_openssl_verifies_the_signature_over_a_text_and_refuses_it_over_another(
    key: SigningKey, need: Need, tmp_path: Path
) -> None:
    signature = sign_text("released by Þórhildur", key, NOW)
    pem = public_certificate(key)
    assert openssl_accepts(need, "released by Þórhildur".encode(), signature, pem, tmp_path)
    assert not openssl_accepts(need, "rejected by Þórhildur".encode(), signature, pem, tmp_path)


def test_a_text_is_not_signed_with_a_key_that_has_run_out(key: SigningKey) -> None:
    with pytest.raises(KeyExpired, match="station key --renew"):
        sign_text("released", key, key.valid_until + timedelta(days=1))
