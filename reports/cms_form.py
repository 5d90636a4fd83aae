"""Whether a signature (CMS, RFC 5652) is built just as a signer builds it, to the last byte.

A signature covers neither itself nor its wrapping: versions, lengths, names of algorithms. Readers pass over most
changes there. Here the whole is put together anew, from the parts that are verified and from what the standard leaves
no choice in, and must come out the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product

from asn1crypto import cms, core
from asn1crypto import x509 as asn1_x509

SEQUENCE, SET, INTEGER, OCTETS = 0x30, 0x31, 0x02, 0x04
TAGGED = 0xA0
NULL = b"\x05\x00"
SIGNED_DATA = core.ObjectIdentifier("1.2.840.113549.1.7.2").dump()


def is_as_written(written: bytes, signed: cms.SignedData, signer: asn1_x509.Certificate) -> bool:
    """Whether `written`, a ContentInfo as DER, is what its parts make; the parts are verified elsewhere.

    Raises what the library does for parts that cannot be read.
    """
    return any(written == each for each in _forms(signed, signer))


def _forms(signed: cms.SignedData, signer: asn1_x509.Certificate) -> Iterable[bytes]:
    """What signers may write: they may leave out the parameters of a digest, or say that there are none."""
    (info,) = signed["signer_infos"]
    content = signed["encap_content_info"]
    plain = content["content_type"].native == "data"
    for outer, inner in product(*[tuple(_digests(info["digest_algorithm"]))] * 2):
        parts = (
            _der(INTEGER, b"\x01" if plain else b"\x03"),
            _der(SET, outer),
            _content(content),
            _der(TAGGED, b"".join(each.chosen.dump() for each in signed["certificates"])),
            _der(SET, _signer_info(info, inner, signer)),
        )
        yield _der(SEQUENCE, SIGNED_DATA + _der(TAGGED, _der(SEQUENCE, *parts)))


def _signer_info(info: cms.SignerInfo, digest: bytes, signer: asn1_x509.Certificate) -> bytes:
    by_name = info["sid"].name == "issuer_and_serial_number"
    if by_name:
        who = _der(SEQUENCE, signer.issuer.dump(), signer["tbs_certificate"]["serial_number"].dump())
    else:
        who = _der(0x80, signer.key_identifier)
    unsigned = info["unsigned_attrs"]
    return _der(
        SEQUENCE,
        _der(INTEGER, b"\x01" if by_name else b"\x03"),
        who,
        digest,
        _der(TAGGED, info["signed_attrs"].contents),
        _signature_algorithm(info["signature_algorithm"]),
        _der(OCTETS, info["signature"].native),
        _der(TAGGED + 1, b"".join(_attribute(each) for each in unsigned)) if unsigned else b"",
    )


def _attribute(attribute: cms.CMSAttribute) -> bytes:
    """The one that is not signed: a timestamp, whose own form is judged as that of a signature of its own."""
    (value,) = attribute["values"]
    return _der(SEQUENCE, attribute["type"].dump(), _der(SET, value.dump()))


def _content(content: cms.EncapsulatedContentInfo) -> bytes:
    kind = content["content_type"].dump()
    if content["content_type"].native == "data":
        return _der(SEQUENCE, kind)
    return _der(SEQUENCE, kind, _der(TAGGED, _der(OCTETS, bytes(content["content"]))))


def _digests(algorithm: core.Sequence) -> Iterable[bytes]:
    name = algorithm["algorithm"].dump()
    return _der(SEQUENCE, name), _der(SEQUENCE, name, NULL)


def _signature_algorithm(algorithm: core.Sequence) -> bytes:
    """With its parameters where it has any, which only RSA-PSS has."""
    parameters = algorithm["parameters"]
    name = algorithm["algorithm"].dump()
    return _der(SEQUENCE, name, b"" if isinstance(parameters, core.Void) else parameters.dump())


def _der(tag: int, *parts: bytes) -> bytes:
    content = b"".join(parts)
    length = len(content)
    if length < 0x80:
        return bytes((tag, length)) + content
    digits = length.to_bytes((length.bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 + len(digits))) + digits + content
