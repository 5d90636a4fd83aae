"""The check standard: what its resistors make of it, and why its readings tell of the bench alone."""

from __future__ import annotations

import numpy as np
import pytest

from fixtures_sim.checkstandard import CheckStandard
from fixtures_sim.duplexer import Line

FREQ_HZ = np.linspace(100e6, 2e9, 381)


def loss_db(s: np.ndarray, to: int, source: int) -> np.ndarray:
    return -20.0 * np.log10(np.abs(s[:, to, source]))


def test_without_lines_it_is_the_resistors_of_its_drawing() -> None:
    """Nodal analysis of the eleven resistors, in 50 ohm: S = 2 Y' - 1 of the loaded network; to rounding."""
    bare = CheckStandard(tee_farad=0.0, line=Line(0.0))
    series, across = {}, {}
    for loss in (3.0, 30.0):
        ratio = 10 ** (loss / 20)
        series[loss] = 50 * (ratio - 1) / (ratio + 1)
        across[loss] = 100 * ratio / (ratio**2 - 1)
    # nodes: TX, ANT, RX, middle of each pad, tee, far end of the RX pad
    edges = [
        (0, 3, series[3.0]), (3, 6, series[3.0]), (1, 4, series[3.0]), (4, 6, series[3.0]),
        (2, 5, series[30.0]), (5, 7, series[30.0]), (7, 6, 450.0),
    ]  # fmt: skip
    admittance = np.zeros((8, 8))
    for one, other, ohm in edges:
        admittance[[one, other], [one, other]] += 1 / ohm
        admittance[[one, other], [other, one]] -= 1 / ohm
    for node, ohm in ((3, across[3.0]), (4, across[3.0]), (5, across[30.0]), (2, 500.0)):
        admittance[node, node] += 1 / ohm
    loaded = admittance + np.diag([1 / 50] * 3 + [0.0] * 5)
    expected = 2 / 50 * np.linalg.inv(loaded)[:3, :3] - np.eye(3)
    assert np.abs(bare.s(FREQ_HZ[:3]) - expected).max() < 1e-12


def test_it_has_levels_worth_checking_and_is_matched_everywhere() -> None:
    s = CheckStandard().s(FREQ_HZ)
    assert loss_db(s, 1, 0).min() > 6.0 and loss_db(s, 1, 0).max() < 7.5
    for to in (0, 1):
        assert loss_db(s, 2, to).min() > 52.0 and loss_db(s, 2, to).max() < 56.0
    matches_db = np.array([loss_db(s, port, port) for port in range(3)])
    assert matches_db.min() > 24.0
    assert matches_db.max() < 34.0


def test_it_is_reciprocal_passive_and_smooth() -> None:
    """Over 5 MHz no loss moves by more than a hundredth of a decibel."""
    s = CheckStandard().s(FREQ_HZ)
    assert np.abs(s - s.transpose(0, 2, 1)).max() < 1e-12
    assert np.linalg.svd(s, compute_uv=False).max() < 1.0
    for to, source in ((1, 0), (2, 0), (2, 1)):
        assert np.abs(np.diff(loss_db(s, to, source))).max() < 0.01


def test_warmth_hardly_moves_it() -> None:
    """Ten kelvin: less than 0.001 dB of loss in the main line, 0.01 dB in the tap."""
    cool, warm = CheckStandard().s(FREQ_HZ, 23.0), CheckStandard().s(FREQ_HZ, 33.0)
    assert np.abs(loss_db(warm, 1, 0) - loss_db(cool, 1, 0)).max() < 0.001
    assert 0.0 < np.abs(loss_db(warm, 2, 0) - loss_db(cool, 2, 0)).max() < 0.01


@pytest.mark.parametrize("order", [[0, 1, 2], [2, 0, 1]])
def test_frequencies_come_in_any_order(order: list[int]) -> None:
    freq_hz = FREQ_HZ[:3]
    assert np.array_equal(CheckStandard().s(freq_hz[order]), CheckStandard().s(freq_hz)[order])
