"""The check of a signed test certificate: bytes in, a frozen status out, a bottom line derived from its parts.

What comes in may be anything at all: a PDF of somebody else, a torn file, a picture. Each gets a clear status
and none a traceback. Nothing is fetched from a network and nothing reads the clock.
"Certificate" alone is the document here; that of a key (X.509) is always called the signer's certificate.
"""

from __future__ import annotations

import asyncio
import io
import logging
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from asn1crypto import x509 as asn1_x509
from asn1crypto.cms import ContentInfo
from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import (
    EmbeddedPdfSignature,
    async_validate_detached_cms,
    async_validate_pdf_signature,
)
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.errors import PathError, ValidationError

from reports import wording
from reports.errors import BadCertificateFile

MOST_LEAD_IN = 1024
"""Readers look for `%PDF-` in so many first bytes (ISO 32000-1, annex H.3)."""

CLOCK_TOLERANCE = timedelta(minutes=10)
"""How far ahead of ours a signer's clock may be."""

END_MARK = b"%%EOF"
MOST_TAIL = 1024
"""Readers look for the end mark in so many last bytes (ISO 32000-1, annex H.3)."""

SIGNATURE_UNREADABLE = (
    SigningError,
    SignatureValidationError,
    ValidationError,
    PathError,
    UnsupportedAlgorithm,
)

UNREADABLE = (
    PdfError,
    *SIGNATURE_UNREADABLE,
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    NotImplementedError,
    RecursionError,
    AssertionError,
    OSError,
    struct.error,
    zlib.error,
)
"""What the libraries for PDF and signatures may raise on bytes that somebody has damaged. The list is wide, because
the bytes may be anybody's; in trials with 50,000 damaged certificates nothing else came out."""


class Status(StrEnum):
    """The bottom line of a verification."""

    VALID = "valid"
    UNKNOWN_SIGNER = "signer unknown"
    """Whole and unchanged, but signed by nobody we know: not ours."""

    TIME_DOUBTFUL = "signing time doubtful"
    """Whole, unchanged and ours, but signed when the key was not valid, or in the future."""

    ADDED_TO = "added to"
    """The signed part is unchanged, but something was appended."""

    ALTERED = "altered"
    NOT_SIGNED = "not signed"
    UNREADABLE = "unreadable"
    """It begins as a PDF, but is damaged or altered so that it cannot be read."""

    NOT_A_PDF = "not a PDF"


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check found, part by part. `status` and `sentence` are derived, never stored."""

    is_pdf: bool = False
    """Whether it begins as a PDF does."""

    readable: bool = False
    """Whether its structure could be read to the end of the check."""

    signatures: int = 0
    """How many signatures it carries; only the first is judged, and it must cover the whole file."""

    intact: bool = False
    """Whether what the signature covers is what was signed, and the signature belongs to the signer's key."""

    covers_whole_file: bool = False
    """Whether nothing but the signature itself lies outside what it covers."""

    signer: str = ""
    """The name in the signer's certificate, as the signer claims it."""

    fingerprint: str = ""
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""

    signed_at: datetime | None = None
    """When it was signed, as the signer claims it."""

    reason: str = ""
    """Why it was signed, as the signer claims it."""

    trusted: bool = False
    """Whether the signer's certificate is one of those given, or was issued by one of them."""

    key_valid_when_signed: bool = False
    """Whether the claimed time lies within the validity of the signer's certificate."""

    claimed_in_future: bool = False
    """Whether the claimed time lies ahead of the moment of the check."""

    detail: str = ""
    """What is wrong with a file that cannot be read, in our own words."""

    @property
    def status(self) -> Status:
        """The bottom line: the gravest thing found, and valid only where every part is good."""
        findings = (
            (not self.is_pdf, Status.NOT_A_PDF),
            (not self.readable, Status.UNREADABLE),
            (self.signatures == 0, Status.NOT_SIGNED),
            (not self.intact, Status.ALTERED),
            (not self.covers_whole_file, Status.ADDED_TO),
            (not self.trusted, Status.UNKNOWN_SIGNER),
            (self.claimed_in_future or not self.key_valid_when_signed, Status.TIME_DOUBTFUL),
        )
        return next((status for wrong, status in findings if wrong), Status.VALID)

    @property
    def sentence(self) -> str:
        """The bottom line in words, for a person."""
        when = "at an unknown time" if self.signed_at is None else f"on {wording.moment(self.signed_at)}"
        who = f"{self.signer}, key {wording.digest(self.fingerprint)}"
        return {
            Status.VALID: f"Valid: signed by {self.signer} {when} and unchanged since.",
            Status.UNKNOWN_SIGNER: f"Not ours: signed {when} and unchanged since, but by somebody unknown ({who}).",
            Status.TIME_DOUBTFUL: f"Doubtful: unchanged, but said to be signed {when}, when that cannot be right.",
            Status.ADDED_TO: f"Altered: something was added after {self.signer} signed it {when}.",
            Status.ALTERED: f"Altered: this is not what {self.signer or 'the signer'} signed.",
            Status.NOT_SIGNED: "Not signed: this PDF carries no signature, so it proves nothing.",
            Status.UNREADABLE: f"Unreadable: this PDF is damaged or altered ({self.detail}).",
            Status.NOT_A_PDF: "Not a PDF: no certificate of any kind.",
        }[self.status]


def certificates(data: bytes) -> tuple[bytes, ...]:
    """The signers' certificates of a file, PEM (one or several) or DER, each as DER. Raises BadCertificateFile."""
    try:
        found = (
            x509.load_pem_x509_certificates(data)
            if b"-----BEGIN" in data
            else [x509.load_der_x509_certificate(data)]
        )
    except ValueError as error:
        raise BadCertificateFile(
            "no signer's certificate can be read here; give the .pem file that the works hands to its customers"
        ) from error
    return tuple(certificate.public_bytes(serialization.Encoding.DER) for certificate in found)


def verify(pdf: bytes, trusted: tuple[bytes, ...], now: datetime) -> Verification:
    """Check a signed PDF against the signers' certificates one trusts (DER).

    Never raises for what is in `pdf`. A signature stays valid after its key has run out, as long as it claims
    to have been made before; without a timestamp from a third party that claim is the signer's own. Must not
    be called from inside a running event loop.
    """
    found = Verification(is_pdf=b"%PDF-" in pdf[:MOST_LEAD_IN])
    if not found.is_pdf:
        return found
    try:
        with _quiet():
            return _checked(found, pdf, trusted, now)
    except UNREADABLE as error:
        return replace(found, readable=False, detail=_stumble(pdf, error))


@dataclass(frozen=True, slots=True)
class TextVerification:
    """What a check of a signed text found."""

    intact: bool
    """Whether the text is what was signed, and the signature belongs to the signer's key."""

    trusted: bool = False
    """Whether the signer's certificate is one of those given, or was issued by one of them."""

    signer: str = ""
    fingerprint: str = ""
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""


def verify_text(
    text: str, signature: bytes, trusted: tuple[bytes, ...], signed_at: datetime
) -> TextVerification:
    """Check a detached signature over a text against the signers' certificates one trusts (DER).

    Never raises for what is in `signature`. `signed_at` is when the signer's certificate must have held.
    """
    try:
        with _quiet():
            return _checked_text(text, signature, trusted, signed_at)
    except UNREADABLE:
        return TextVerification(intact=False)


def _checked_text(
    text: str, signature: bytes, trusted: tuple[bytes, ...], signed_at: datetime
) -> TextVerification:
    context = _context(trusted, signed_at)
    signed = ContentInfo.load(signature, strict=True)["content"]
    status = asyncio.run(async_validate_detached_cms(text.encode(), signed, context))
    certificate = status.signing_cert
    return TextVerification(
        intact=bool(status.intact and status.valid),
        trusted=bool(certificate.dump() in trusted or status.trusted),
        signer=_name(certificate),
        fingerprint=bytes(certificate.sha256).hex(),
    )


def _context(trusted: tuple[bytes, ...], moment: datetime) -> ValidationContext:
    return ValidationContext(
        trust_roots=[asn1_x509.Certificate.load(root) for root in trusted],
        allow_fetching=False,
        moment=moment,
    )


def _name(certificate: asn1_x509.Certificate) -> str:
    return str(certificate.subject.native.get("common_name", certificate.subject.human_friendly))


def _stumble(pdf: bytes, error: Exception) -> str:
    """What is wrong, for somebody who knows neither the file format nor the libraries."""
    if END_MARK not in pdf[-MOST_TAIL:]:
        return "the end of the file is missing"
    if isinstance(error, SIGNATURE_UNREADABLE):
        return "its signature cannot be read"
    return "its parts do not fit together"


def _checked(found: Verification, pdf: bytes, trusted: tuple[bytes, ...], now: datetime) -> Verification:
    reader = PdfFileReader(io.BytesIO(pdf))
    signatures = reader.embedded_regular_signatures
    found = replace(found, readable=True, signatures=len(signatures))
    return _judged(found, signatures[0], pdf, trusted, now) if signatures else found


def _as_written(signature: EmbeddedPdfSignature, pdf: bytes) -> bool:
    """Whether the signature itself, which no signature covers, stands in the file as a signer writes it.

    It is hexadecimal digits of one case with zeros behind them. A reader takes others for the same, so a change
    there would go unseen.
    """
    _, end, begin_again, _ = (int(each) for each in signature.sig_object["/ByteRange"])
    cms_der = ContentInfo.load(signature.pkcs7_content).dump()
    digits = cms_der.hex().encode()
    expected = b"<" + digits.ljust(begin_again - end - 2, b"0") + b">"
    return pdf[end:begin_again] in (expected, expected.upper())


def _judged(
    found: Verification,
    signature: EmbeddedPdfSignature,
    pdf: bytes,
    trusted: tuple[bytes, ...],
    now: datetime,
) -> Verification:
    certificate = signature.signer_cert
    signed_at = signature.self_reported_timestamp
    context = _context(trusted, signed_at or now)
    status = asyncio.run(async_validate_pdf_signature(signature, context, skip_diff=True))
    begin, end = certificate.not_valid_before, certificate.not_valid_after
    return replace(
        found,
        intact=bool(status.intact and status.valid) and _as_written(signature, pdf),
        covers_whole_file=status.coverage is SignatureCoverageLevel.ENTIRE_FILE,
        signer=_name(certificate),
        fingerprint=bytes(certificate.sha256).hex(),
        signed_at=signed_at,
        reason=str(signature.sig_object.get("/Reason", "")),
        trusted=bool(certificate.dump() in trusted or status.trusted),
        key_valid_when_signed=signed_at is not None and begin <= signed_at <= end,
        claimed_in_future=signed_at is not None and signed_at > now + CLOCK_TOLERANCE,
    )


@contextmanager
def _quiet() -> Iterator[None]:
    """The libraries' warnings about a bad signature go to whoever listens, and not to the terminal by default."""
    silent = logging.NullHandler()
    loggers = [logging.getLogger(name) for name in ("pyhanko", "pyhanko_certvalidator")]
    for logger in loggers:
        logger.addHandler(silent)
    try:
        yield
    finally:
        for logger in loggers:
            logger.removeHandler(silent)
