"""The store: every order, run, sweep, reading and decision of the works, each in one durable transaction.

Nothing is changed once it is written, but for the end of a run, its last temperature and a doubt about a sweep. Times
come in as arguments. Whatever the database says against it comes out as station.errors.StoreFault. May be used by
several threads, and by several programs on one database.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy.engine import Connection, Engine

from limits.reading import Reading
from limits.verdict import Outcome, Verdict
from reports.record import CheckNote
from reports.resolution import Resolution
from station.database import (
    address,
    approvals,
    calibrations,
    copying,
    dispositions,
    matings,
    opening,
    outflow,
    people,
    read,
    refuse,
    resolutions,
    standards,
    trends,
    write,
)
from station.database.approvals import Approval
from station.database.disposition import Disposition, Fate
from station.database.entries import (
    Calibration,
    CalibrationHead,
    CalibrationId,
    CertificateEntry,
    CheckedValue,
    DocumentKind,
    RunHead,
    RunId,
    RunKey,
    RunLine,
    RunState,
    StandardReset,
    StoredCalibration,
    StoredRun,
    UnitEntry,
)
from station.database.faults import one_border
from station.database.ledger import Chain
from station.database.matings import CableCount, Service
from station.database.person import ActEntry, PersonEvent
from station.database.stored_ledger import StoredLedger
from station.errors import StoreFault
from station.measurements.sweep import Sweep
from station.orders import WorkOrder

if TYPE_CHECKING:
    from limits.population import UnitReading

_BUSY_S = 10.0
"""How long a writer waits for another; a unit's commit takes milliseconds."""

ABANDONED = "the program ended in mid-run"
WORKS = "works"
"""Whose ledger is written where nobody says which station it is."""

Clock = Callable[[], datetime]


def now_utc() -> datetime:
    """The clock of a real station."""
    return datetime.now(UTC)


class Store:
    """An open database. Made by `Store.open`."""

    def __init__(self, engine: Engine, place: str, file: Path | None, chain: Chain) -> None:
        """`place` is what messages call it; `file` is None where the database is a server's."""
        self._engine = engine
        self._for_writing = opening.for_writing(engine)
        self._place = place
        self._file = file
        self._identity = opening.identity(file)
        self._chain = chain

    @property
    def file(self) -> Path | None:
        """The file of the records; None where they are with a server."""
        return self._file

    @classmethod
    @contextmanager
    def open(
        cls,
        url: str,
        *,
        create: bool = False,
        wait_s: float = _BUSY_S,
        station: str = WORKS,
        clock: Clock = now_utc,
    ) -> Iterator[Store]:
        """The database at an SQLAlchemy URL, brought to this station's form when it is of an older one.

        What is written is entered into the ledger of `station`, with the time of `clock`.

        Raises UserMistake when the URL is none, StoreFault when there is no database (unless `create`), when
        it is another program's, or when a newer station has changed its form. Where nothing may be written it
        is opened all the same, to be read; writing then raises StoreFault.
        """
        parsed = address.database_url(url)
        place, file = address.place_of(parsed), address.file_of(parsed)
        with one_border(place):
            writable = opening.may_be_written(file)
        engine = opening.make_engine(parsed, wait_s=wait_s, writable=writable)
        chain = Chain(station, clock)
        try:
            with one_border(place):
                opening.prepare(engine, place, file, create=create, writable=writable, chain=chain)
                store = cls(engine, place, file, chain)
            yield store
        finally:
            engine.dispose()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with one_border(self._place):
            self._refuse_moved()
            with self._engine.begin() as connection:
                yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with one_border(self._place):
            self._refuse_moved()
            with self._for_writing.begin() as connection:
                yield connection

    @contextmanager
    def _snapshot(self) -> Iterator[Connection]:
        with one_border(self._place):
            self._refuse_moved()
            with copying.for_snapshot(self._engine).begin() as connection:
                yield connection

    def _refuse_moved(self) -> None:
        # SQLite would go on writing, without a word, into a file that no longer has a name.
        if self._file is not None and opening.identity(self._file) != self._identity:
            raise StoreFault(
                f"database {self._place}: it was moved, deleted or replaced while in use; put it back"
            )

    # --- copies ----------------------------------------------------------------------------------------------

    def copy_to(self, file: Path) -> None:
        """All records as they are at one moment, as an SQLite file of its own; others may go on writing.

        Raises StoreFault when there is no room, or when `file` is there already.
        """
        if self._file is not None:
            with one_border(f"{self._place}, copied to {file}"):
                self._refuse_moved()
                copying.vacuum_into(self._engine, file)
        else:
            with Store.open(copying.url_of(file), create=True) as copy:
                copy.fill_from(self)
        with one_border(str(file)):
            copying.settle(file)

    def fill_from(self, other: Store) -> None:
        """Take in all of another store, all or nothing. Raises StoreFault when anything is in here already."""
        with self._writing() as target, other._snapshot() as source:
            copying.copy_rows(source, target)

    @contextmanager
    def outflow(self, choice: outflow.Choice) -> Iterator[outflow.Outflow]:
        """All rows of a choice as they are at one moment. Raises UserMistake where there is no such order."""
        with self._snapshot() as connection:
            outflow.refuse_unknown(connection, choice)
            yield outflow.Outflow(connection, choice)

    def counts(self) -> dict[str, int]:
        """How many rows each table has."""
        with self._snapshot() as connection:
            return copying.counts(connection)

    # --- orders ----------------------------------------------------------------------------------------------

    def add_orders(self, orders: Sequence[WorkOrder]) -> None:
        """Keep new orders, all or none. Raises UserMistake when a number or a serial comes twice or is known."""
        with self._writing() as connection:
            refuse.known_orders(connection, orders)
            added = [write.add_order(connection, order) for order in orders]
            self._chain.enter(connection, [("order", (number,)) for number in added])

    def orders(self) -> tuple[WorkOrder, ...]:
        """Every work order of a customer, in the order of entry."""
        with self._reading() as connection:
            return read.orders(connection)

    def unit(self, serial: str) -> UnitEntry:
        """The unit and its order, whatever the case of `serial`. Raises UserMistake when nobody ordered it."""
        with self._reading() as connection:
            return read.unit(connection, serial)

    # --- runs ------------------------------------------------------------------------------------------------

    def begin(self, head: RunHead) -> RunKey:
        """Enter a new run of a unit. Raises UserMistake when nobody ordered the unit."""
        with self._writing() as connection:
            unit_id = read.unit_row(connection, head.serial, hold=True).id
            loads = (load.text for load in head.loads)
            new = write.keep_texts(connection, (head.recipe, head.limits, head.bench, *loads))
            number = write.next_run_number(connection, unit_id)
            run_id = write.insert_run(connection, head, unit_id, number)
            self._chain.enter(connection, new)
        return RunKey(run_id, number)

    def keep_sweep(self, run_id: RunId, sweep: Sweep) -> int:
        """Keep a sweep for good before anything is computed from it; its place in the run, from 0."""
        row = write.sweep_row(sweep)
        with self._writing() as connection:
            refuse.ended(connection, run_id)
            return write.insert_sweep(connection, run_id, row)

    def keep_doubt(self, run_id: RunId, position: int, doubt: str) -> None:
        """Note why a kept sweep is not believed: it stays, and counts no more."""
        if not doubt:
            raise ValueError("a doubt says why")
        with self._writing() as connection:
            refuse.ended(connection, run_id)
            write.doubt_sweep(connection, run_id, position, doubt)

    def keep_end_temperature(self, run_id: RunId, temperature_c: float) -> None:
        """Note how warm the unit was when its last sweep was done."""
        with self._writing() as connection:
            refuse.ended(connection, run_id)
            write.end_temperature(connection, run_id, temperature_c)

    def finish(
        self, run_id: RunId, readings: Sequence[Reading], verdict: Verdict, finished: datetime
    ) -> None:
        """Keep what came of a run: its readings, also those of the decisions, each once; and the verdict."""
        with self._writing() as connection:
            write.end(connection, run_id, RunState.JUDGED, "", finished, verdict.outcome)
            write.insert_results(connection, run_id, readings, verdict)
            self._chain.enter(connection, [("run", (run_id,))])

    def break_off(self, run_id: RunId, state: RunState, why: str, finished: datetime) -> None:
        """End a run without a verdict; what was swept stays."""
        if state not in (RunState.STATION_FAULT, RunState.STOPPED):
            raise ValueError(f"a run is not broken off as {state.value!r}")
        with self._writing() as connection:
            write.end(connection, run_id, state, why, finished, None)
            self._chain.enter(connection, [("run", (run_id,))])

    def close_abandoned(self, station: str, when: datetime) -> tuple[RunLine, ...]:
        """End every run of a station that still says running as a station fault; which ones, the first one first.

        Only for a caller who knows that the station tests nothing now.
        """
        with self._writing() as connection:
            closed = write.end_abandoned(connection, station, ABANDONED, when)
            self._chain.enter(connection, [("run", (run_id,)) for run_id in closed])
            return read.lines(connection, closed)

    def run(self, run_id: RunId) -> StoredRun:
        """All of one run. Raises UserMistake when there is none of this number."""
        with self._reading() as connection:
            return read.run(connection, run_id)

    def runs_before(self, moment: datetime) -> int:
        """How many runs began before a moment."""
        with self._reading() as connection:
            return read.runs_before(connection, moment)

    def runs(self, serial: str) -> tuple[RunLine, ...]:
        """The runs of one unit, the first one first, without sweeps and readings."""
        with self._reading() as connection:
            return read.runs(connection, serial)

    def latest_judged(self, serial: str) -> StoredRun | None:
        """All of the unit's newest run that has a verdict; None when it has none."""
        with self._reading() as connection:
            return read.latest_judged(connection, serial)

    def numbered(self, serial: str, run_number: int) -> StoredRun | None:
        """All of the unit's run of this number; None when it has none."""
        with self._reading() as connection:
            return read.numbered(connection, serial, run_number)

    # --- what a person decided -------------------------------------------------------------------------------

    def refuse_resolution(self, run_id: RunId, corrects: int | None) -> None:
        """Raises UserMistake where a person may not decide this run: not undecided, overtaken, decided already,
        or its unit scrapped or reworked since.

        `corrects` is the number of the decision that is to be corrected.
        """
        with self._reading() as connection:
            resolutions.refuse(connection, run_id, corrects)
            dispositions.refuse_resolution(connection, run_id)

    def keep_resolution(self, run_id: RunId, resolution: Resolution) -> None:
        """Keep what a person decided; the verdict stays as measured. Refuses as `refuse_resolution` does."""
        with self._writing() as connection:
            resolutions.refuse(connection, run_id, resolution.corrects)
            dispositions.refuse_resolution(connection, run_id)
            resolutions.insert(connection, run_id, resolution)
            self._chain.enter(connection, [("resolution", (run_id, resolution.number))])

    # --- check standards -------------------------------------------------------------------------------------

    def enter_standard(self, standard: WorkOrder) -> None:
        """Enter a check standard as the one unit of an order of the station's own, unless it is there already.

        Its runs are then kept as any unit's. Raises UserMistake when a customer's unit has its serial.
        """
        with self._writing() as connection:
            if (number := standards.enter(connection, standard)) is not None:
                self._chain.enter(connection, [("order", (number,))])

    def checked_values(
        self, serial: str, station: str, latest: int, outcome: Outcome | None = None
    ) -> tuple[CheckedValue, ...]:
        """Every reading of so many of the standard's latest judged runs at one station, the first run first.

        Of runs with one outcome alone, where it is given; none where the standard is not known.
        """
        with self._reading() as connection:
            return standards.values(connection, serial, station, latest, outcome)

    def check_runs(self, serial: str, station: str, latest: int) -> tuple[RunLine, ...]:
        """So many of the standard's latest runs at one station, the first one first; none where it is not known."""
        with self._reading() as connection:
            return standards.runs(connection, serial, station, latest)

    def checks_since_accepted(self, serial: str, station: str) -> tuple[RunLine, ...]:
        """The standard's runs at one station from the last accepted one on; all where none was."""
        with self._reading() as connection:
            return standards.runs_since_accepted(connection, serial, station)

    def check_count(self, serial: str, station: str) -> int:
        """How many runs the standard has at one station."""
        with self._reading() as connection:
            return standards.count(connection, serial, station)

    def check_before(self, serial: str, station: str, moment: datetime) -> CheckNote | None:
        """The standard's last judged run at one station that began before a moment; None where there is none."""
        with self._reading() as connection:
            return standards.last_before(connection, serial, station, moment)

    def keep_reset(self, serial: str, reset: StandardReset) -> None:
        """Note that a check standard's history begins anew. Raises UserMistake when the standard is not known."""
        with self._writing() as connection:
            number = standards.keep_reset(connection, serial, reset)
            self._chain.enter(connection, [("reset of a standard", (number,))])

    def resets(self, serial: str) -> tuple[StandardReset, ...]:
        """When a check standard's history began anew, the oldest first."""
        with self._reading() as connection:
            return standards.resets(connection, serial)

    # --- calibrations ----------------------------------------------------------------------------------------

    def keep_calibration(self, calibration: Calibration) -> CalibrationId:
        """Keep a calibration that was accepted, all of it at once."""
        with self._writing() as connection:
            number, new = calibrations.insert(connection, calibration)
            self._chain.enter(connection, [*new, ("calibration", (number,))])
            return number

    def latest_calibration(self, station: str) -> StoredCalibration | None:
        """The newest of a station; None when it has none."""
        with self._reading() as connection:
            return calibrations.latest(connection, station)

    def calibration_heads(self, station: str, latest: int) -> tuple[CalibrationHead, ...]:
        """Of so many of the latest calibrations of a station, the newest first."""
        with self._reading() as connection:
            return calibrations.heads(connection, station, latest)

    # --- cables ----------------------------------------------------------------------------------------------

    def keep_matings(self, station: str, made: Mapping[str, int], when: datetime) -> None:
        """Add so many matings to each of a station's cables, by name."""
        with self._writing() as connection:
            numbers = matings.keep_matings(connection, station, made, when)
            self._chain.enter(connection, [("cable", (number,)) for number in numbers])

    def keep_service(self, station: str, cable: str, service: Service) -> None:
        """Note that a cable was serviced: it is counted from none again."""
        with self._writing() as connection:
            number = matings.keep_service(connection, station, cable, service)
            self._chain.enter(connection, [("cable", (number,))])

    def cable_counts(self, station: str) -> dict[str, CableCount]:
        """Every cable of a station that was ever screwed on or serviced, by name."""
        with self._reading() as connection:
            return matings.counts(connection, station)

    # --- people ----------------------------------------------------------------------------------------------

    def is_anybody(self) -> bool:
        """Whether the works has registered anybody."""
        with self._reading() as connection:
            return people.is_anybody(connection)

    def person_events(self) -> tuple[PersonEvent, ...]:
        """Everything recorded of people, the oldest first."""
        with self._reading() as connection:
            return people.events(connection)

    def keep_person_event(self, event: PersonEvent) -> None:
        """Record one thing more of a person. Raises UserMistake where it may not follow what there is."""
        with self._writing() as connection:
            number = people.insert(connection, event)
            self._chain.enter(connection, [("person", (number,))])

    def keep_act(self, entry: ActEntry) -> None:
        """Keep what somebody asked to do, and what they were told."""
        with self._writing() as connection:
            number = people.insert_act(connection, entry)
            self._chain.enter(connection, [("act", (number,))])

    def acts(self, most: int) -> tuple[ActEntry, ...]:
        """The latest so many, the newest first."""
        with self._reading() as connection:
            return people.acts(connection, most)

    def wrong_since(self, name: str, since: datetime) -> tuple[datetime, ...]:
        """When a wrong PIN was given for a name after its last right one, the oldest first."""
        with self._reading() as connection:
            return people.wrong_since(connection, name, since)

    # --- what persons decided about units ---------------------------------------------------------------------

    def dispositions(self, serial: str) -> tuple[Disposition, ...]:
        """All of a unit, the first one first. Raises UserMistake when nobody ordered the unit."""
        with self._reading() as connection:
            return dispositions.of_unit(connection, serial)

    def keep_disposition(
        self, serial: str, fate: Fate, person: str, made: datetime, why: str, corrects: int | None = None
    ) -> None:
        """Keep one more. Raises UserMistake where it may not be decided so."""
        with self._writing() as connection:
            number = dispositions.insert(connection, serial, fate, person, made, why, corrects)
            self._chain.enter(connection, [("disposition", (number,))])

    # --- approval --------------------------------------------------------------------------------------------

    def keep_approval(self, approval: Approval) -> None:
        """Keep that a text was approved. Raises UserMistake where this very one is approved already."""
        with self._writing() as connection:
            new = write.keep_texts(connection, [approval.text])
            number = approvals.insert(connection, approval)
            self._chain.enter(connection, [*new, ("approval", (number,))])

    def approval(self, kind: DocumentKind, name: str) -> Approval | None:
        """The one that counts for a recipe or limit table of this name; None where there was none."""
        with self._reading() as connection:
            return approvals.latest(connection, kind, name)

    # --- certificates ----------------------------------------------------------------------------------------

    def keep_certificate(self, entry: CertificateEntry) -> None:
        """Note that a certificate or failure sheet was made.

        Raises StoreFault when it is a certificate of a run that did not pass, or either of one that was not
        judged; UserMistake when the run has one already, or another run has its number.
        """
        with self._writing() as connection:
            refuse.unfit_certificate(connection, entry)
            number = write.insert_certificate(connection, entry)
            self._chain.enter(connection, [("certificate", (number,))])

    def certificate_of(self, run_id: RunId, resolution: int = 0) -> CertificateEntry | None:
        """The certificate or failure sheet that was made of a run; None when there is none yet.

        `resolution` is the number of the person's decision it tells of; 0 for the measured verdict alone.
        """
        with self._reading() as connection:
            return read.certificate_of(connection, run_id, resolution)

    def certificate_known_by(self, sha256: str, number: str) -> CertificateEntry | None:
        """The one whose file has this digest, else the one of this number; None when there is neither."""
        with self._reading() as connection:
            return read.certificate_known_by(connection, sha256, number)

    def certificates(self, serial: str) -> tuple[CertificateEntry, ...]:
        """What was made of the unit's runs, the oldest first."""
        with self._reading() as connection:
            return read.certificates(connection, serial)

    def all_certificates(self) -> tuple[CertificateEntry, ...]:
        """What was made of any unit's runs, the oldest first."""
        with self._reading() as connection:
            return read.all_certificates(connection)

    # --- ledger ----------------------------------------------------------------------------------------------

    @property
    def ledger(self) -> StoredLedger:
        """The lines that all records have, and the signed places among them."""
        return StoredLedger(self._reading, self._writing, self._chain.station)

    # --- trends ----------------------------------------------------------------------------------------------

    def latest_readings(self, model: str) -> tuple[UnitReading, ...]:
        """Every reading of the latest judged run of each unit of a model; check standards are none."""
        with self._reading() as connection:
            from station.database import populations

            return populations.latest_readings(connection, model)

    def run_counts(self, since: date | None = None, until: date | None = None) -> trends.Rows:
        """Production runs counted by day, model, order, station, operator and recipe."""
        with self._reading() as connection:
            return trends.run_counts(connection, since, until)

    def retests(self, since: date | None = None, until: date | None = None) -> trends.Rows:
        """Judged production runs beyond a unit's first, counted as `run_counts` does and by the reason for them."""
        with self._reading() as connection:
            return trends.retests(connection, since, until)

    def first_failures(self, since: date | None = None, until: date | None = None) -> trends.Rows:
        """Every characteristic that failed in the first judged run of a unit."""
        with self._reading() as connection:
            return trends.first_failures(connection, since, until)

    def readings(
        self, model: str, name: str, last: int | None = None, *, retests: bool = False
    ) -> trends.Rows:
        """One characteristic of a model's units, each in its first judged run or in all, the oldest first."""
        with self._reading() as connection:
            return trends.readings(connection, model, name, last, retests=retests)

    def characteristics(self, model: str) -> list[str]:
        """The names of all that a model's units are read in."""
        with self._reading() as connection:
            return trends.characteristics(connection, model)
