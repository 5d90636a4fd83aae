"""The square code, found and read on the rendered page by an independent decoder."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image

from reports.certificate import certificate
from reports.code import code_text
from reports.record import UnitRecord
from reports.twin import digest_of, twin


@pytest.fixture
def codes_of(need: Callable[[str], str], tmp_path: Path) -> Callable[..., list[str]]:
    """What a camera would find on each page, from the first to the last."""

    def read(pdf: bytes, dpi: int = 150) -> list[str]:
        (tmp_path / "page.pdf").write_bytes(pdf)
        command = [
            need("pdftoppm"),
            "-gray",
            "-png",
            "-r",
            str(dpi),
            tmp_path / "page.pdf",
            tmp_path / "page",
        ]
        subprocess.run(command, check=True, capture_output=True)
        found = []
        for page in sorted(tmp_path.glob("page*.png")):
            with Image.open(page) as picture:
                found += zxingcpp.read_barcodes(picture)
        assert {each.format for each in found} <= {zxingcpp.BarcodeFormat.QRCode}
        return [each.text for each in found]

    return read


@pytest.mark.parametrize("dpi", [100, 150, 300])
def test_it_carries_number_serial_and_the_digest_of_the_twin(
    dpi: int, passing: UnitRecord, issued: datetime, codes_of: Callable[..., list[str]]
) -> None:
    digest = digest_of(twin(passing, issued))
    expected = f"certificate SKV-0107-1\nserial SKV-0107\nsha256 {digest}"
    assert codes_of(certificate(passing, issued), dpi) == [expected]


def test_letters_of_any_case_and_the_longest_serial_fit(
    passing: UnitRecord, issued: datetime, codes_of: Callable[..., list[str]]
) -> None:
    record = replace(passing, serial="Skv-" + "0123456789" * 2 + "-abcdefg")
    expected = code_text(record.number, record.serial, digest_of(twin(record, issued)))
    assert codes_of(certificate(record, issued)) == [expected]


def test_the_digest_on_the_page_is_the_one_in_the_code(
    passing: UnitRecord, issued: datetime, text_of: Callable[..., str], codes_of: Callable[..., list[str]]
) -> None:
    pdf = certificate(passing, issued)
    digest = codes_of(pdf)[0].split()[-1]
    assert digest in "".join(text_of(pdf, "-raw").split())
