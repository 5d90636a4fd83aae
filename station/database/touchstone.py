"""A pair of ports of a stored run as Touchstone 1.1 text, for whoever reads it with other tools.

Here and not with the measurements, because it is a form in which the store gives away what it keeps: nothing is
measured from such a text. Touchstone 1.x knows no port names and no load, so comment lines say them.

Rules followed (Touchstone File Format Specification 1.1, as read in its examples): one option line
`# Hz S RI R 50`; a two-port's line is frequency, S11, S21, S12, S22; frequencies rise.
"""

from __future__ import annotations

from collections.abc import Iterable

from station.database.entries import StoredRun
from station.measurements.sweep import Sweep

REFERENCE_OHM = 50


def touchstone_of(run: StoredRun, sweep: Sweep) -> str:
    """A pair of ports of a run as the text of an .s2p file."""
    head = run.head
    return touchstone_text(
        sweep,
        (
            f"serial {head.serial}, run {run.run_number}, model {run.order.model}",
            f"recipe {head.recipe.name} revision {head.recipe.revision}",
            *(f"{each.role}: {each.identity}" for each in head.instruments),
        ),
    )


def touchstone_text(sweep: Sweep, notes: Iterable[str] = ()) -> str:
    """A sweep as the text of an .s2p file, every number to its last bit; `notes` are comment lines before it."""
    settings = sweep.settings
    comments = (
        *notes,
        f"hook-up {sweep.hookup}",
        f"port 1 = {sweep.hookup.first}, port 2 = {sweep.hookup.second}, load on {sweep.hookup.idle}",
        f"bandwidth {settings.bandwidth_hz} Hz, averages {settings.averages}, power {settings.power_dbm} dBm",
        f"started {sweep.started.isoformat()}",
        "frequency, then real and imaginary part of S11, S21, S12, S22",
    )
    lines = [*(f"! {comment(each)}" for each in comments), f"# Hz S RI R {REFERENCE_OHM}"]
    # A matrix transposed and laid flat is in the order that the format prescribes for two ports.
    values = sweep.s.transpose(0, 2, 1).reshape(-1, 4)
    for freq_hz, row in zip(sweep.freq_hz.tolist(), values.tolist(), strict=True):
        lines.append(" ".join((repr(freq_hz), *(f"{each.real!r} {each.imag!r}" for each in row))))
    return "\n".join(lines) + "\n"


def comment(text: str) -> str:
    """The format is ASCII, one line for each comment."""
    return " ".join(text.encode("ascii", "replace").decode().split())
