"""What can be asked of the station. Every door makes one call here and shows what came back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits import table as tables
from limits.errors import BadInput, Mistake
from limits.quantity import Channels
from limits.table import LimitTable
from limits.verdict import Outcome
from reports.resolution import Ruling
from station import cables, checks, orders, settings
from station.bench import file as benches
from station.bench import opening
from station.bench.file import Bench
from station.bench.thermometer import open_thermometer
from station.budgets import Accounted, account
from station.cables import CableState
from station.calibrations import Occasion, calibration_task
from station.checking import Checked, Surroundings, check, files_of
from station.checks import Checks
from station.database.entries import (
    Calibration,
    CertificateEntry,
    OrderKind,
    RunLine,
    StandardReset,
    StoredRun,
    UnitEntry,
)
from station.database.matings import Service
from station.database.store import Store
from station.database.touchstone import touchstone_of
from station.errors import StationFault, StoreFault, UserMistake
from station.files import write_whole
from station.instruments.analyzer import Analyzer
from station.instruments.thermometer import BenchThermometer
from station.issuing import Issued, issue
from station.locking import alone
from station.orders import WorkOrder
from station.records import evaluated
from station.resolving import WayOut, Wish, refuse_unsigned, resolve, way_out
from station.sequencer import recipe as recipes
from station.sequencer import run
from station.sequencer import standard as standards
from station.sequencer.arrival import Arrival, climate_now, with_thermometer
from station.sequencer.calibrating import run_calibration
from station.sequencer.calibration_age import in_force, in_words, own_loads
from station.sequencer.calibration_plan import Stretch
from station.sequencer.conditions import Climate
from station.sequencer.depth import out_of_depth
from station.sequencer.events import Listener, Warned
from station.sequencer.operator import Operator
from station.sequencer.plan import Plan
from station.sequencer.prepare import Prepared, bench_data, make_task, plan_for, prepare
from station.sequencer.readiness import BEFORE_A_CHECK, QUESTIONS, Readiness, look_around
from station.sequencer.reasons import Circumstances, Question
from station.sequencer.recipe import Recipe
from station.sequencer.run import Clock, Judged
from station.sequencer.wear import Wear, counted
from station.settings import Works

if TYPE_CHECKING:
    from pandas import DataFrame

    from limits.population import CharacteristicRisk
    from reports.signing import SigningKey
    from station.instruments.trial import TrialLine


def now_utc() -> datetime:
    """The clock of a real station."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class History:
    """All that is known of one unit."""

    unit: UnitEntry
    runs: tuple[RunLine, ...]
    certificates: tuple[CertificateEntry, ...]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a work order has come."""

    order: WorkOrder
    passed: int
    """Units whose latest verdict is pass."""

    failed: int
    undecided: int
    """Of those that a person has not decided either."""

    released: int
    """By a person, where the latest verdict is undecided; so are the rejected ones."""

    rejected: int

    @property
    def untested(self) -> int:
        """Units that have no verdict yet."""
        told = self.passed + self.failed + self.undecided + self.released + self.rejected
        return len(self.order.serials) - told

    @property
    def is_open(self) -> bool:
        """Whether some unit of it still has to pass."""
        return self.passed < len(self.order.serials)


@contextmanager
def open_desk(folder: Path, clock: Clock = now_utc) -> Iterator[Desk]:
    """The desk of the works in a folder.

    Raises UserMistake, BadInput or StoreFault when the folder, its settings or its database cannot be used.
    """
    works = settings.load(folder)
    with Store.open(works.database) as store:
        yield Desk(works, store, clock)


def make_works(folder: Path, name: str, address: tuple[str, ...], bench: str) -> Works:
    """Make an empty works folder and its database; `bench` is the text of its bench file."""
    works = settings.create(folder, name, address, bench)
    with Store.open(works.database, create=True):
        return works


def check_files(folder: Path, files: tuple[Path, ...] = ()) -> tuple[Checked, ...]:
    """Every mistake in these files, or in all files of a works; nothing is tested and nothing is written.

    Files are checked against the works around them where `folder` is one.
    """
    is_works = (folder / settings.FILE).exists()
    if not is_works and not files:
        settings.load(folder)
    around = Surroundings(folder, _known_orders(folder)) if is_works else Surroundings()
    paths = files or files_of(around)
    names = {str(path) for path in paths}

    def at_home(one: Mistake, path: Path) -> bool:
        # What two files have against each other is found at both, and told where it is written.
        return one.file == str(path) or one.file not in names

    return tuple(
        replace(found, mistakes=tuple(one for one in found.mistakes if at_home(one, found.path)))
        for found in (check(path, around) for path in paths)
    )


def _known_orders(folder: Path) -> tuple[WorkOrder, ...]:
    """The orders that files are also checked against; none where settings or database cannot be used."""
    try:
        with Store.open(settings.load(folder).database) as store:
            return store.orders()
    except (BadInput, UserMistake, StoreFault):
        # Mistakes of the settings are told at works.yaml; a database is not what is checked here.
        return ()


@dataclass(frozen=True, slots=True)
class Desk:
    """One works and its open store."""

    works: Works
    store: Store
    clock: Clock

    def import_orders(self, path: Path) -> tuple[WorkOrder, ...]:
        """Take in the work orders of a CSV file, all of them or none."""
        known = {file.stem for file in self.works.recipes.glob("*.yaml")}
        read = orders.read_orders(path)
        unknown = sorted({order.model for order in read} - known)
        if unknown:
            raise UserMistake(
                f"{path}: no recipe for model {', '.join(unknown)}; there are {', '.join(sorted(known)) or 'none'}. "
                f"Write {self.works.recipes / (unknown[0] + '.yaml')} first"
            )
        for order in read:
            self._refuse_untestable(order, path)
        self.store.add_orders(read)
        return read

    def _refuse_untestable(self, order: WorkOrder, path: Path) -> None:
        """Say so now, and not at the bench, when an order's channels are none that its recipe can test."""
        try:
            bench = benches.load(self.works.bench)
        except BadInput:
            # The bench of a new works is still to be written; `station check` tells what it lacks.
            return
        try:
            recipe = recipes.load(self.works.recipes / f"{order.model}.yaml")
            table = tables.load(self.works.limits / f"{recipe.limit_table}.yaml")
            plan_for(
                recipe, table, Channels(tx_hz=order.tx_hz, rx_hz=order.rx_hz), bench.ability, bench.loads
            )
        except BadInput as error:
            raise UserMistake(
                f"{path}: order {order.number} cannot be tested, nothing was taken in: {error}"
            ) from error

    def orders(self) -> tuple[Progress, ...]:
        """Every work order and how far it has come."""
        return tuple(self._progress(order) for order in self.store.orders())

    @contextmanager
    def bench(self, operator: Operator, listen: Listener) -> Iterator[OpenBench]:
        """The bench, for as many units as are tested in a row; no other program may use it meanwhile.

        Raises BadInput for the bench file, StationFault when another program is at the bench.
        """
        bench = benches.load(self.works.bench)
        with (
            _at_the_bench(self.works),
            opening.open_analyzer(bench, self.works.dialects, now=self.clock) as analyzer,
            open_thermometer(bench.source.value.thermometer) as thermometer,
        ):
            self.store.close_abandoned(bench.name, self.clock())
            yield OpenBench(self, bench, analyzer, self._counted(operator, bench), listen, thermometer)

    def _counted(self, operator: Operator, bench: Bench) -> Operator:
        """The operator, with every mating of a cable that the bench file names counted."""

        def keep(made: Mapping[str, int]) -> None:
            self.store.keep_matings(bench.name, made, self.clock())

        return counted(operator, Wear(bench.source.value.cables, keep))

    def cables(self) -> tuple[CableState, ...]:
        """Every cable of the bench file and how worn it is."""
        return cables.states(self.store, benches.load(self.works.bench))

    def service(self, cable: str, person: str, why: str) -> Service:
        """A person gauged or replaced a cable's connector; it is counted from none again."""
        bench = benches.load(self.works.bench)
        return cables.service(self.store, bench, cable, person, why, self.clock())

    def history(self, serial: str) -> History:
        """The unit, its runs and what was made of them."""
        unit = _product(self.store.unit(serial), "`station standard --history` shows it")
        return History(unit, self.store.runs(serial), self.store.certificates(serial))

    def stored_run(self, serial: str, run_number: int | None = None) -> StoredRun:
        """One run with its sweeps and readings; the latest judged one unless a number is given."""
        if run_number is None:
            stored = self.store.latest_judged(serial)
            if stored is None:
                unit = self.store.unit(serial)
                raise UserMistake(
                    f"{unit.serial} has no verdict yet; test it with `station test {unit.serial}`"
                )
            return stored
        stored = self.store.numbered(serial, run_number)
        if stored is None:
            raise UserMistake(f"{serial} has no run {run_number}; `station show {serial}` lists its runs")
        return stored

    def certify(self, serial: str, run_number: int | None, key: Callable[[], SigningKey]) -> Issued:
        """Make and file the signed certificate of a unit that passed, or the failure sheet of one that did not.

        `key` is only called for a certificate, so that nobody is asked for a passphrase in vain.
        """
        _product(self.store.unit(serial), "it is no product, and gets no certificate")
        stored = self.stored_run(serial, run_number)
        refuse_unsigned(self.works, stored)
        return issue(self.works, self.store, stored, self.clock(), key)

    def resolve(
        self, serial: str, run_number: int | None, wish: Wish, key: Callable[[], SigningKey]
    ) -> StoredRun:
        """Record what a person decided of an undecided run, signed with the works' key; the run as it stands then.

        `key` is only called when nothing else speaks against it. Raises UserMistake where it may not be decided.
        """
        stored = self.stored_run(serial, run_number)
        resolve(self.store, stored, wish, self.clock(), key)
        return self.store.run(stored.run_id)

    def undecided(self, serial: str, run_number: int | None, corrects: int | None) -> StoredRun:
        """A run that a person may decide now. Raises UserMistake where none may."""
        stored = self.stored_run(serial, run_number)
        self.store.refuse_resolution(stored.run_id, corrects)
        return stored

    def risks(
        self, model: str, characteristic: str | None, at_most: float | None
    ) -> tuple[CharacteristicRisk, ...]:
        """How often the limits of a model decide wrongly; `at_most` is a consumer's risk to find guard bands for."""
        from station.risking import model_risks

        return model_risks(self.works, self.store, model, characteristic, at_most)

    def way_out(self, stored: StoredRun) -> WayOut:
        """What a run left undecided, what would decide it, and what persons decided since."""
        return way_out(self.works, stored)

    def budget(self, serial: str, run_number: int | None, name: str) -> Accounted:
        """Why one reading of a run is as uncertain as it is."""
        return account(self.stored_run(serial, run_number), name)

    def yields(self, by: Sequence[str], since: date | None, until: date | None) -> DataFrame:
        """Yield by any of `reports.trends.yields` PERIODS and KEYS, over UTC days that are both included."""
        from reports.trends.yields import table_of, yields

        return yields(table_of(self.store.run_counts(since, until)), by)

    def failures(self, since: date | None, until: date | None) -> DataFrame:
        """What units failed in at their first run, the most frequent first."""
        import pandas as pd

        from reports.trends.failures import failures

        units = sum(row["first"] for row in self.store.run_counts(since, until))
        return failures(pd.DataFrame(self.store.first_failures(since, until)), units)

    def touchstone(self, serial: str, run_number: int | None, folder: Path) -> tuple[Path, ...]:
        """Write one Touchstone file per pair of ports of a run."""
        stored = self.stored_run(serial, run_number)
        if not stored.sweeps:
            raise UserMistake(f"run {stored.run_number} of {stored.head.serial} has no sweep that counts")
        paths = []
        for sweep in evaluated(stored).values():
            if not sweep.phase:
                raise UserMistake(
                    f"run {stored.run_number} of {stored.head.serial} was measured without phases, which a "
                    "Touchstone file must have; no file was written"
                )
            path = folder / f"{stored.head.serial}-{stored.run_number} {sweep.hookup.name}.s2p"
            try:
                write_whole(path, touchstone_of(stored, sweep).encode())
            except StoreFault as error:
                raise UserMistake(str(error)) from error
            paths.append(path)
        return tuple(paths)

    def checks(self) -> Checks:
        """Every check of the standard that the bench file names, and how it drifts."""
        return checks.told(self.store, self.works.folder, benches.load(self.works.bench), self.clock())

    def accept_standard(self, person: str, why: str) -> StandardReset:
        """A person says that the check standard is another one from now on; its history begins anew."""
        return checks.accept(self.store, benches.load(self.works.bench), person, why, self.clock())

    def _progress(self, order: WorkOrder) -> Progress:
        standing = Counter(_standing(self.store.runs(serial)) for serial in order.serials)
        return Progress(
            order,
            passed=standing[Outcome.PASS],
            failed=standing[Outcome.FAIL],
            undecided=standing[Outcome.UNDECIDED],
            released=standing[Ruling.RELEASE],
            rejected=standing[Ruling.REJECT],
        )


def _standing(runs: Sequence[RunLine]) -> Outcome | Ruling | None:
    """What the latest verdict of a unit says, or the person who decided it; None without one."""
    latest = next((line for line in reversed(runs) if line.outcome is not None), None)
    if latest is None:
        return None
    return latest.outcome if latest.resolution is None else latest.resolution.ruling


@dataclass(frozen=True, slots=True)
class OpenBench:
    """A bench that is open, and the operator at it."""

    desk: Desk
    as_written: Bench
    analyzer: Analyzer
    operator: Operator
    listen: Listener
    thermometer: BenchThermometer | None = None

    @property
    def bench(self) -> Bench:
        """As its file says, with what its calibration knows of the loads it puts on idle ports itself."""
        if self.as_written.source.value.switch is None:
            return self.as_written
        calibration = in_force(self.as_written, self.desk.store)
        return replace(self.as_written, own_loads=own_loads(calibration))

    def test(
        self,
        serial: str,
        *,
        temperature_c: float | None = None,
        settled_since: datetime | None = None,
        recipe: Path | None = None,
    ) -> Judged:
        """Test one unit by its model's recipe, or by another one.

        What is said of its temperature and of how long it has lain at the bench is not asked of the operator.
        Raises UserMistake or BadInput before anything is touched, StationFault when the station fails or is not
        ready, KeyboardInterrupt when the operator stops.
        """
        unit = _product(self.desk.store.unit(serial), "measure it with `station standard`")
        prepared = self._prepare(unit, recipe)
        arrival = Arrival(
            prepared.unit.serial,
            prepared.recipe.conditions,
            self.operator,
            self.thermometer,
            self.desk.clock,
            temperature_c,
            settled_since,
        )
        self._expect_depth(prepared)
        climate = arrival.settled(self._expect_ready)
        readiness = self._expect_ready(climate)
        for warning in readiness.warnings:
            self.listen(Warned(str(warning)))
        task = make_task(
            prepared,
            self.bench,
            readiness.identity,
            self.operator.name,
            climate,
            self.desk.clock(),
            in_force(self.bench, self.desk.store),
        )
        means = run.Means(
            self.analyzer,
            self.operator,
            self.desk.store,
            self.desk.clock,
            self.listen,
            arrival.end_c,
        )
        return run.run_unit(with_thermometer(task, self.thermometer), means)

    def check(self, *, temperature_c: float | None = None) -> Judged:
        """Measure the check standard that the bench file names, like a unit.

        Raises what `test` raises; UserMistake where the bench names none.
        """
        desk = self.desk
        standard = standards.load(desk.works.folder, self.bench, self.analyzer.ability)
        readiness = self.readiness(temperature_c, BEFORE_A_CHECK)
        if not readiness.is_ready:
            raise StationFault("not ready to measure: " + "; ".join(map(str, readiness.reasons)))
        now = desk.clock()
        desk.store.enter_standard(standard.entry(now))
        history = checks.history(desk.store, standard, self.bench.name)
        task = standards.make_check(
            standard,
            self.bench,
            history,
            readiness.identity,
            self.operator.name,
            climate_now(self.thermometer, temperature_c)[0].temperature_c,
            now,
            in_force(self.bench, desk.store),
        )
        return run.run_unit(
            task, run.Means(self.analyzer, self.operator, desk.store, desk.clock, self.listen)
        )

    def calibrate(self, over: tuple[Stretch, ...] = (), *, temperature_c: float | None = None) -> Calibration:
        """Guide through a calibration for all open orders, or over these stretches, and keep it.

        Raises UserMistake or BadInput before anything is touched, StationFault when the station fails or the
        calibration is not accepted, KeyboardInterrupt when the operator stops.
        """
        plans = [] if over else list(self._open_plans())
        climate, broken = climate_now(self.thermometer, temperature_c)
        if broken:
            raise StationFault("; ".join(map(str, broken)))
        occasion = Occasion(
            self.analyzer.identify(), self.operator.name, climate.temperature_c, self.desk.clock()
        )
        task = calibration_task(self.bench, self.analyzer.ability, plans, over, occasion)
        made = run_calibration(task, self.analyzer, self.operator, self.listen)
        self.desk.store.keep_calibration(made)
        return made

    def calibration_in_words(self) -> str:
        """What is known of the calibration in force."""
        return in_words(self.bench, in_force(self.bench, self.desk.store))

    def _open_plans(self) -> Iterator[Plan]:
        """Of every open order, and of the check standard."""
        for each in self.desk.orders():
            if each.is_open:
                yield self._plan_of(each.order)
        if self.bench.source.value.check_standard is not None:
            yield standards.load(self.desk.works.folder, self.bench, self.analyzer.ability).plan

    def _plan_of(self, order: WorkOrder) -> Plan:
        recipe, table = self._files_of(order.model)
        channels = Channels(tx_hz=order.tx_hz, rx_hz=order.rx_hz)
        return plan_for(recipe, table, channels, self.analyzer.ability, self.bench.loads)

    def readiness(
        self, temperature_c: float | None = None, questions: tuple[Question, ...] = QUESTIONS
    ) -> Readiness:
        """What speaks against testing now, whatever unit it is."""
        climate, broken = climate_now(self.thermometer, temperature_c)
        found = self._look_around(climate, questions)
        return replace(found, reasons=(*found.reasons, *broken))

    def _expect_depth(self, prepared: Prepared) -> None:
        """Raises StationFault with every characteristic that this bench cannot measure to the needed depth."""
        figures = bench_data(self.bench, in_force(self.bench, self.desk.store)).figures
        settings = prepared.recipe.settings
        found = tuple(out_of_depth(prepared.plan, prepared.table, prepared.channels, figures, settings))
        if found:
            raise StationFault("not ready to test: " + "; ".join(map(str, found)))

    def _expect_ready(self, climate: Climate) -> Readiness:
        """Raises StationFault with every reason that speaks against testing."""
        found = self._look_around(climate)
        if not found.is_ready:
            raise StationFault("not ready to test: " + "; ".join(map(str, found.reasons)))
        return found

    def _look_around(self, climate: Climate, questions: tuple[Question, ...] = QUESTIONS) -> Readiness:
        works = self.desk.works

        def around(identity: str) -> Circumstances:
            return Circumstances(
                works.folder,
                works.key,
                self.bench,
                self.desk.store,
                self.desk.clock(),
                identity,
                climate.temperature_c,
                climate,
            )

        return look_around(self.analyzer, around, questions)

    def _prepare(self, unit: UnitEntry, recipe: Path | None) -> Prepared:
        return prepare(
            unit, *self._files_of(unit.order.model, recipe), self.analyzer.ability, self.bench.loads
        )

    def _files_of(self, model: str, recipe: Path | None = None) -> tuple[Recipe, LimitTable]:
        works = self.desk.works
        chosen = recipes.load(recipe or works.recipes / f"{model}.yaml")
        return chosen, tables.load(works.limits / f"{chosen.limit_table}.yaml")


def _product(unit: UnitEntry, instead: str) -> UnitEntry:
    """A customer's unit. Raises UserMistake, saying what to do instead, for a check standard."""
    if unit.kind is OrderKind.REFERENCE:
        raise UserMistake(f"{unit.serial} is the check standard; {instead}")
    return unit


def try_bench(works: Works, power_dbm: float) -> tuple[TrialLine, ...]:
    """Every command of the bench file's dialect tried on the connected analyzer, at low power."""
    from station.instruments.trial import try_dialect

    bench = benches.load(works.bench)
    with _at_the_bench(works), opening.open_analyzer_link(bench, works.dialects) as (link, dialect):
        return try_dialect(
            link, dialect, bench.ability, identity=bench.source.value.analyzer.identity, power_dbm=power_dbm
        )


def _at_the_bench(works: Works) -> AbstractContextManager[None]:
    return alone(works.folder / "bench.lock", f"the bench of {works.folder}")
