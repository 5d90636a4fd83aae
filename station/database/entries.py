"""The values that go into the store and come out of it; what no other room owns already."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NewType

from limits.reading import Reading
from limits.verdict import Outcome, Verdict
from reports.record import Instrument
from reports.resolution import Resolution
from station.measurements.standards import Findings, Swept
from station.measurements.sweep import Port, Sweep
from station.orders import Serial, WorkOrder

CalibrationId = NewType("CalibrationId", int)
"""The store's own number of a calibration; people know it by the time it was made."""

RunId = NewType("RunId", int)
"""The store's own number of a run; people know a run by serial and run number."""


class DocumentKind(StrEnum):
    """What a stored file was used as."""

    RECIPE = "recipe"
    LIMIT_TABLE = "limit table"
    BENCH = "bench"
    LOAD = "load"
    """The measured reflection of a load, as Touchstone text."""

    KIT = "kit"
    """What the standards of a calibration are."""

    KNOWN_VALUES = "known values"
    """Of a check standard: what its runs are judged by."""


class OrderKind(StrEnum):
    """Whom the units of an order are for."""

    PRODUCTION = "production"
    REFERENCE = "reference"
    """For the station itself: a check standard, which counts in no order, no yield and no certificate."""


class RunState(StrEnum):
    """How far a run came."""

    RUNNING = "running"
    """Still at work, or its program died: nobody ended it."""

    JUDGED = "judged"
    STATION_FAULT = "station fault"
    STOPPED = "stopped"
    """By the operator."""


class CertificateKind(StrEnum):
    """What was made of a judged run."""

    CERTIFICATE = "certificate"
    FAILURE_SHEET = "failure sheet"


@dataclass(frozen=True, slots=True)
class StoredText:
    """A file as it stood when a run used it."""

    kind: DocumentKind
    name: str
    revision: str
    digest: str
    """SHA-256 of the file's bytes, 64 hexadecimal digits."""

    text: str
    """All of it, line ends and byte order mark included, so that the digest can be made again."""

    @classmethod
    def of(cls, kind: DocumentKind, name: str, revision: str, data: bytes) -> StoredText:
        """From the file's bytes, which are UTF-8."""
        return cls(kind, name, revision, hashlib.sha256(data).hexdigest(), data.decode())


@dataclass(frozen=True, slots=True)
class LoadText:
    """The load that a port carried whenever it was idle, as its file stood."""

    port: Port
    text: StoredText


@dataclass(frozen=True, slots=True)
class CalibrationHead:
    """Of a calibration: by whom, with what, where."""

    station: str
    operator: str
    made: datetime
    """Aware, when it was begun."""

    valid_for_s: float
    analyzer: str
    """The analyzer's answer to `*IDN?`."""

    temperature_c: float | None
    """At the bench; None where nobody said."""

    cables: str
    """Which ones, in the works' words."""

    kit: StoredText
    kit_files: tuple[StoredText, ...] = ()
    """Measured standards that the kit names."""

    load_return_loss_db: float | None = None
    """How far the kit's load can be trusted; None where the kit has none."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A calibration that was accepted."""

    head: CalibrationHead
    findings: Findings
    swept: Swept
    """What was read of each standard, without any correction."""


@dataclass(frozen=True, slots=True, eq=False)
class StoredCalibration:
    """What runs need of a calibration that is kept; its sweeps are left where they are."""

    calibration_id: CalibrationId
    head: CalibrationHead
    findings: Findings


@dataclass(frozen=True, slots=True)
class Because:
    """Why a unit is tested again."""

    code: str
    """One of the works' list."""

    means: str
    """What the list said of it then."""

    why: str = ""
    """What the operator added."""

    @property
    def sentence(self) -> str:
        """E.g. `the cabling was doubted (cabling): RX cable loose`."""
        return f"{self.means} ({self.code}){f': {self.why}' if self.why else ''}"


@dataclass(frozen=True, slots=True)
class RunHead:
    """What is known when a run begins."""

    serial: Serial
    operator: str
    station: str
    started: datetime
    """Aware."""

    recipe: StoredText
    limits: StoredText
    bench: StoredText
    temperature_c: float | None
    """Of the unit when the run began; None where nobody said."""

    instruments: tuple[Instrument, ...]
    loads: tuple[LoadText, ...] = ()
    """Of every port, where the bench knew their reflections; so that stored sweeps can be read again anywhere."""

    calibration: CalibrationId | None = None
    """What its sweeps are corrected by; None where the analyzer does that itself, or nobody."""

    settled_since: datetime | None = None
    """Since when the unit had lain at the bench, aware; None where nobody said."""

    because: Because | None = None
    """Why the unit is tested again; None where nobody said."""


@dataclass(frozen=True, slots=True)
class RunKey:
    """A run that has begun."""

    run_id: RunId
    run_number: int
    """1 for the first run of its serial."""


@dataclass(frozen=True, slots=True)
class UnitEntry:
    """A unit that the works knows."""

    serial: Serial
    """As the order wrote it, whatever case it was asked for in."""

    order: WorkOrder
    kind: OrderKind = OrderKind.PRODUCTION


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run in a list, without its sweeps and readings."""

    run_id: RunId
    serial: Serial
    run_number: int
    model: str
    order_number: str
    operator: str
    station: str
    started: datetime
    finished: datetime | None
    state: RunState
    why: str
    """Why it ended without a verdict; empty otherwise."""

    outcome: Outcome | None
    failed: tuple[str, ...]
    """Titles of the characteristics that failed, each once, in the table's order."""

    resolution: Resolution | None = None
    """What a person decided of an undecided run; the last one."""

    because: Because | None = None
    """Why the unit was tested again; None where nobody said."""


@dataclass(frozen=True, slots=True, eq=False)
class DoubtedSweep:
    """A sweep that was not believed, kept because everything is."""

    sweep: Sweep
    doubt: str
    """Why, as the operator was told."""


@dataclass(frozen=True, slots=True, eq=False)
class StoredRun:
    """Everything the store has of one run."""

    run_id: RunId
    run_number: int
    head: RunHead
    order: WorkOrder
    state: RunState
    why: str
    finished: datetime | None
    readings: tuple[Reading, ...]
    """All of them, also those that the decisions are about."""

    verdict: Verdict | None
    """None unless the run was judged."""

    sweeps: tuple[Sweep, ...]
    """Those that count: the readings are taken from them."""

    doubted: tuple[DoubtedSweep, ...] = ()
    """Those that were not believed, in the order of sweeping."""

    calibration: StoredCalibration | None = None
    """What the sweeps are corrected by."""

    temperature_end_c: float | None = None
    """Of the unit when the last sweep was done; None where nobody said."""

    resolutions: tuple[Resolution, ...] = ()
    """What persons decided of an undecided run, the first one first; the last one counts."""

    @property
    def resolution(self) -> Resolution | None:
        """The one that counts."""
        return self.resolutions[-1] if self.resolutions else None


@dataclass(frozen=True, slots=True)
class CertificateEntry:
    """A certificate or failure sheet that was made."""

    run_id: RunId
    number: str
    """Serial and run, e.g. `SKV-0107-1`; of a run that a person decided also which decision, `SKV-0107-1-R1`."""

    kind: CertificateKind
    issued: datetime
    sha256: str
    """Of the file's bytes."""

    file: str
    """Where it was put."""

    resolution: int = 0
    """The number of the person's decision that it tells of; 0 where it tells of the measured verdict alone."""


@dataclass(frozen=True, slots=True)
class CheckedValue:
    """A reading that was taken on a check standard, in a run that was judged."""

    run_number: int
    started: datetime
    outcome: Outcome
    """Of the whole check, not of this reading alone."""

    reading: Reading
    own: tuple[float, float] | None
    """The control limits in force, low and high; None where there were none yet."""


@dataclass(frozen=True, slots=True)
class StandardReset:
    """A person says that a check standard is another one from here on: certified again, or serviced."""

    made: datetime
    person: str
    why: str
