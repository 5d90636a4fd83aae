"""Everything that is ever said of one tested unit: the only thing a certificate is made from.

The record is owned here because the reports read it; the station fills it from its store.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from limits.reading import FloatArray, Reading
from limits.verdict import Outcome, Verdict
from reports.house import PLAIN, House
from reports.resolution import Resolution, Ruling


@dataclass(frozen=True, slots=True)
class Works:
    """Who made and tested the unit."""

    name: str
    address: tuple[str, ...]
    """Address lines as printed."""

    station: str
    """The test station, e.g. `final test 1`."""

    house: House = PLAIN
    """What its paper looks like."""


@dataclass(frozen=True, slots=True)
class Order:
    """What the customer ordered, and the channel pair the units are tuned to."""

    number: str
    customer: str
    model: str
    tx_hz: float
    rx_hz: float
    due: date


@dataclass(frozen=True, slots=True)
class Document:
    """A recipe or a limit table as it stood when it was used."""

    name: str
    revision: str
    digest: str
    """SHA-256 of the file's bytes, 64 hexadecimal digits."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """What measured."""

    role: str
    """`analyzer`, for example."""

    identity: str
    """Its own answer to `*IDN?`."""

    calibrated: str = ""
    """When and by whom it was calibrated, in the works' words; empty where nobody said."""


@dataclass(frozen=True, slots=True)
class CheckNote:
    """The check standard as it was measured last before the unit: whether the station measured right."""

    serial: str
    certificate: str
    """By what its values are known, in the works' words."""

    started: datetime
    outcome: Outcome
    readings: int
    """How many of them were judged."""


@dataclass(frozen=True, slots=True)
class SweepNote:
    """How one hook-up was swept."""

    hookup: str
    """E.g. `TX-ANT, load on RX`."""

    points: int
    bandwidth_hz: float
    averages: int
    power_dbm: float


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One quantity over frequency, ready to be drawn."""

    name: str
    """What `Reading.trace` refers to."""

    title: str
    """As in a legend, e.g. `TX to ANT`."""

    freq_hz: FloatArray
    """Shape (n,), rising."""

    value: FloatArray
    """Shape (n,), in the panel's unit."""


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One picture: traces that belong together, over a window. dB grow downward, as the trade draws them."""

    title: str
    unit: str
    traces: tuple[Trace, ...]
    freq_hz: tuple[float, float]
    """The window's lowest and highest frequency."""

    value: tuple[float, float]
    """The window's lowest and highest value."""


@dataclass(frozen=True, slots=True, eq=False)
class UnitRecord:
    """One run of one unit, complete."""

    serial: str
    run_number: int
    """1 for the first run of this serial."""

    works: Works
    order: Order
    recipe: Document
    limits: Document
    operator: str
    started: datetime
    """Aware, UTC; so is `finished`."""

    finished: datetime
    temperature_c: float | None
    """Of the unit when the run began; None where nobody said."""

    instruments: tuple[Instrument, ...]
    sweeps: tuple[SweepNote, ...]
    verdict: Verdict
    information: tuple[Reading, ...]
    """Readings for which the customer was promised no limit, so that they are told without a verdict."""

    panels: tuple[Panel, ...]
    resolution: Resolution | None = None
    """What a person decided where the verdict is undecided; the last one."""

    @property
    def outcome(self) -> Outcome:
        """The verdict, or where it is undecided what a person made of it: a released unit counts as passed."""
        if self.verdict.outcome is not Outcome.UNDECIDED or self.resolution is None:
            return self.verdict.outcome
        return Outcome.PASS if self.resolution.ruling is Ruling.RELEASE else Outcome.FAIL

    temperature_end_c: float | None = None
    """Of the unit when its last sweep was done; None where nobody said."""

    check: CheckNote | None = None
    """None where the station had measured none."""

    network: str = ""
    """The unit's S-parameters, ports TX, ANT, RX, as the text of a Touchstone file; empty without phases."""

    @property
    def number(self) -> str:
        """The number of its certificate or failure sheet: serial and run, e.g. `SKV-0107-1`.

        Where a person decided, the number of that decision follows, e.g. `SKV-0107-1-R1`.
        """
        decided = "" if self.resolution is None else f"-R{self.resolution.number}"
        return f"{self.serial}-{self.run_number}{decided}"
