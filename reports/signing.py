"""The works' signing key and the signature on a test certificate; the check of one is in `verifying`.

"Certificate" alone is the document here; that of a key (X.509) is always called the signer's certificate.

Signatures are PAdES (ETSI EN 319 142-1): a CMS over the whole file but itself, the signer's certificate inside, the
claimed time in the signature dictionary, and where a service of time is at hand its timestamp. The signature field is
invisible on purpose: a stamp is ink that anybody can draw, while a reader's signature panel says what was really
checked. It certifies the document and allows no change at all. The time of signing comes in as an argument, and only
the file's own `ModDate`, which proves nothing, is the PDF library's.
"""

from __future__ import annotations

import asyncio
import io
from dataclasses import dataclass
from datetime import UTC, datetime

from asn1crypto import crl as asn1_crl
from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes, Signer, SimpleSigner
from pyhanko.sign.signers.pdf_signer import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.validation.dss import DocumentSecurityStore
from pyhanko_certvalidator.registry import SimpleCertificateStore

from reports import wording
from reports.errors import KeyExpired, KeyNotYetValid, NotSignable
from reports.keyfile import (
    KeyFile,
    new_private_key,
    opened,
    packed,
    refuse_empty,
    signer_builder,
    subject_of,
)
from reports.timestamping import SPARE, Stamper, TimestampService

FIELD = "Signature"
DIGEST = "sha256"
CMS_OVERHEAD = 1200
"""Bytes of a B-B signature beside the signer's certificate and the signature value; 800 were seen."""


@dataclass(frozen=True, slots=True)
class SigningKey:
    """An opened key with its signer's certificate, ready to sign any number of times."""

    name: str
    """The name that readers of a signature see."""

    fingerprint: str
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""

    valid_from: datetime
    valid_until: datetime

    certificate: bytes
    """The signer's certificate as DER."""

    chain: tuple[bytes, ...]
    """The certificates that stand behind it, as DER; none where it signed its own."""

    signer: Signer
    """What the PDF library signs with; holds the private key, or the way to it."""

    reserve: int
    """Bytes kept free in the file for a signature, so that none has to be made on trial."""

    @staticmethod
    def load(p12: bytes, passphrase: bytes, now: datetime) -> SigningKey:
        """Open a PKCS#12 file.

        Raises NotAKey, WrongPassphrase, KeyExpired or KeyNotYetValid.
        """
        file = opened(p12, passphrase, "signing key")
        key = _ready(file)
        key.check(now)
        return key

    @property
    def can_travel(self) -> bool:
        """Whether another process can be given it: a key on a token cannot."""
        return isinstance(self.signer, SimpleSigner)

    def __reduce__(self) -> tuple[object, ...]:
        """Sent to another process of ours by its parts: the library's own objects do not survive the way."""
        if not isinstance(self.signer, SimpleSigner):
            raise TypeError("a key on a token is used by the process that opened it")
        return _of_parts, (self.signer.signing_key.dump(), self.certificate, self.chain)

    def check(self, at: datetime) -> None:
        """Raises KeyExpired or KeyNotYetValid where the signer's certificate does not hold at that time."""
        if at > self.valid_until:
            raise KeyExpired(
                f"the signing key of {self.name} ran out on {wording.day(self.valid_until)}; "
                "make a new one with `station key --renew`"
            )
        if at < self.valid_from:
            raise KeyNotYetValid(
                f"the signing key of {self.name} begins on {wording.moment(self.valid_from)}, and it is "
                f"{wording.moment(at)}; check this computer's clock, or make a new key with `station key --renew`"
            )


def make_key(name: str, organisation: str, passphrase: bytes, valid_from: datetime, years: int) -> bytes:
    """A new P-256 key with a signer's certificate that it signed itself, as PKCS#12.

    It is its own root: customers must be given each such certificate. `authority.issue_key` makes one that a works
    root stands behind. Raises WrongPassphrase for an empty passphrase and NotAKey for a name that no signer's
    certificate can carry.
    """
    refuse_empty(passphrase)
    private = new_private_key()
    subject = subject_of(name, organisation)
    builder = signer_builder(subject, subject, private.public_key(), valid_from, years)
    return packed(name, private, builder.sign(private, hashes.SHA256()), (), passphrase)


def public_certificate(key: SigningKey) -> bytes:
    """The signer's certificate as PEM: what a customer trusts to verify the works' signatures."""
    certificate = x509.load_der_x509_certificate(key.certificate)
    return certificate.public_bytes(serialization.Encoding.PEM)


def sign(
    pdf: bytes,
    key: SigningKey,
    *,
    reason: str,
    location: str,
    signed_at: datetime,
    service: TimestampService | None = None,
) -> bytes:
    """The PDF with an invisible PAdES signature that certifies it and allows no change.

    It is B-B; with a service B-T, and B-LT where that brings the lists of revoked keys for its own chain and the
    key's. `signed_at` is what the signature claims, and the key must be valid then (KeyExpired, KeyNotYetValid).
    Raises NotSignable for what is no PDF or carries a signature already, TimestampRefused and ClockDoubtful.
    """
    key.check(signed_at)
    metadata = PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm=DIGEST,
        subfilter=SigSeedSubFilter.PADES,
        reason=reason,
        location=location,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    writer = _writer(pdf)
    reserve = key.reserve
    if service is not None:
        _bring_along(writer, key, service)
        reserve += service.size + SPARE
    stamper = Stamper(service, signed_at) if service is not None else None
    signer = PdfSigner(metadata, key.signer, timestamper=stamper, new_field_spec=SigFieldSpec(FIELD))
    session = signer.init_signing_session(writer)
    session.system_time = signed_at.astimezone(UTC)
    unsigned = session.prepare_tbs_document(None, bytes_reserved=2 * reserve)
    output = io.BytesIO()
    digest, _ = unsigned.digest_tbs_document(output=output)
    # The claimed time stands in the signature dictionary only: a B-B signature has no signing-time attribute.
    asyncio.run(unsigned.perform_signature(digest.document_digest, PdfCMSSignedAttributes()))
    return bytes(output.getbuffer())


def _bring_along(writer: IncrementalPdfFileWriter, key: SigningKey, service: TimestampService) -> None:
    """Write certificates and lists before signing, so that the signature covers them and nothing follows it."""
    certificates = dict.fromkeys((key.certificate, *key.chain, *service.certificates))
    DocumentSecurityStore.supply_dss_in_writer(
        writer,
        None,
        certs=[asn1_x509.Certificate.load(each) for each in certificates],
        crls=[asn1_crl.CertificateList.load(each) for each in service.lists],
    )


def sign_text(text: str, key: SigningKey, signed_at: datetime) -> bytes:
    """A detached CMS signature (RFC 5652) over a text in UTF-8, as DER, with the signer's certificate inside.

    `signed_at` is what it claims, and the key must be valid then (KeyExpired, KeyNotYetValid).
    """
    key.check(signed_at)
    claimed = PdfCMSSignedAttributes(signing_time=signed_at.astimezone(UTC))
    cms = asyncio.run(
        key.signer.async_sign_general_data(text.encode(), DIGEST, detached=True, signed_attr_settings=claimed)
    )
    return bytes(cms.dump())


def _writer(pdf: bytes) -> IncrementalPdfFileWriter:
    try:
        writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
        signed = bool(writer.prev.embedded_signatures)
    except (PdfError, ValueError) as error:
        raise NotSignable(f"this is no PDF that can be signed: {error}") from error
    if signed:
        raise NotSignable("this PDF is signed already; sign the certificate as it was made")
    return writer


def _ready(file: KeyFile) -> SigningKey:
    private = file.private.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    chain = tuple(other.public_bytes(serialization.Encoding.DER) for other in file.others)
    return _of_parts(private, file.certificate.public_bytes(serialization.Encoding.DER), chain)


def _of_parts(private_der: bytes, der: bytes, chain: tuple[bytes, ...]) -> SigningKey:
    private = asn1_keys.PrivateKeyInfo.load(private_der)
    store = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    store.register_multiple([asn1_x509.Certificate.load(other) for other in chain])
    own = asn1_x509.Certificate.load(der)
    signer = SimpleSigner(signing_cert=own, signing_key=private, cert_registry=store, embed_roots=False)
    return of_signer(own, chain, signer)


def of_signer(own: asn1_x509.Certificate, chain: tuple[bytes, ...], signer: Signer) -> SigningKey:
    """A key by what the PDF library signs with, wherever the key itself is; `chain` as DER."""
    der = own.dump()
    return SigningKey(
        name=own.subject.native.get("common_name", own.subject.human_friendly),
        fingerprint=bytes(own.sha256).hex(),
        valid_from=own.not_valid_before,
        valid_until=own.not_valid_after,
        certificate=der,
        chain=chain,
        signer=signer,
        reserve=CMS_OVERHEAD + len(der) + sum(map(len, chain)) + own.public_key.byte_size * 2,
    )
