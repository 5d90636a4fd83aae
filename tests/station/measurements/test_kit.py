"""What a kit file says of its standards."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fixtures_sim import standards
from limits.errors import BadInput
from limits.yamlfile import parse
from station.measurements.kit import Kit, KitForm, make_kit

FREQ_HZ = np.linspace(1e6, 3e9, 50)
TEXT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
MEASURED = "# MHz S RI R 50\n1 0.99 0.01\n4000 0.9 -0.3\n"


def kit_of(text: str, files: dict[str, str] | None = None) -> Kit:
    def read_beside(name: str) -> tuple[str, str]:
        if files is None or name not in files:
            raise FileNotFoundError(2, "no", f"kits/{name}")
        return files[name], f"kits/{name}"

    return make_kit(parse(text, KitForm, "kits/two.yaml"), read_beside)


def test_standards_reflect_what_a_simulation_of_their_parts_does() -> None:
    """The simulated kit is built by scikit-rf, from lines and lumped parts joined to each other."""
    kit = kit_of(TEXT)

    for kind in ("open", "short", "load"):
        simulated = standards.connection(standards.DEFINITION, kind, (1,), 1).s(FREQ_HZ, 1)
        np.testing.assert_allclose(kit.reflection(kind, FREQ_HZ), simulated[:, 0, 0], rtol=0, atol=1e-9)
    simulated = standards.connection(standards.DEFINITION, "through", (1, 2), 2).s(FREQ_HZ, 2)
    np.testing.assert_allclose(kit.through(FREQ_HZ), simulated, rtol=0, atol=1e-9)


def test_a_polynomial_goes_in_powers_of_the_frequency_in_ghz() -> None:
    kit = kit_of(TEXT.replace("[68 fF]", "[60 fF, -2 fF, 3 fF]").replace("23.5 ps", "0 ps"))

    farad = (60 - 2 * 2 + 3 * 4) * 1e-15
    loaded = 2j * np.pi * 2e9 * farad * 50
    assert kit.reflection("open", np.array([2e9]))[0] == pytest.approx((1 - loaded) / (1 + loaded), abs=1e-12)


def test_open_and_short_reflect_so_long_behind_the_load_as_their_phases_turn() -> None:
    """At 455 MHz, where 1 ps is 0.3 degrees; by numbers, and by files of the same standards."""
    freq_hz = np.linspace(400e6, 500e6, 11)
    kit = kit_of(TEXT)
    files = {}
    for name in ("open", "short"):
        lines = [
            f"{hz:.0f} {each.real:.9f} {each.imag:.9f}"
            for hz, each in zip(freq_hz, kit.reflection(name, freq_hz), strict=True)
        ]
        files[f"{name}.s1p"] = "\n".join(["# Hz S RI R 50", *lines, ""])
    measured = kit_of(
        TEXT.replace("{delay: 23.5 ps, capacitance: [68 fF]}", "{file: open.s1p}").replace(
            "{delay: 25 ps, inductance: [8 pH]}", "{file: short.s1p}"
        ),
        files,
    )

    turned = -kit.reflection("open", np.array([455e6])) * kit.reflection("short", np.array([455e6]))
    expected_s = -float(np.angle(turned[0])) / (8 * np.pi * 455e6)
    assert kit.reflect_delay_s == pytest.approx(expected_s, abs=0.05e-12)
    assert measured.reflect_delay_s == pytest.approx(expected_s, abs=0.05e-12)
    assert measured.through_delay_s == 41e-12


def test_a_measured_standard_takes_the_place_of_its_numbers() -> None:
    kit = kit_of(TEXT.replace("{delay: 23.5 ps, capacitance: [68 fF]}", "{file: o.s1p}"), {"o.s1p": MEASURED})

    assert kit.reflection("open", np.array([1e6]))[0] == 0.99 + 0.01j
    assert kit.texts == {"o.s1p": MEASURED}
    with pytest.raises(BadInput, match=r"kits/o\.s1p:3: .*from 1 MHz to 4000 MHz"):
        kit.reflection("open", np.array([1e9, 5e9]))


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("68 fF", "68 F", r"kits/two\.yaml:2:.*unknown unit 'F'"),
        ("{delay: 23.5 ps,", "{file: o.s1p,", r"kits/two\.yaml:2:.*either a measured 'file' or the numbers"),
        ("{return_loss: 46 dB}", "{}", r"kits/two\.yaml:4:.*'return_loss' is missing"),
        (
            "{delay: 23.5 ps, capacitance: [68 fF]}",
            "{file: lost.s1p}",
            r"yaml:2:.*there is no file kits/lost\.s1p",
        ),
    ],
)
def test_a_mistake_in_a_kit_is_told_with_its_place(old: str, new: str, expected: str) -> None:
    with pytest.raises(BadInput, match=expected):
        kit_of(TEXT.replace(old, new))


def test_the_kit_in_the_readers_own_words_can_be_read() -> None:
    import station.measurements.kit as module

    text = (module.__doc__ or "").split("\n\n")[1]
    assert kit_of(text).name == "Skerry N 2"
    assert Path(module.__file__).name == "kit.py"
