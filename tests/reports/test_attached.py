"""Files inside a certificate, read by others: qpdf on structure, pikepdf on entries, pdfdetach on bytes."""

from __future__ import annotations

import io
import json
import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pikepdf
import pytest

from reports.attached import files_in, twin_in
from reports.certificate import certificate
from reports.errors import NoTwin
from reports.record import UnitRecord
from reports.signing import SigningKey, sign
from reports.twin import twin

NETWORK = "! ports TX, ANT, RX\n# Hz S RI R 50\n1.0 0 0 0 0 0 0\n0 0 0 0 0 0\n0 0 0 0 0 0\n"


@pytest.fixture
def record(passing: UnitRecord) -> UnitRecord:
    return replace(passing, network=NETWORK)


@pytest.fixture
def pdf(record: UnitRecord, issued: datetime) -> bytes:
    return certificate(record, issued)


def test_twin_and_network_are_read_back(pdf: bytes, record: UnitRecord, issued: datetime) -> None:
    found = twin_in(pdf)
    assert (found.data, found.network) == (twin(record, issued), NETWORK)
    assert found.said["unit"]["serial"] == record.serial


def test_a_signature_leaves_them_as_they_are(pdf: bytes, key: SigningKey, issued: datetime) -> None:
    signed = sign(pdf, key, reason="Final test", location="Northhaven", signed_at=issued)
    assert twin_in(signed) == twin_in(pdf)
    assert signed.startswith(pdf), "what the works can make again is the beginning of what it signed"


def test_the_file_is_sound(pdf: bytes, need: Callable[[str], str], tmp_path: Path) -> None:
    path = tmp_path / "made.pdf"
    path.write_bytes(pdf)
    done = subprocess.run([need("qpdf"), "--check", path], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_they_are_associated_files_of_the_whole_document(pdf: bytes) -> None:
    """ISO 19005-3, 6.8: F and UF, media type, relationship, and a place in the catalogue's AF."""
    with pikepdf.open(io.BytesIO(pdf)) as read:
        kinds = {
            str(each.UF): (str(each.EF.F.Subtype), str(each.AFRelationship), str(each.F) == str(each.UF))
            for each in read.Root.AF
        }
        assert kinds == {
            "SKV-0107-1.json": ("/application/json", "/Alternative", True),
            "SKV-0107-1.s3p": ("/text/plain", "/Data", True),
        }
        for name, specification in read.attachments.items():
            held = specification.obj
            assert str(held.UF) == name
            assert int(held.EF.F.Params.Size) == len(specification.get_file().read_bytes())
            assert str(held.EF.F.Params.CreationDate) == "D:20261125152000+00'00'"


def test_an_outside_reader_takes_out_the_same_bytes(
    pdf: bytes, record: UnitRecord, issued: datetime, need: Callable[[str], str], tmp_path: Path
) -> None:
    (tmp_path / "made.pdf").write_bytes(pdf)
    subprocess.run(
        [need("pdfdetach"), "-saveall", "-o", tmp_path, tmp_path / "made.pdf"],
        check=True,
        capture_output=True,
    )
    assert (tmp_path / "SKV-0107-1.json").read_bytes() == twin(record, issued)
    assert (tmp_path / "SKV-0107-1.s3p").read_text() == NETWORK


def test_numbers_on_the_page_are_those_of_the_twin(pdf: bytes, text_of: Callable[..., str]) -> None:
    """Read by outsiders on both sides: the text of the page, and the JSON taken out of the file."""
    with pikepdf.open(io.BytesIO(pdf)) as read:
        said = json.loads(read.attachments["SKV-0107-1.json"].get_file().read_bytes())
    lines = text_of(pdf).splitlines()
    judged = [each for each in said["characteristics"] if each["decision"]]
    assert len(judged) == 12
    for each in judged:
        row = next(line for line in lines if line.startswith(each["title"]))
        shown = re.search(r"(\d+\.(\d+)) dB", row)
        assert shown is not None
        step = 10.0 ** -len(shown[2])
        assert float(shown[1]) == pytest.approx(each["value"], abs=0.5 * step * 1.0001)
        assert each["decision"]["limit"] in row


def test_without_phases_there_is_the_twin_alone(passing: UnitRecord, issued: datetime) -> None:
    found = twin_in(certificate(passing, issued))
    assert found.network == ""
    assert found.said["network"] is None


def rewritten(pdf: bytes, change: Callable[[pikepdf.Pdf], None]) -> bytes:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        change(opened)
        kept = io.BytesIO()
        opened.save(kept)
        return kept.getvalue()


def swap(name: str, data: bytes) -> Callable[[pikepdf.Pdf], None]:
    def change(opened: pikepdf.Pdf) -> None:
        opened.attachments[name] = pikepdf.AttachedFileSpec(opened, data, filename=name)

    return change


def take_out(name: str) -> Callable[[pikepdf.Pdf], None]:
    def change(opened: pikepdf.Pdf) -> None:
        del opened.attachments[name]

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (take_out("SKV-0107-1.json"), "0 JSON files"),
        (take_out("SKV-0107-1.s3p"), "nothing; it names SKV-0107-1.s3p"),
        (swap("SKV-0107-1.s3p", b"# Hz S RI R 50\n"), "not the one that the twin names"),
        (swap("more.txt", b"-"), "more.txt"),
        (swap("SKV-0107-1.json", b'{"form": 1}'), "cannot be read"),
        (swap("SKV-0107-1.json", b'{"form":"urn:another"}'), "not of the form"),
    ],
)
def test_parts_that_do_not_belong_together_are_told(
    change: Callable[[pikepdf.Pdf], None], said: str, pdf: bytes
) -> None:
    with pytest.raises(NoTwin, match=said):
        twin_in(rewritten(pdf, change))


def test_the_twin_of_another_certificate_is_told(pdf: bytes, record: UnitRecord, issued: datetime) -> None:
    other = twin(replace(record, serial="SKV-0108"), issued)
    with pytest.raises(NoTwin, match="twin of another certificate, SKV-0108-1"):
        twin_in(rewritten(pdf, swap("SKV-0107-1.json", other)))


def test_a_pdf_without_any_file_says_so(pdf: bytes) -> None:
    def clear(opened: pikepdf.Pdf) -> None:
        del opened.Root.Names

    bare = rewritten(pdf, clear)
    assert files_in(bare) == {}
    with pytest.raises(NoTwin, match="0 JSON files"):
        twin_in(bare)
