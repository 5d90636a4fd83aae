"""The works' own certificate authority: a root key that signs the stations' keys and the list of those revoked.

Customers trust one certificate, the root's, for as long as it holds; stations' keys come and go behind it. The root's
key is used a few times in ten years and belongs in a safe, not on a station. Its list of revoked keys (a CRL,
RFC 5280) holds until the root itself ends and is replaced whenever a key is revoked: nobody at a small works brings
the root out of its safe on a schedule only to say that nothing has changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import NameOID

from reports import wording
from reports.errors import BadCertificateFile, KeyExpired, KeyNotYetValid, NotAKey
from reports.keyfile import (
    Private,
    Public,
    certificate_builder,
    new_private_key,
    opened,
    packed,
    refuse_empty,
    signer_builder,
    subject_of,
    usage,
    years_later,
)

DER = serialization.Encoding.DER
PEM = serialization.Encoding.PEM


class Cause(Enum):
    """Why a key is revoked, in a person's word; the value is the reason of RFC 5280 that stands for it."""

    STOLEN = x509.ReasonFlags.key_compromise
    """Somebody else may sign with it: nothing that it signed without a timestamp proves anything any more."""

    REPLACED = x509.ReasonFlags.superseded
    CLOSED = x509.ReasonFlags.cessation_of_operation
    """The station is no more."""

    @property
    def word(self) -> str:
        """As a person writes it."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Revocation:
    """One line of a list of revoked keys."""

    serial: int
    """Of the signer's certificate, as its issuer gave it."""

    revoked: datetime
    cause: Cause


@dataclass(frozen=True, slots=True)
class Root:
    """An opened root key, ready to sign stations' keys."""

    name: str
    certificate: bytes
    """As DER."""

    valid_from: datetime
    valid_until: datetime
    private: Private = field(repr=False)

    @staticmethod
    def load(p12: bytes, passphrase: bytes, now: datetime) -> Root:
        """Open a PKCS#12 file. Raises NotAKey, WrongPassphrase, KeyExpired or KeyNotYetValid."""
        file = opened(p12, passphrase, "root key")
        if not _is_authority(file.certificate):
            raise NotAKey("this key may not sign other keys; the root key is made with `station key --root`")
        root = Root(
            name=_common_name(file.certificate.subject),
            certificate=file.certificate.public_bytes(DER),
            valid_from=file.certificate.not_valid_before_utc,
            valid_until=file.certificate.not_valid_after_utc,
            private=file.private,
        )
        if now > root.valid_until:
            raise KeyExpired(
                f"the root key of {root.name} ran out on {wording.day(root.valid_until)}; make a new root with "
                "`station key --root --renew` and give its certificate to your customers"
            )
        if now < root.valid_from:
            raise KeyNotYetValid(
                f"the root key of {root.name} begins on {wording.moment(root.valid_from)}, and it is "
                f"{wording.moment(now)}; check this computer's clock"
            )
        return root


def make_root(name: str, organisation: str, passphrase: bytes, valid_from: datetime, years: int) -> bytes:
    """A new root key (P-256) as PKCS#12; it may sign stations' keys and lists of revoked ones, no documents.

    Raises WrongPassphrase for an empty passphrase and NotAKey for a name that no certificate can carry.
    """
    refuse_empty(passphrase)
    private = new_private_key()
    subject = subject_of(name, organisation)
    builder = (
        certificate_builder(subject, subject, private.public_key(), valid_from, years)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage("key_cert_sign", "crl_sign"), critical=True)
    )
    return packed(name, private, builder.sign(private, hashes.SHA256()), (), passphrase)


def issue_key(
    root: Root, name: str, organisation: str, passphrase: bytes, valid_from: datetime, years: int
) -> bytes:
    """A new station's key as PKCS#12, its certificate signed by the root, which is in the file too.

    Raises as `make_root` does, and KeyExpired where the root ends before the key would.
    """
    refuse_empty(passphrase)
    private = new_private_key()
    der = issue_certificate(root, private.public_key(), (name, organisation), valid_from, years)
    certificate = x509.load_der_x509_certificate(der)
    return packed(name, private, certificate, (_certificate(root),), passphrase)


def issue_certificate(
    root: Root, public: Public, names: tuple[str, str], valid_from: datetime, years: int
) -> bytes:
    """The certificate, as DER, of a station's key that lies elsewhere; `names` are its name and organisation."""
    if years_later(valid_from, years) > root.valid_until:
        raise KeyExpired(
            f"the root key of {root.name} ends on {wording.day(root.valid_until)}, before a key of {years} years "
            "would; ask for fewer with --years, or make a new root with `station key --root --renew`"
        )
    issuer = _certificate(root)
    identifier = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = signer_builder(subject_of(*names), issuer.subject, public, valid_from, years).add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
    )
    return builder.sign(root.private, hashes.SHA256()).public_bytes(DER)


def revocation_list(root: Root, revoked: Iterable[Revocation], made: datetime) -> bytes:
    """The list of revoked keys, signed by the root, as PEM; it replaces every earlier one."""
    builder = (
        x509.CertificateRevocationListBuilder()
        .issuer_name(_certificate(root).subject)
        .last_update(made)
        .next_update(root.valid_until)
        .add_extension(x509.CRLNumber(int(made.timestamp())), critical=False)
        .add_extension(_authority_identifier(root), critical=False)
    )
    for each in revoked:
        builder = builder.add_revoked_certificate(
            x509.RevokedCertificateBuilder()
            .serial_number(each.serial)
            .revocation_date(each.revoked)
            .add_extension(x509.CRLReason(each.cause.value), critical=False)
            .build()
        )
    return builder.sign(root.private, hashes.SHA256()).public_bytes(PEM)


def revocation_lists(data: bytes) -> tuple[bytes, ...]:
    """The lists of revoked keys in a file, PEM (one or several, beside certificates) or DER, each as DER.

    Raises BadCertificateFile.
    """
    try:
        if b"-----BEGIN" not in data:
            return (x509.load_der_x509_crl(data).public_bytes(DER),)
        blocks = data.split(b"-----BEGIN X509 CRL-----")[1:]
        lists = [x509.load_pem_x509_crl(b"-----BEGIN X509 CRL-----" + block) for block in blocks]
    except ValueError as error:
        raise BadCertificateFile(
            "no list of revoked keys can be read here; give the .crl file that the works hands out"
        ) from error
    return tuple(each.public_bytes(DER) for each in lists)


def revocations(crl: bytes) -> tuple[Revocation, ...]:
    """What a list (DER) says, whoever signed it."""
    return tuple(
        Revocation(each.serial_number, each.revocation_date_utc, _cause(each))
        for each in x509.load_der_x509_crl(crl)
    )


@dataclass(frozen=True, slots=True)
class Facts:
    """What a certificate of a key says, for a list."""

    name: str
    fingerprint: str
    """SHA-256, 64 hexadecimal digits."""

    serial: int
    is_root: bool
    issuer: str
    valid_from: datetime
    valid_until: datetime


def facts_of(certificate: bytes) -> Facts:
    """What a certificate (DER) says."""
    found = x509.load_der_x509_certificate(certificate)
    return Facts(
        name=_common_name(found.subject),
        fingerprint=found.fingerprint(hashes.SHA256()).hex(),
        serial=found.serial_number,
        is_root=_is_authority(found),
        issuer=_common_name(found.issuer),
        valid_from=found.not_valid_before_utc,
        valid_until=found.not_valid_after_utc,
    )


def same_key(one: bytes, other: bytes) -> bool:
    """Whether two certificates (DER) are of the same key."""
    first, second = (x509.load_der_x509_certificate(each).public_key() for each in (one, other))
    return first == second


def issued_by(certificate: bytes, root: Root) -> bool:
    """Whether the root signed this certificate (DER)."""
    return _issued_by(x509.load_der_x509_certificate(certificate), _certificate(root))


def pem(certificate: bytes) -> bytes:
    """The certificate (DER) as customers are given it."""
    return x509.load_der_x509_certificate(certificate).public_bytes(PEM)


def revocation_of(certificate: bytes, issuers: Sequence[bytes], lists: Sequence[bytes]) -> Revocation | None:
    """What the lists say of a signer's certificate; only those count that its own issuer signed (all DER).

    Nothing that can be read but does not fit raises: it does not count.
    """
    serial = x509.load_der_x509_certificate(certificate).serial_number
    found = [
        each
        for crl in lists_about(certificate, issuers, lists)
        for each in revocations(crl)
        if each.serial == serial
    ]
    return min(found, key=lambda each: each.revoked, default=None)


def lists_about(certificate: bytes, issuers: Sequence[bytes], lists: Sequence[bytes]) -> tuple[bytes, ...]:
    """Those of the lists that would name this certificate, had it been revoked: its own issuer signed them."""
    issuer = issuer_of(certificate, issuers)
    if issuer is None:
        return ()
    found = x509.load_der_x509_certificate(issuer)
    public = found.public_key()
    loaded = ((crl, x509.load_der_x509_crl(crl)) for crl in lists)
    return tuple(
        crl
        for crl, listed in loaded
        if listed.issuer == found.subject and isinstance(public, Public) and listed.is_signature_valid(public)
    )


def list_addresses(certificate: bytes) -> tuple[str, ...]:
    """Where a certificate (DER) says that its issuer's list of revoked keys is to be had over HTTP."""
    extensions = x509.load_der_x509_certificate(certificate).extensions
    try:
        points = extensions.get_extension_for_class(x509.CRLDistributionPoints).value
    except x509.ExtensionNotFound:
        return ()
    names = [name.value for point in points for name in point.full_name or ()]
    return tuple(name for name in names if isinstance(name, str) and name.startswith(("http://", "https://")))


def issuer_of(certificate: bytes, among: Sequence[bytes]) -> bytes | None:
    """Which of these certificates signed this one; None where none did."""
    leaf = x509.load_der_x509_certificate(certificate)
    return next((der for der in among if _issued_by(leaf, x509.load_der_x509_certificate(der))), None)


def _issued_by(leaf: x509.Certificate, issuer: x509.Certificate) -> bool:
    try:
        leaf.verify_directly_issued_by(issuer)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True


def _common_name(name: x509.Name) -> str:
    found = name.get_attributes_for_oid(NameOID.COMMON_NAME)
    return str(found[0].value) if found else name.rfc4514_string()


def _cause(entry: x509.RevokedCertificate) -> Cause:
    """The gravest where the list does not say."""
    try:
        reason = entry.extensions.get_extension_for_class(x509.CRLReason).value.reason
        return Cause(reason)
    except (x509.ExtensionNotFound, ValueError):
        return Cause.STOLEN


def _certificate(root: Root) -> x509.Certificate:
    return x509.load_der_x509_certificate(root.certificate)


def _authority_identifier(root: Root) -> x509.AuthorityKeyIdentifier:
    identifier = _certificate(root).extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    return x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier)


def _is_authority(certificate: x509.Certificate) -> bool:
    try:
        return bool(certificate.extensions.get_extension_for_class(x509.BasicConstraints).value.ca)
    except x509.ExtensionNotFound:
        return False
