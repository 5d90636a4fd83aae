"""Key files (PKCS#12, behind a passphrase) and what every signer's certificate of the works has in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from asn1crypto import pkcs12 as asn1_pkcs12
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from reports.errors import NotAKey, WrongPassphrase

Private = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey
Public = ec.EllipticCurvePublicKey | rsa.RSAPublicKey

PASSPHRASE_ROUNDS = 100_000
"""What a guess at the passphrase of a stolen key file costs; making or opening one takes a twentieth of a second."""


@dataclass(frozen=True, slots=True)
class KeyFile:
    """What an opened PKCS#12 file holds."""

    private: Private
    certificate: x509.Certificate
    others: tuple[x509.Certificate, ...]
    """The certificates that stand behind its own."""


def opened(p12: bytes, passphrase: bytes, what: str) -> KeyFile:
    """Open a PKCS#12 file; `what` names the key in messages. Raises NotAKey or WrongPassphrase."""
    try:
        asn1_pkcs12.Pfx.load(p12, strict=True)["version"].native  # noqa: B018  (reading it parses it)
    except ValueError as error:
        raise NotAKey(
            f"this file is no PKCS#12 key (.p12); name the file that holds the works' {what}"
        ) from error
    try:
        private, certificate, others = pkcs12.load_key_and_certificates(p12, passphrase)
    except ValueError as error:
        raise WrongPassphrase(f"the passphrase does not open the {what}; try again") from error
    if private is None or certificate is None:
        raise NotAKey(
            "this PKCS#12 file lacks the private key or the signer's certificate; export both into one file"
        )
    if not isinstance(private, Private):
        raise NotAKey(
            "this key is of a kind that PDF readers do not verify; use an elliptic-curve or RSA key"
        )
    return KeyFile(private, certificate, tuple(others))


def packed(
    name: str,
    private: ec.EllipticCurvePrivateKey,
    certificate: x509.Certificate,
    others: Sequence[x509.Certificate],
    passphrase: bytes,
) -> bytes:
    """A PKCS#12 file of the key, its certificate and those behind it."""
    encryption = (
        serialization.PrivateFormat.PKCS12.encryption_builder()
        .kdf_rounds(PASSPHRASE_ROUNDS)
        .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
        .hmac_hash(hashes.SHA256())
        .build(passphrase)
    )
    return pkcs12.serialize_key_and_certificates(
        name.encode(), private, certificate, list(others) or None, encryption
    )


def refuse_empty(passphrase: bytes) -> None:
    """Raises WrongPassphrase for an empty one."""
    if not passphrase:
        raise WrongPassphrase("a key without a passphrase is anybody's; choose a passphrase")


def new_private_key() -> ec.EllipticCurvePrivateKey:
    """A key on P-256, which every PDF reader verifies."""
    return ec.generate_private_key(ec.SECP256R1())


def subject_of(name: str, organisation: str) -> x509.Name:
    """Raises NotAKey for a name that no certificate can carry."""
    try:
        return x509.Name(
            [
                x509.NameAttribute(NameOID.COMMON_NAME, name),
                x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
            ]
        )
    except ValueError as error:
        raise NotAKey(f"no key can be made for this name: {error}") from error


def certificate_builder(
    subject: x509.Name, issuer: x509.Name, public: Public, valid_from: datetime, years: int
) -> x509.CertificateBuilder:
    """What every certificate of the works begins with."""
    return (
        x509.CertificateBuilder(subject_name=subject, issuer_name=issuer, public_key=public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(valid_from)
        .not_valid_after(years_later(valid_from, years))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def signer_builder(
    subject: x509.Name, issuer: x509.Name, public: Public, valid_from: datetime, years: int
) -> x509.CertificateBuilder:
    """The certificate of a key that signs documents, and nothing else."""
    return (
        certificate_builder(subject, issuer, public, valid_from, years)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage("digital_signature", "content_commitment"), critical=True)
    )


def usage(*allowed: str) -> x509.KeyUsage:
    """The extension that allows a key just these uses."""
    every = (
        "digital_signature",
        "content_commitment",
        "key_encipherment",
        "data_encipherment",
        "key_agreement",
        "key_cert_sign",
        "crl_sign",
        "encipher_only",
        "decipher_only",
    )
    return x509.KeyUsage(**{name: name in allowed for name in every})


def years_later(moment: datetime, years: int) -> datetime:
    """The same day so many years on; the 28th of February where that year has no 29th."""
    try:
        return moment.replace(year=moment.year + years)
    except ValueError:
        return moment.replace(year=moment.year + years, day=28)
