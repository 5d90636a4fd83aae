"""What a signature brings along for its own check: certificates and lists of revoked keys in the signed file itself.

They stand in the document security store (ETSI EN 319 142-1, `DSS`), which here is written before the signature, so
that it is covered by it and nothing needs to follow the signature. What cannot be covered, because it stands in the
signature, is checked here to be what somebody signed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from asn1crypto import cms
from asn1crypto import x509 as asn1_x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.dss import DocumentSecurityStore
from pyhanko.sign.validation.errors import NoDSSFoundError

from reports.authority import issuer_of, lists_about

LONGEST_CHAIN = 8
"""More certificates one behind the other than any signer has; ends a walk that goes round."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Certificates and lists of revoked keys, each as DER."""

    certificates: tuple[bytes, ...] = ()
    lists: tuple[bytes, ...] = ()

    @property
    def promises_a_timestamp(self) -> bool:
        """Whether it names a timestamp service: then a signature without a timestamp has lost it."""
        return any(_stamps(each) for each in self.certificates)

    def is_complete_for(self, certificate: bytes, anchors: Sequence[bytes]) -> bool:
        """Whether each certificate from this one up to a root has its issuer and a list of that issuer here.

        A certificate that signed itself cannot be revoked by anybody, so nothing is complete for it.
        """
        issuers = (*self.certificates, *anchors)
        current = certificate
        for _ in range(LONGEST_CHAIN):
            issuer = issuer_of(current, issuers)
            if issuer is None or (issuer == current and current == certificate):
                return False
            if issuer == current:
                return True
            if not lists_about(current, issuers, self.lists):
                return False
            current = issuer
        return False


def evidence_in(reader: PdfFileReader) -> Evidence:
    """What the file brings along; nothing where it has no such store."""
    try:
        store = DocumentSecurityStore.read_dss(reader)
    except NoDSSFoundError:
        return Evidence()
    return Evidence(
        tuple(each.dump() for each in store.load_certs()),
        tuple(bytes(each.get_object().data) for each in store.crls),
    )


def token_of(signer: cms.SignerInfo) -> cms.ContentInfo | None:
    """The timestamp that a signature carries outside of what it covers.

    Raises ValueError for anything else that stands there: whoever signed put in one timestamp or nothing.
    """
    attributes = list(signer["unsigned_attrs"] or ())
    if not attributes:
        return None
    values = [value for each in attributes for value in each["values"]]
    if len(values) != 1 or attributes[0]["type"].native != "signature_time_stamp_token":
        raise ValueError("the signature holds more than one timestamp")
    return values[0]


def vouched_for(
    signed: cms.SignedData, signer: asn1_x509.Certificate, known: Iterable[bytes], *, with_root: bool
) -> bool:
    """Whether a signature holds the signer's certificate and nothing but those that stand behind it, each once.

    No signature covers this collection, and a reader passes over what it does not need: a change there would go
    unseen. `with_root` says whether the root at the end may be among them: services of time send theirs, while
    our own signatures leave it out.
    """
    held = [each.chosen.dump() for each in signed["certificates"]]
    chain = [signer.dump()]
    for _ in range(LONGEST_CHAIN):
        issuer = issuer_of(chain[-1], (*held, *known))
        if issuer is None or issuer in chain:
            break
        if not with_root and issuer_of(issuer, (issuer,)) == issuer:
            break
        chain.append(issuer)
    return len(held) == len(set(held)) and chain[0] in held and set(held) <= set(chain)


def _stamps(certificate: bytes) -> bool:
    usage = asn1_x509.Certificate.load(certificate).extended_key_usage_value
    return usage is not None and "time_stamping" in usage.native
