"""What a certificate costs beside what it cannot do without.

The bare parts, on the same content: the drawing library alone writing the same strings with the same fonts and the
same lines and curves, as a script would tell it that knows where everything goes; pikepdf attaching the same two
files; pyHanko signing. Not among them, so our own cost: finding out where everything goes, what words and numbers
say, where names in pictures find room, the twin, the square code.
"""

from __future__ import annotations

import importlib.util
import io
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pikepdf
import pytest
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas
from test_unit import in_turn, told

from reports import layout
from reports.certificate import certificate
from reports.record import UnitRecord
from reports.signing import SigningKey, make_key, sign
from reports.twin import twin
from reports.typeface import REGULAR, Style, printable

ISSUED = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
PASSPHRASE = b"salt-water-9"


def kept_record() -> UnitRecord:
    file = Path(__file__).parents[1] / "archive" / "records.py"
    spec = importlib.util.spec_from_file_location("archive_records", file)
    assert spec is not None and spec.loader is not None
    module: ModuleType = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    said = json.loads(file.with_name("record-1.json").read_text())
    record: UnitRecord = module.restored(UnitRecord, said["record"])
    return record


@dataclass
class Page:
    """What was drawn on one page."""

    texts: list[tuple[float, float, str, Style]] = field(default_factory=list)
    code: list[Any] = field(default_factory=list)


def drawn(record: UnitRecord, monkeypatch: pytest.MonkeyPatch) -> list[Page]:
    """Every string with its place, and every operator that is no text, page by page."""
    pages = [Page()]
    usual_say, usual_show = layout.say, Canvas.showPage

    def say(canvas: Canvas, x: float, y: float, text: str, style: Style) -> None:
        pages[-1].texts.append((x, y, printable(text), style))
        usual_say(canvas, x, y, text, style)

    def show(canvas: Canvas) -> None:
        pages[-1].code = [code for code in canvas._code if not str(code).startswith("BT ")]
        pages.append(Page())
        usual_show(canvas)

    with monkeypatch.context() as patched:
        for name, module in list(sys.modules.items()):
            if name.startswith("reports.") and getattr(module, "say", None) is usual_say:
                patched.setattr(module, "say", say)
        patched.setattr(Canvas, "showPage", show)
        certificate(record, ISSUED)
    return pages[:-1]


def draw_alone(pages: list[Page]) -> bytes:
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=A4, pageCompression=1, invariant=1, initialFontName=REGULAR)
    for page in pages:
        for x, y, text, style in page.texts:
            canvas.setFont(style.face, style.size)
            canvas.setFillColor(style.colour)
            canvas.drawString(x, y, text)
        canvas._code.extend(page.code)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def attach_alone(pdf: bytes, files: dict[str, bytes]) -> bytes:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for name, data in files.items():
            held = pikepdf.AttachedFileSpec(
                opened, data, filename=name, relationship=pikepdf.Name.Data, mime_type="text/plain"
            )
            opened.attachments[name] = held
        opened.Root.AF = pikepdf.Array([each.obj for each in opened.attachments.values()])
        kept = io.BytesIO()
        opened.save(kept, deterministic_id=True)
        return kept.getvalue()


@pytest.fixture
def key() -> Iterator[SigningKey]:
    made = make_key("Skerry Works final test", "Skerry Works", PASSPHRASE, ISSUED, 2)
    yield SigningKey.load(made, PASSPHRASE, ISSUED)


def test_a_certificate_costs_at_most_half_more_than_its_bare_parts(
    key: SigningKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = kept_record()
    pages = drawn(record, monkeypatch)
    files = {"unit.json": twin(record, ISSUED), "unit.s3p": record.network.encode()}
    bare, whole = draw_alone(pages), certificate(record, ISSUED)
    attached = attach_alone(bare, files)
    assert len(pages) == 2
    assert len(attached) == pytest.approx(len(whole), rel=0.1), "the same content takes the same room"

    def signed(pdf: bytes) -> bytes:
        return sign(pdf, key, reason="Final test", location="Holmsund", signed_at=ISSUED)

    calls: dict[str, Callable[[], object]] = {
        "certificate": lambda: signed(certificate(record, ISSUED)),
        "drawing": lambda: draw_alone(pages),
        "attachments": lambda: attach_alone(bare, files),
        "signature": lambda: signed(attached),
    }
    assert told(in_turn(calls, {}), "one certificate") <= 1.5
