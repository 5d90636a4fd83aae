"""What the station packed, in forms that any program reads: S-parameters as Touchstone, all else as CSV.

Touchstone File Format Specification 1.1: a two-port's line is frequency, S11, S21, S12, S22; a three-port has a line
for each row of its matrix, the frequency in front of the first.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from limits.reading import FloatArray
from station.database import sweep_codec
from station.database.touchstone import REFERENCE_OHM, comment
from station.errors import StoreFault
from station.measurements.sweep import ComplexArray

DAMAGED = ".damaged"
"""The ending of a file with the packed bytes themselves, which are not what was once written."""


def s_parameters(packed: bytes, notes: Iterable[str], *, phase: bool) -> tuple[str, bytes]:
    """The ending and content of a file; CSV of magnitudes without phases, or where something was not measured."""
    try:
        freq_hz, s = sweep_codec.decode(packed)
    except StoreFault:
        return DAMAGED, packed
    if phase and np.isfinite(s).all():
        return f".s{s.shape[-1]}p", _touchstone(freq_hz, s, notes).encode()
    return ".csv", (_csv(freq_hz, s, "s") if phase else _csv(freq_hz, s.real, "s")).encode()


def matrices(packed: bytes, name: str) -> tuple[str, bytes]:
    """The ending and content of a file with square matrices over frequency, columns `name11_re`, `name11_im`, ..."""
    try:
        freq_hz, values = sweep_codec.decode(packed)
    except StoreFault:
        return DAMAGED, packed
    return ".csv", _csv(freq_hz, values, name).encode()


def _touchstone(freq_hz: FloatArray, s: ComplexArray, notes: Iterable[str]) -> str:
    ports = s.shape[-1]
    # Of two ports alone the format wants the columns of the matrix one after the other.
    rows: list[list[list[complex]]] = (
        s.transpose(0, 2, 1).reshape(len(s), 1, 4) if ports == 2 else s
    ).tolist()
    lines = [*(f"! {comment(each)}" for each in notes), f"# Hz S RI R {REFERENCE_OHM}"]
    for at_hz, matrix in zip(freq_hz.tolist(), rows, strict=True):
        told = [" ".join(f"{each.real!r} {each.imag!r}" for each in row) for row in matrix]
        lines += [f"{at_hz!r} {told[0]}", *told[1:]]
    return "\n".join(lines) + "\n"


def _csv(freq_hz: FloatArray, values: ComplexArray | FloatArray, name: str) -> str:
    ports = range(1, values.shape[-1] + 1)
    places = [f"{name}{to}{source}" for to in ports for source in ports]
    if np.iscomplexobj(values):
        names = [f"{place}_{part}" for place in places for part in ("re", "im")]
        columns = np.stack((values.real, values.imag), axis=-1)
    else:
        names, columns = places, values.real
    rows: list[list[float]] = columns.reshape(len(freq_hz), -1).tolist()
    lines = [",".join(["freq_hz", *names])]
    for at_hz, row in zip(freq_hz.tolist(), rows, strict=True):
        # NaN says that nothing was measured, and so does an empty cell.
        lines.append(",".join([repr(at_hz), *("" if each != each else repr(each) for each in row)]))
    return "\n".join(lines) + "\n"
