"""The file of a check standard's known values."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from limits.errors import BadInput
from limits.known import KnownValue, load

GOOD = """\
standard: SKC-001
certificate: Holm Calibration 2026-117
known:
  tx_loss: 9.03 dB ± 0.05 dB
  isolation: 15.1 dB +- 0.1 dB
"""


@dataclass(frozen=True)
class Measured:
    unit: str = "dB"
    is_curve: bool = False


def written(tmp_path: Path, text: str, name: str = "SKC-001") -> Path:
    path = tmp_path / f"{name}.yaml"
    path.write_text(text)
    return path


def test_the_values_are_read_with_their_uncertainties(tmp_path: Path) -> None:
    standard = load(written(tmp_path, GOOD))
    assert standard.serial == "SKC-001"
    assert [(k.value_db, k.u_db) for k in standard.known.values()] == [(9.03, 0.05), (15.1, 0.1)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("9.03 dB", "expected a known value with its uncertainty"),
        ("9.03 ± 0.05 dB", "has no unit"),
        ("9.03 dB ± 0.05", "has no unit"),
        ("9.03 dB ± 0 dB", "nothing is known without any uncertainty"),
        ("9.03 dB ± -0.1 dB", "nothing is known without any uncertainty"),
    ],
)
def test_what_is_no_known_value_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        KnownValue.parse(text)


def test_every_mistake_of_a_file_has_its_line(tmp_path: Path) -> None:
    text = GOOD.replace("9.03 dB ±", "9,03 dB ±").replace("isolation:", "Isolation:")
    with pytest.raises(BadInput) as caught:
        load(written(tmp_path, text))
    assert [mistake.line for mistake in caught.value.mistakes] == [4, 5]


def test_a_file_is_called_by_its_standard(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="make the two the same"):
        load(written(tmp_path, GOOD, "SKC-002"))


def test_known_values_that_nobody_measures_are_told_with_the_nearest_name(tmp_path: Path) -> None:
    standard = load(written(tmp_path, GOOD))
    found = list(standard.misfits({"tx_losses": Measured(), "isolation": Measured()}))
    assert [(mistake.line, "did you mean 'tx_losses'?" in mistake.what) for mistake in found] == [(4, True)]


@pytest.mark.parametrize(
    ("measured", "words"), [(Measured("Hz"), "in Hz"), (Measured("dB", True), "a curve")]
)
def test_only_numbers_in_decibels_are_compared(tmp_path: Path, measured: Measured, words: str) -> None:
    standard = load(written(tmp_path, GOOD))
    found = list(standard.misfits({"tx_loss": measured, "isolation": Measured()}))
    assert len(found) == 1
    assert words in found[0].what
