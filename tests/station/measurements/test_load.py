"""Loads are read from Touchstone as scikit-rf and the specification have them, and refused at their line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skrf
import yaml

from limits.errors import BadInput
from station.measurements.load import read_load

REFERENCE = Path(__file__).parents[2] / "reference" / "touchstone"
EXPECTED = yaml.safe_load((REFERENCE / "expected.yaml").read_text())["files"]
FREQ_HZ = np.linspace(150e6, 160e6, 11)
REFLECTION = 0.05 * np.exp(2j * np.pi * FREQ_HZ / 30e6)
GOOD = "! made for this test\n# MHz S RI R 50\n150 0.01 -0.02 ! first\n160 0.03 -0.04\n"


def told(text: str) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read_load(text, "load.s1p")
    return [str(mistake) for mistake in caught.value.mistakes]


def test_the_specifications_own_example_is_read_as_published() -> None:
    """Example 8: one frequency, magnitude and angle."""
    said = EXPECTED["spec_ex_8.s1p"]
    load = read_load((REFERENCE / "spec_ex_8.s1p").read_text(), "spec_ex_8.s1p")
    assert load.freq_hz == pytest.approx(np.array(said["freq_mhz"]) * 1e6, rel=1e-15)
    assert np.abs(load.reflection) == pytest.approx(said["S11_mag"], rel=1e-15)
    assert np.degrees(np.angle(load.reflection)) == pytest.approx(said["S11_deg"], rel=1e-12)


def test_the_specifications_example_of_another_parameter_and_impedance_is_refused_at_its_line() -> None:
    """Example 9: Z-parameters in 75 ohm."""
    text = (REFERENCE / "spec_ex_9.s1p").read_text()
    line = next(number for number, each in enumerate(text.splitlines(), 1) if each.startswith("#"))
    mistakes = told(text)
    assert mistakes[0].startswith(f"load.s1p:{line}: 'Z' cannot be read; expected # MHz S RI R 50")
    assert mistakes[1].startswith(f"load.s1p:{line}: a load is given in 50 ohm, not '75'")


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("unit", ["hz", "khz", "mhz", "ghz"])
def test_every_form_and_unit_is_read_as_scikit_rf_wrote_it(form: str, unit: str, tmp_path: Path) -> None:
    network = skrf.Network(f=FREQ_HZ, f_unit="hz", s=REFLECTION[:, None, None], z0=50, name="load")
    network.frequency.unit = unit
    network.write_touchstone(str(tmp_path / "load"), form=form)
    load = read_load((tmp_path / "load.s1p").read_text(), "load.s1p")
    read_back = skrf.Network(str(tmp_path / "load.s1p"))
    assert load.freq_hz == pytest.approx(read_back.f, rel=1e-15)
    assert np.abs(load.reflection - read_back.s[:, 0, 0]).max() < 1e-15
    assert np.abs(load.reflection - REFLECTION).max() < 1e-12


def test_what_no_option_line_says_is_as_the_specification_has_it() -> None:
    """GHz, S, MA, 50 ohm."""
    load = read_load("0.15 0.1 90\n", "load.s1p")
    assert load.freq_hz == pytest.approx([150e6])
    assert load.reflection == pytest.approx([0.1j])


def test_between_its_points_a_reflection_goes_straight() -> None:
    load = read_load(GOOD, "load.s1p")
    assert load.at(np.array([150e6, 152.5e6, 160e6])) == pytest.approx(
        np.array([0.01 - 0.02j, 0.015 - 0.025j, 0.03 - 0.04j])
    )


@pytest.mark.parametrize(("wanted", "line"), [((149e6, 155e6), 3), ((155e6, 161e6), 4)])
def test_outside_what_was_measured_is_refused_at_the_line_it_ends(
    wanted: tuple[float, float], line: int
) -> None:
    load = read_load(GOOD, "load.s1p")
    with pytest.raises(
        ValueError, match=rf"^load\.s1p:{line}: the load was measured from 150 MHz to 160 MHz"
    ):
        load.at(np.array(wanted))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("# MHz", "# mHZz", "2: 'MHZZ' cannot be read; expected # MHz S RI R 50"),
        ("R 50", "R", "2: a load is given in 50 ohm, not ''"),
        ("R 50", "R 50\n# GHz S MA R 50", "3: the option line stands once"),
        ("# MHz", "[Version] 2.0\n# MHz", "2: '[Version]' is of Touchstone version 2"),
        ("160 0.03", "150 0.03", "4: the frequencies must rise"),
        ("160 0.03", "160 0.0.3", "4: '0.0.3' is no number"),
        ("160 0.03", "160 nan", "4: 'nan' is no number"),
        ("0.03 -0.04", "0.03", "4: expected frequency and two numbers, got 2 words"),
        ("0.03 -0.04", "0.03 0 0 0 0 0 0 0", "4: expected frequency and two numbers, got 9 words; is it"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, said: str) -> None:
    assert old in GOOD
    (mistake,) = told(GOOD.replace(old, new, 1))
    assert mistake.startswith(f"load.s1p:{said}")


def test_every_mistake_is_told_at_once() -> None:
    assert len(told("# MHz Y RI R 75\nx 1 2\n5 1\n")) == 4


def test_a_text_without_a_reflection_is_refused() -> None:
    assert told("! nothing\n# MHz S RI R 50\n") == [
        "load.s1p: holds no reflection: write lines of frequency and two numbers"
    ]
