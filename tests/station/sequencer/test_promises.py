"""What a calibration measured, against what the bench file states."""

from __future__ import annotations

import math

import pytest

from station.measurements.figures import Figures, NoiseFloor
from station.measurements.standards import Residual
from station.sequencer.promises import worse_than_stated

FIGURES = Figures(
    noise_floor=NoiseFloor.of(-115.0, 1e3),
    trace_noise=0.002,
    connector_repeatability=0.02,
    drift=0.02,
    directivity=40.0,
    port_match=40.0,
    load_match=40.0,
)


def db_of(off_db: float) -> float:
    """How far below a wave its change by so many dB lies."""
    return -20 * math.log10(10 ** (off_db / 20) - 1)


@pytest.mark.parametrize(
    ("what", "limit_db"),
    [
        ("directivity", 40.0 - 6.02),
        ("match", 40.0 - 3.01 - 6.02),
        ("transmission", db_of(3 * 0.02 + 0.02)),
        ("reflection", db_of(3 * math.sqrt(2) * 0.02 + 0.02)),
    ],
)
def test_a_residual_is_told_where_it_is_worse_than_the_figures_allow(what: str, limit_db: float) -> None:
    fine, worse = (Residual(what, 2, limit_db + off_db, 160e6) for off_db in (0.1, -0.1))
    (told,) = worse_than_stated((fine, worse), FIGURES)
    assert told.startswith(
        f"the calibration found a {what} of {worse.value_db:.1f} dB at port 2, and bench.yaml"
    )
    assert f"allows {limit_db:.1f} dB at worst" in told
