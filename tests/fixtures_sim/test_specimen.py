"""Measured data on the fixture, against scikit-rf's own reading of the same files."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
import pytest
from skrf.network import Network

from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.specimen import combline_pair, joined_filters, load_specimen

TX, ANT, RX = 0, 1, 2

TWO_PORT = "# MHz S RI R 50\n100 0.1 0 0.9 0.1 0.8 0.2 0.2 0\n200 0.3 0 0.7 0.1 0.6 0.2 0.4 0\n"


def loss_db(ratio: ComplexArray) -> FloatArray:
    return np.asarray(-20.0 * np.log10(np.abs(ratio)))


def combline(name: str, folder: Path) -> Path:
    """A copy of one of the measured filters that come with the bench."""
    path = folder / f"{name}.s2p"
    with as_file(files("fixtures_sim") / "data" / path.name) as source:
        path.write_bytes(source.read_bytes())
    return path


def written(folder: Path, text: str, name: str = "filter.s2p") -> Path:
    path = folder / name
    path.write_text(text)
    return path


# --- any file --------------------------------------------------------------------------------------------


def test_a_two_port_lies_between_tx_and_ant_and_nothing_reaches_rx(tmp_path: Path) -> None:
    path = combline("combline_e1_cap", tmp_path)
    read = Network(str(path))
    s = load_specimen(path).s(read.f)
    assert np.array_equal(s[:, :2, :2], read.s)
    assert not s[:, RX].any() and not s[:, :, RX].any()


def test_a_three_port_keeps_the_order_of_its_file(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    values = rng.uniform(-0.4, 0.4, (5, 3, 3, 2)) @ np.array([1.0, 1j])
    grid = np.linspace(150e6, 151e6, 5)
    Network(f=grid, f_unit="hz", s=values, z0=50).write_touchstone("unit", dir=str(tmp_path))
    specimen = load_specimen(tmp_path / "unit.s3p", "the unit")
    assert np.allclose(specimen.s(grid), values, rtol=0, atol=1e-12)
    assert specimen.label == "the unit"


def test_between_two_points_the_complex_value_is_halfway(tmp_path: Path) -> None:
    s = load_specimen(written(tmp_path, TWO_PORT)).s(np.array([150e6]))
    assert s[0, ANT, TX] == pytest.approx(0.8 + 0.1j)
    assert s[0, TX, ANT] == pytest.approx(0.7 + 0.2j)
    assert s[0, TX, TX] == pytest.approx(0.2)


def test_another_reference_impedance_is_turned_into_50_ohm(tmp_path: Path) -> None:
    """A 75 ohm through reads (75 - 50)/(75 + 50) of nothing: as scikit-rf renormalises the same file."""
    path = written(tmp_path, TWO_PORT.replace("R 50", "R 75"))
    read = Network(str(path))
    read.renormalize(50.0)
    assert np.allclose(load_specimen(path).s(read.f)[:, :2, :2], read.s, rtol=0, atol=1e-12)
    assert not np.allclose(read.s[0, 0, 0], 0.1)


@pytest.mark.parametrize("asked_hz", [[99.9e6], [150e6, 200.1e6]])
def test_outside_its_range_nothing_is_invented(tmp_path: Path, asked_hz: list[float]) -> None:
    with pytest.raises(ValueError, match="known from 100 to 200 MHz"):
        load_specimen(written(tmp_path, TWO_PORT)).s(np.array(asked_hz))


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("filter.s1p", TWO_PORT, ".s2p or .s3p"),
        ("filter.txt", TWO_PORT, ".s2p or .s3p"),
        ("filter.s2p", "", "filter.s2p"),
        ("filter.s2p", "nothing of the kind\n", "filter.s2p"),
        ("filter.s2p", "# MHz S RI R 50\n100 0.1 0 0.9\n", "filter.s2p"),
        ("filter.s2p", TWO_PORT.replace("0.9", "nan"), "finite"),
        (
            "filter.s2p",
            TWO_PORT.splitlines(keepends=True)[0] + TWO_PORT.splitlines(keepends=True)[1],
            "two points",
        ),
        ("filter.s2p", TWO_PORT.replace("\n200", "\n100"), "rising"),
        ("filter.s3p", TWO_PORT, "filter.s3p"),
    ],
)
def test_a_file_that_is_no_specimen_is_named_in_one_line(
    tmp_path: Path, name: str, text: str, words: str
) -> None:
    with pytest.raises(ValueError) as caught:
        load_specimen(written(tmp_path, text, name))
    assert words in str(caught.value)
    assert name in str(caught.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"absent\.s2p: cannot be opened"):
        load_specimen(tmp_path / "absent.s2p")


# --- the measured pair -----------------------------------------------------------------------------------


def test_the_measured_filters_read_as_their_measurers_file_says(tmp_path: Path) -> None:
    """Least loss 1.533 dB at 1575.25 MHz and 1.447 dB at 1622.1 MHz, as scikit-rf reads them: 0.01 dB, 1 MHz."""
    for name, least_db, at_hz in (
        ("combline_e1_cap", 1.533, 1575.25e6),
        ("combline_iridium_cap", 1.447, 1622.1e6),
    ):
        specimen = load_specimen(combline(name, tmp_path))
        through = loss_db(specimen.s(specimen.freq_hz)[:, ANT, TX])
        assert through.min() == pytest.approx(least_db, abs=0.01)
        assert specimen.freq_hz[through.argmin()] == pytest.approx(at_hz, abs=1e6)


def test_the_joined_pair_passes_each_channel_and_keeps_them_apart() -> None:
    """Each way no more than 0.15 dB beyond the filter alone; isolation above 50 dB; return loss above 25 dB."""
    s = combline_pair().s(np.array([1575e6, 1622e6]))
    assert loss_db(s[0, ANT, TX]) < 1.533 + 0.15
    assert loss_db(s[1, RX, ANT]) < 1.447 + 0.15
    assert loss_db(s[:, RX, TX]).min() > 50.0
    assert min(loss_db(s[0, [TX, ANT], [TX, ANT]]).min(), loss_db(s[1, [ANT, RX], [ANT, RX]]).min()) > 25.0


def test_the_joined_pair_keeps_what_is_imperfect_in_real_data() -> None:
    """Singular values up to 1.0006 and reciprocity to 2e-3, neither of them perfect."""
    known = combline_pair().known
    assert 1.0 < np.linalg.svd(known, compute_uv=False).max() < 1.0006
    assert 1e-5 < np.abs(known - known.transpose(0, 2, 1)).max() < 2e-3


def test_each_joined_filter_is_open_at_the_tee_in_the_others_band(tmp_path: Path) -> None:
    """So the loss through a bare tee with the other filter hanging on it is that filter's absorption only: 0.2 dB."""
    tx_side, rx_side = combline("combline_e1_cap", tmp_path), combline("combline_iridium_cap", tmp_path)
    pair = joined_filters(tx_side, rx_side)
    grid = np.array([1622e6])
    alone = load_specimen(rx_side).s(grid)
    assert loss_db(pair.s(grid)[0, RX, ANT]) - loss_db(alone[0, ANT, TX]) == pytest.approx(0.0, abs=0.2)


def test_filters_measured_at_other_points_are_not_joined(tmp_path: Path) -> None:
    short = written(tmp_path, TWO_PORT)
    with pytest.raises(ValueError, match="cannot be joined"):
        joined_filters(combline("combline_e1_cap", tmp_path), short)


def test_a_three_port_is_no_filter_to_join(tmp_path: Path) -> None:
    Network(f=[1e8, 2e8], f_unit="hz", s=np.full((2, 3, 3), 0.1 + 0j), z0=50).write_touchstone(
        "unit", dir=str(tmp_path)
    )
    with pytest.raises(ValueError, match="two-port"):
        joined_filters(tmp_path / "unit.s3p", combline("combline_e1_cap", tmp_path))


def test_the_credit_for_the_measured_filters_is_kept() -> None:
    """The MIT licence of the data asks for its notice to stay with every copy."""
    folder = files("fixtures_sim") / "data"
    assert "Copyright (c) 2023 Giacomo Giannetti" in (folder / "LICENSE.combline.MIT.txt").read_text()
    for name in ("combline_e1_cap.s2p", "combline_iridium_cap.s2p"):
        assert "University of Florence" in (folder / name).read_text()[:400]
