"""Does any changed certificate verify as intact? Single bytes, and what somebody does who knows the file format.

    python tests/studies/forgeries.py            # 3,000 changes; some minutes

The genuine ones are a released certificate with attachments (B-B), and the same page signed with timestamp and lists
of revoked keys (B-LT). Every change is drawn from a fixed seed. Whoever has the genuine file may also leave it as it
is: a draw that changes nothing is drawn again.
"""

from __future__ import annotations

import io
import random
import re
import sys
import urllib.request
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from asn1crypto import cms
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.generic import pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.validation.dss import DocumentSecurityStore

from fixtures_sim.timestamp_service import running_service
from reports import authority
from reports.signing import SigningKey, make_key, sign
from reports.timestamping import first_look
from reports.verification import Verification
from reports.verifying import certificates, verify

ARCHIVE = Path(__file__).parents[1] / "archive"
NOW = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)
LATER = NOW + timedelta(days=365)
END = b"%%EOF\n"
ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
"""Of the curve P-256 (FIPS 186-4, D.1.2.3)."""


@dataclass(frozen=True)
class Genuine:
    """A sound certificate, and what one who verifies it knows."""

    name: str
    pdf: bytes
    signers: tuple[bytes, ...]
    services: tuple[bytes, ...] = ()

    def checked(self, pdf: bytes) -> Verification:
        """What the check says of a changed one."""
        return verify(pdf, self.signers, LATER, services=self.services)

    @property
    def digits(self) -> tuple[int, int]:
        """Where the signature's hexadecimal digits begin and end."""
        found = re.search(rb"/ByteRange \[0 (\d+) (\d+) \d+", self.pdf)
        assert found is not None
        return int(found[1]) + 1, int(found[2]) - 1

    @property
    def cms(self) -> bytes:
        """The signature as DER."""
        begin, end = self.digits
        return bytes(cms.ContentInfo.load(bytes.fromhex(self.pdf[begin:end].decode())).dump())

    def with_cms(self, der: bytes) -> bytes:
        """The same file with another signature in its place."""
        begin, end = self.digits
        return self.pdf[:begin] + der.hex().encode().ljust(end - begin, b"0")[: end - begin] + self.pdf[end:]


@cache
def genuine() -> tuple[Genuine, Genuine]:
    """The two that are changed."""
    plain = (ARCHIVE / "form-3.pdf").read_bytes()
    unsigned = plain[: plain.index(END) + len(END)]
    made = NOW - timedelta(days=9)
    root = authority.Root.load(authority.make_root("Works root", "W", b"s", made, 20), b"s", NOW)
    key = SigningKey.load(authority.issue_key(root, "Final test", "W", b"x", made, 5), b"x", NOW)
    lists = authority.revocation_lists(authority.revocation_list(root, (), NOW))
    with running_service(lambda: NOW) as service:
        asked = first_look(lambda question: fetched(service.url, question))
        lists += authority.revocation_lists(fetched(f"{service.url}/revoked.crl", None))
        stamped = sign(
            unsigned, key, reason="r", location="l", signed_at=NOW, service=asked.with_lists(lists)
        )
        services = certificates(service.root)
    return (
        Genuine("B-B", plain, certificates((ARCHIVE / "archive.pem").read_bytes())),
        Genuine("B-LT", stamped, (root.certificate,), services),
    )


def fetched(url: str, data: bytes | None) -> bytes:
    """From the service on loopback."""
    with urllib.request.urlopen(urllib.request.Request(url, data)) as answer:
        return bytes(answer.read())


@cache
def stranger() -> SigningKey:
    """Somebody else's key of the same name."""
    return SigningKey.load(make_key("Final test", "W", b"x", NOW - timedelta(days=9), 5), b"x", NOW)


def one_byte(one: Genuine, draw: random.Random) -> bytes:
    """Anywhere in the file."""
    return _byte_at(one.pdf, draw.randrange(len(one.pdf)), draw)


def one_byte_of_the_structure(one: Genuine, draw: random.Random) -> bytes:
    """Near the end, where the parts of the file are listed."""
    return _byte_at(one.pdf, len(one.pdf) - draw.randrange(1, 2500), draw)


def one_byte_of_the_signature(one: Genuine, draw: random.Random) -> bytes:
    """Of what the digits mean: no signature covers itself."""
    der = one.cms
    return one.with_cms(_byte_at(der, draw.randrange(len(der)), draw))


def one_digit_of_the_signature(one: Genuine, draw: random.Random) -> bytes:
    """Of the digits as they stand, the padding behind them among them."""
    return _byte_at(one.pdf, draw.randrange(one.digits[0] - 1, one.digits[1] + 1), draw)


def _byte_at(data: bytes, place: int, draw: random.Random) -> bytes:
    return data[:place] + bytes([data[place] ^ draw.randrange(1, 256)]) + data[place + 1 :]


def byte_range(one: Genuine, draw: random.Random) -> bytes:
    """Another range said to be covered, of as many digits as before."""
    found = re.search(rb"/ByteRange \[0 (\d+) (\d+) (\d+)", one.pdf)
    assert found is not None
    which = draw.randrange(1, 4)
    wide = len(found[which])
    number = int(found[which]) + draw.choice((-1, 1)) * draw.randrange(1, 60)
    return one.pdf[: found.start(which)] + str(number).rjust(wide, "0").encode() + one.pdf[found.end(which) :]


def appended(one: Genuine, draw: random.Random) -> bytes:
    """Anything behind the end, an end mark among it."""
    return one.pdf + draw.randbytes(draw.randrange(1, 40)) + draw.choice((b"", b"\n", END))


def put_before(one: Genuine, draw: random.Random) -> bytes:
    """Something before the beginning, where readers look over a little."""
    return draw.randbytes(draw.randrange(1, 900)).replace(b"%", b"x") + one.pdf


def left_out(one: Genuine, draw: random.Random) -> bytes:
    """A piece missing, another in double."""
    begin = draw.randrange(len(one.pdf))
    length = draw.randrange(1, 3000)
    twice = draw.random() < 0.5
    return one.pdf[: begin + length * twice] + one.pdf[begin + length * (not twice) :]


def twin(one: Genuine) -> bytes:
    """The other signature that elliptic curves give for the same text and key: (r, n - s) for (r, s).

    Whoever has the file can work it out, and it claims nothing new. No rule tells which of the two was written:
    signers, tokens among them, write either.
    """
    info = cms.ContentInfo.load(one.cms)
    (signer,) = info["content"]["signer_infos"]
    r, s = decode_dss_signature(signer["signature"].native)
    signer["signature"] = encode_dss_signature(r, ORDER - s)
    return one.with_cms(info.dump(force=True))


def _updated(change: Callable[[IncrementalPdfFileWriter, random.Random], None]) -> Callable[..., bytes]:
    def update(one: Genuine, draw: random.Random) -> bytes:
        writer = IncrementalPdfFileWriter(io.BytesIO(one.pdf))
        change(writer, draw)
        out = io.BytesIO()
        writer.write(out)
        return out.getvalue()

    update.__name__ = change.__name__
    return update


def update_of_the_catalog(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """A note in the file's root, as an editor appends one."""
    writer.root[f"/Note{draw.randrange(99)}"] = generic.pdf_string("passed")
    writer.update_root()


def page_replaced(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """Shadow attack: another content for a page, in a revision of its own."""
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    text = f"BT /F1 {draw.randrange(8, 20)} Tf 72 700 Td (pass) Tj ET".encode()
    page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=text))
    writer.mark_update(writer.root["/Pages"]["/Kids"].raw_get(0))


def overlaid(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """Shadow attack: an annotation that lies over a reading."""
    box = generic.ArrayObject(
        generic.NumberObject(value) for value in (72, 600, 200, draw.randrange(601, 700))
    )
    note = {"/Type": "/Annot", "/Subtype": "/Square", "/Rect": box}
    entry = generic.DictionaryObject(
        {pdf_name(name): pdf_name(value) if isinstance(value, str) else value for name, value in note.items()}
    )
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    page["/Annots"] = generic.ArrayObject([writer.add_object(entry)])
    writer.mark_update(writer.root["/Pages"]["/Kids"].raw_get(0))


def attachment_swapped(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """Another twin in the place of the one that was signed."""
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    chosen = names[1 + 2 * draw.randrange(len(names) // 2)].get_object()
    forged = generic.StreamObject(
        dict_data={pdf_name("/Type"): pdf_name("/EmbeddedFile")},
        stream_data=b'{"verdict":"pass","n":%d}' % draw.randrange(10**6),
    )
    chosen["/EF"][pdf_name("/F")] = writer.add_object(forged)
    writer.update_container(chosen["/EF"])


def attachments_exchanged(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """Each attachment under the other's name."""
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    first, second = (names.raw_get(place) for place in (1, 3))
    names[1], names[3] = second, first
    writer.root[f"/Draw{draw.randrange(99)}"] = generic.NullObject()
    writer.update_container(names)
    writer.update_root()


def more_evidence(writer: IncrementalPdfFileWriter, draw: random.Random) -> None:
    """An update that the standard would allow, of what is brought along: we bring it before signing."""
    DocumentSecurityStore.supply_dss_in_writer(
        writer, None, certs=[cms.Certificate.load(stranger().certificate)]
    )
    writer.root[f"/Draw{draw.randrange(9)}"] = generic.NullObject()
    writer.update_root()


def signed_again(one: Genuine, draw: random.Random) -> bytes:
    """The unsigned page, or an older revision with a mark, signed by somebody else of the same name."""
    unsigned = one.pdf[: one.pdf.index(END) + len(END)]
    at = NOW + timedelta(seconds=draw.randrange(1000))
    return sign(unsigned, stranger(), reason="r", location="l", signed_at=at)


def signature_of_another(one: Genuine, draw: random.Random) -> bytes:
    """The signature of the other genuine file, or of a stranger, in this one's place."""
    (other,) = (each for each in genuine() if each is not one)
    return one.with_cms(other.cms)[: len(one.pdf) - draw.randrange(2)]


def signature_taken_out(one: Genuine, draw: random.Random) -> bytes:
    """Zeros in its place, or nothing behind the first revision."""
    begin, end = one.digits
    if draw.random() < 0.5:
        return one.pdf[: one.pdf.index(END) + len(END)]
    return one.pdf[:begin] + b"0" * (end - begin) + one.pdf[end:]


def rewrapped(one: Genuine, draw: random.Random) -> bytes:
    """The same signature with certificates, timestamps or attributes put in or taken out."""
    info = cms.ContentInfo.load(one.cms)
    signed = info["content"]
    (signer,) = signed["signer_infos"]
    kind = draw.randrange(5)
    if kind == 0:
        signed["certificates"].append(
            cms.CertificateChoices("certificate", cms.Certificate.load(stranger().certificate))
        )
    elif kind == 1 and signer["unsigned_attrs"]:
        del signer["unsigned_attrs"]
    elif kind == 2:
        signed["certificates"] = cms.CertificateSet([])
    elif kind == 3 and one.name == "B-LT":
        signed["certificates"].append(
            cms.CertificateChoices("certificate", cms.Certificate.load(one.signers[0]))
        )
    else:
        signer["unsigned_attrs"] = cms.CMSAttributes(
            [{"type": "signature_time_stamp_token", "values": [cms.ContentInfo.load(one.cms)]}]
        )
    return one.with_cms(info.dump(force=True))


CHANGES: dict[Callable[..., bytes], int] = {
    one_byte: 20,
    one_byte_of_the_structure: 11,
    one_byte_of_the_signature: 24,
    one_digit_of_the_signature: 12,
    byte_range: 8,
    appended: 4,
    put_before: 3,
    left_out: 4,
    _updated(update_of_the_catalog): 2,
    _updated(page_replaced): 2,
    _updated(overlaid): 2,
    _updated(attachment_swapped): 2,
    _updated(attachments_exchanged): 1,
    _updated(more_evidence): 1,
    signed_again: 1,
    signature_of_another: 1,
    signature_taken_out: 1,
    rewrapped: 1,
}
"""Each kind of change and how many of a hundred are of it."""


def changes(count: int, seed: int) -> Counter[tuple[str, str, str]]:
    """How many changes of each kind, on which genuine file, got which status."""
    found: Counter[tuple[str, str, str]] = Counter()
    for change, share in CHANGES.items():
        draw = random.Random(f"{seed} {change.__name__}")
        for number in range(max(2, count * share // 100)):
            one = genuine()[number % 2]
            pdf = change(one, draw)
            while pdf == one.pdf:
                pdf = change(one, draw)
            found[change.__name__, one.name, one.checked(pdf).status.value] += 1
    return found


def accepted(found: Counter[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    """Those that verify, which must be none."""
    return [each for each in found if each[2] == "valid"]


if __name__ == "__main__":
    done = changes(int(sys.argv[1]) if len(sys.argv) > 1 else 3000, seed=1)
    for (change, name, status), many in sorted(done.items()):
        print(f"{change:28} {name:5} {status:24} {many:5}")  # noqa: T201
    print(f"{done.total()} changes; verified as intact: {accepted(done) or 'none'}")  # noqa: T201
