"""Which points a value hangs on: each measure by its own nature, found by trying."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from limits.yamlfile import parse
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.deciding import deciding_points, noise_db
from station.measurements.error_source import Excerpt
from station.measurements.figures import Figures
from station.measurements.measure import Place
from station.measurements.sweep import HOOKUPS, Hookup, Sweep

SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]
FREQ_HZ = np.linspace(156e6, 157e6, 101)
WIDE = (156.2e6, 156.8e6)
FIGURES = parse(
    """\
noise_floor: -80 dBm at 1 kHz
trace_noise: 0.01 dB
connector_repeatability: 0.02 dB
drift: 0.02 dB
directivity: 44 dB
port_match: 40 dB
load_match: 44 dB
""",
    Figures,
    "bench.yaml",
).value


def places(measure: str, place: Place, db: np.ndarray, sweep_of: SweepOf) -> list[int]:
    """Of a characteristic between TX and ANT, or at TX, in a sweep whose every S-parameter is `db` down."""
    found = next(each for each in MEASURES if each.name == measure)
    to = "TX" if found.look.value == "port" else "ANT"
    item = Characteristic("x", "X", found, HOOKUPS[0], to, "TX", place, 10e3)
    s = np.broadcast_to((10 ** (-db / 20))[:, None, None], (len(db), 2, 2)).astype(complex)
    return deciding_points(item, {HOOKUPS[0]: sweep_of(HOOKUPS[0], FREQ_HZ, s)}, FIGURES).tolist()


def hill(top: int, height_db: float, width: float) -> np.ndarray:
    return height_db / (1 + ((np.arange(101) - top) / width) ** 2)


def test_a_value_at_one_frequency_hangs_on_its_point_or_on_both_beside_it(sweep_of: SweepOf) -> None:
    db = np.full(101, 1.0)
    assert places("loss", Place(at_hz=FREQ_HZ[60]), db, sweep_of) == [60]
    assert places("loss", Place(at_hz=FREQ_HZ[60] + 1e-6), db, sweep_of) == [60]
    assert places("loss", Place(at_hz=FREQ_HZ[60] + 3e3), db, sweep_of) == [60, 61]


def test_the_worst_of_a_span_hangs_on_what_noise_may_make_the_worst(sweep_of: SweepOf) -> None:
    """Trace noise of 0.01 dB may lift a point by 0.06 dB, which is beyond five steps of 0.011 dB and not six."""
    db = 1.0 + 0.011 * np.abs(np.arange(101) - 50)
    assert places("worst loss", Place(span_hz=WIDE), db, sweep_of) == [*range(20, 26), *range(75, 81)]
    assert places("worst isolation", Place(span_hz=WIDE), db, sweep_of) == list(range(45, 56))


def test_points_near_the_floor_reach_further(sweep_of: SweepOf) -> None:
    """A notch of 70 dB, 10 dB above the floor: noise may move a point by 6 * 2 dB."""
    near = places("notch depth", Place(span_hz=WIDE), 10 + hill(50, 60, 8), sweep_of)
    far = places("notch depth", Place(span_hz=WIDE), hill(50, 30, 8), sweep_of)
    assert near[0] < 49 < 51 < near[-1]
    assert far == [50]


def test_a_ripple_hangs_on_both_of_its_ends(sweep_of: SweepOf) -> None:
    db = 1.0 + 0.1 * np.arange(101)
    assert places("ripple", Place(span_hz=WIDE), db, sweep_of) == [20, 80]


def test_a_width_hangs_on_the_points_beside_its_edges(sweep_of: SweepOf) -> None:
    db = 12.0 + hill(50, 18, 10)
    found = places("match bandwidth", Place(at_hz=FREQ_HZ[50], span_hz=WIDE, level_db=20.0), db, sweep_of)
    edges = [int(np.flatnonzero(db >= 20.0)[0]), int(np.flatnonzero(db >= 20.0)[-1])]
    assert found == [edges[0] - 1, edges[0], edges[1], edges[1] + 1]


def test_a_curve_hangs_on_every_point_of_its_span(sweep_of: SweepOf) -> None:
    db = np.full(101, 40.0)
    assert places("isolation curve", Place(span_hz=WIDE), db, sweep_of) == list(range(20, 81))


@pytest.mark.parametrize(("down_db", "expected_db"), [(60.0, 0.614), (50.0, 0.194), (0.0, 0.01)])
def test_noise_is_that_of_the_floor_and_of_the_trace(
    sweep_of: SweepOf, down_db: float, expected_db: float
) -> None:
    """8.686 / sqrt(2 * 10^(X/10)) dB, X dB above the floor; the two as squares."""
    s = np.full((101, 2, 2), 10 ** (-down_db / 20), dtype=complex)
    sweeps = {HOOKUPS[0]: sweep_of(HOOKUPS[0], FREQ_HZ, s)}
    excerpt = Excerpt(sweeps, HOOKUPS[0], "ANT", "TX", FREQ_HZ[[50]])
    assert noise_db(excerpt, FIGURES)[0] == pytest.approx(
        np.hypot(expected_db, 0.01 if down_db else 0), rel=2e-3
    )
