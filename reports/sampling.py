"""What of a sweep is drawn: the points that show, and the round numbers beside them. Pure arithmetic, no page."""

from __future__ import annotations

import math

import numpy as np

from limits.reading import FloatArray


def decimated(x: FloatArray, y: FloatArray, columns: int) -> tuple[FloatArray, FloatArray]:
    """The points that show when the line is drawn `columns` wide: each column's least and greatest, in order.

    Shapes (n,) in, (m,) out with m at most about 2 * columns; first and last point are always kept.
    """
    if len(x) <= 2 * columns:
        return x, y
    column = np.minimum((x - x[0]) * (columns / (x[-1] - x[0])), columns - 1).astype(np.int32)
    by_value = np.lexsort((y, column))
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    ends = np.append(starts[1:], len(x)) - 1
    index = np.unique(np.concatenate(([0, len(x) - 1], by_value[starts], by_value[ends])))
    return x[index], y[index]


def thinned(x: FloatArray, y: FloatArray, tolerance: float = 0.02) -> tuple[FloatArray, FloatArray]:
    """The line without points that a straight stroke between their neighbours meets as well.

    Each of four passes drops some of every second point, so that no point ends up farther than four
    tolerances from the line; smooth sweeps keep about a tenth of their points.
    """
    for _ in range(4):
        if len(x) < 5:
            break
        before, here, after = slice(0, -2, 2), slice(1, -1, 2), slice(2, None, 2)
        share = (x[here] - x[before]) / (x[after] - x[before])
        straight = y[before] + share * (y[after] - y[before])
        keep = np.ones(len(x), dtype=bool)
        keep[here] = np.abs(y[here] - straight) > tolerance
        x, y = x[keep], y[keep]
    return x, y


def ticks(low: float, high: float, most: int) -> tuple[FloatArray, int]:
    """Round numbers from low to high, no more than `most`, and the decimals they are written with."""
    least_step = (high - low) / max(most, 1)
    power = math.floor(math.log10(least_step))
    step = next(m * 10.0**power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * 10.0**power >= least_step * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    decimals = next(d for d in range(13) if d == 12 or abs(round(step, d) - step) < 1e-9 * step)
    return np.arange(first, last + 1, dtype=np.float64) * step, decimals
