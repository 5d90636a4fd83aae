"""Whether the bench is what its file states: the figures behind U against what the calibration in force measured.

When standards were put on again, what was then read of them shows how well the bench was calibrated. A budget takes
the figures of the file, which are of many calibrations; one that turned out worse must not be tested with. The rule
(a house rule, no source), for the worst frequency of the band:

* a wave that should not be there may be twice as large as stated: figures are rms, and a wave of that rms in any
  phase is larger than twice that with a probability of exp(-4) = 2 %. Directivity is held to its own figure, the
  match seen through the through to directivity and port match together, which meet there.
* the size of a wave that should be there may be off by the drift and three standard deviations of the connectors: a
  through has both of them, a short one of them there and back, which is sqrt(2) times as much.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from station.measurements.figures import Figures
from station.measurements.standards import Residual
from station.measurements.vector_errors import wave_of
from station.sequencer.calibration_age import CALIBRATE, in_force
from station.sequencer.reasons import Circumstances, Reason

WAVES = 2.0
DEVIATIONS = 3.0


def kept_promises(around: Circumstances) -> Iterator[Reason]:
    """Whether the calibration in force was as good as the bench file states; nothing where it states no figures."""
    figures, calibration = around.bench.source.value.figures, in_force(around.bench, around.store)
    if figures is None or calibration is None:
        return
    for what in worse_than_stated(calibration.findings.residuals, figures):
        yield Reason(
            what,
            f"clean the connectors and {CALIBRATE}; if it stays so, write the worse figure into bench.yaml, where U "
            "comes from",
        )


def worse_than_stated(residuals: Sequence[Residual], figures: Figures) -> Iterator[str]:
    """Each residual that the figures do not allow, in words."""
    for each in residuals:
        most, stated = _allowed(each, figures)
        if 10 ** (-each.value_db / 20) > most:
            yield (
                f"the calibration found a {each.what} of {each.value_db:.1f} dB at port {each.port}, and bench.yaml "
                f"allows {-20 * math.log10(most):.1f} dB at worst ({stated})"
            )


def _allowed(residual: Residual, figures: Figures) -> tuple[float, str]:
    """The largest wave, or share of one, and the figures it follows from."""
    directivity, match = wave_of(figures.directivity), wave_of(figures.port_match)
    if residual.what == "directivity":
        return WAVES * directivity, f"directivity {figures.directivity:g} dB"
    if residual.what == "match":
        stated = f"directivity {figures.directivity:g} dB, port match {figures.port_match:g} dB"
        return WAVES * math.hypot(directivity, match), stated
    mated = figures.connector_repeatability * (1.0 if residual.what == "transmission" else math.sqrt(2.0))
    off_db = DEVIATIONS * mated + figures.drift
    stated = f"connector repeatability {figures.connector_repeatability:g} dB, drift {figures.drift:g} dB"
    return 10 ** (off_db / 20) - 1, stated
