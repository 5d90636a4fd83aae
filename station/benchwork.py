"""What can be asked of the station at its bench: to test a unit, to check itself, to be calibrated."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits import table as tables
from limits.quantity import Channels
from limits.table import LimitTable
from station import checks
from station.approving import refuse_drafts
from station.bench import file as benches
from station.bench import opening
from station.bench.file import Bench
from station.bench.thermometer import open_thermometer
from station.calibrations import Occasion, calibration_task
from station.checks import product
from station.database.entries import (
    Calibration,
    UnitEntry,
)
from station.database.store import Store
from station.disposing import refuse_scrapped
from station.errors import StationFault
from station.instruments.analyzer import Analyzer
from station.instruments.thermometer import BenchThermometer
from station.locking import alone
from station.measurements.repeatability import Repeatability
from station.orders import WorkOrder
from station.progress import progress
from station.retesting import because_of, refuse_unexplained
from station.rights import Act
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
from station.sequencer.repeating import study
from station.sequencer.run import Clock, Judged
from station.sequencer.settling import told_by_unit
from station.sequencer.wear import Wear, counted
from station.settings import Works

if TYPE_CHECKING:
    from station.instruments.trial import TrialLine


Expect = Callable[[Act, str, str], str]
"""Who does something, from the act, what it is about and who was named; raises UserMistake where they may not."""


@contextmanager
def open_bench(
    works: Works, store: Store, clock: Clock, operator: Operator, listen: Listener, expect: Expect
) -> Iterator[OpenBench]:
    """The bench, for as many units as are tested in a row; no other program may use it meanwhile.

    Raises BadInput for the bench file, StationFault when another program is at the bench.
    """
    bench = benches.load(works.bench)

    def keep(made: Mapping[str, int]) -> None:
        store.keep_matings(bench.name, made, clock())

    with (
        _at_the_bench(works),
        opening.open_analyzer(bench, works.dialects, now=clock) as analyzer,
        open_thermometer(bench.source.value.thermometer) as thermometer,
    ):
        store.close_abandoned(bench.name, clock())
        careful = counted(operator, Wear(bench.source.value.cables, keep, bridge=not bench.ability.phase))
        yield OpenBench(works, store, clock, bench, analyzer, careful, listen, expect, thermometer)


@dataclass(frozen=True, slots=True)
class OpenBench:
    """A bench that is open, and the operator at it."""

    works: Works
    store: Store
    clock: Clock
    as_written: Bench
    analyzer: Analyzer
    operator: Operator
    listen: Listener
    expect: Expect
    thermometer: BenchThermometer | None = None

    @property
    def bench(self) -> Bench:
        """As its file says, with what its calibration knows of the loads it puts on idle ports itself."""
        if self.as_written.source.value.switch is None:
            return self.as_written
        calibration = in_force(self.as_written, self.store)
        return replace(self.as_written, own_loads=own_loads(calibration))

    def test(
        self,
        serial: str,
        *,
        temperature_c: float | None = None,
        bench_c: float | None = None,
        settled_since: datetime | None = None,
        recipe: Path | None = None,
        because: str = "",
        why: str = "",
    ) -> Judged:
        """Test one unit by its model's recipe, or by another one.

        What is said of its temperature and of how long it has lain at the bench is not asked of the operator. A
        unit that settled there tells the temperature of the bench, else `bench_c` does. `because` is a code of the
        works' reasons for a retest, `why` what is to be known beside it.
        Raises UserMistake or BadInput before anything is touched, StationFault when the station fails or is not
        ready, KeyboardInterrupt when the operator stops.
        """
        unit = product(self.store.unit(serial), "measure it with `station standard`")
        who = self.expect(Act.TEST, unit.serial, self.operator.name)
        refuse_scrapped(self.store, unit.serial)
        reasons = self.works.retest_reasons
        reason = because_of(reasons, because, why)
        prepared = self._prepare(unit, recipe)
        if reason is None:
            refuse_unexplained(self.store, unit.serial, prepared.recipe.form.retests, reasons)
        refuse_drafts(self.store, prepared.recipe, prepared.table)
        arrival = Arrival(
            prepared.unit.serial,
            prepared.recipe.conditions,
            self.operator,
            self.thermometer,
            self.clock,
            temperature_c,
            settled_since,
        )
        self._expect_depth(prepared)
        climate = arrival.settled(lambda climate: self._expect_ready(climate, bench_c))
        readiness = self._expect_ready(climate, bench_c)
        for warning in readiness.warnings:
            self.listen(Warned(str(warning)))
        task = make_task(
            prepared,
            self.bench,
            readiness.identity,
            who,
            climate,
            self.clock(),
            in_force(self.bench, self.store),
        )
        task = replace(task, head=replace(task.head, because=reason))
        means = run.Means(
            self.analyzer,
            self.operator,
            self.store,
            self.clock,
            self.listen,
            arrival.end_c,
        )
        return run.run_unit(with_thermometer(task, self.thermometer), means)

    def check(self, *, temperature_c: float | None = None) -> Judged:
        """Measure the check standard that the bench file names, like a unit.

        Raises what `test` raises; UserMistake where the bench names none.
        """
        standard = standards.load(self.works.folder, self.bench, self.analyzer.ability)
        who = self.expect(Act.STANDARD, standard.serial, self.operator.name)
        readiness = self.readiness(temperature_c, BEFORE_A_CHECK)
        if not readiness.is_ready:
            raise StationFault("not ready to measure: " + "; ".join(map(str, readiness.reasons)))
        now = self.clock()
        self.store.enter_standard(standard.entry(now))
        history = checks.history(self.store, standard, self.bench.name)
        task = standards.make_check(
            standard,
            self.bench,
            history,
            readiness.identity,
            who,
            climate_now(self.thermometer, temperature_c)[0].temperature_c,
            now,
            in_force(self.bench, self.store),
        )
        return run.run_unit(
            task, run.Means(self.analyzer, self.operator, self.store, self.clock, self.listen)
        )

    def repeatability(self, times: int, *, temperature_c: float | None = None) -> Repeatability:
        """Have the check standard connected so many times, and tell how well its loss repeats.

        Raises what `check` raises.
        """
        standard = standards.load(self.works.folder, self.bench, self.analyzer.ability)
        self.expect(Act.STANDARD, standard.serial, self.operator.name)
        readiness = self.readiness(temperature_c, BEFORE_A_CHECK)
        if not readiness.is_ready:
            raise StationFault("not ready to measure: " + "; ".join(map(str, readiness.reasons)))
        data = bench_data(self.bench, in_force(self.bench, self.store), self.clock())
        return study(standard.serial, standard.plan, data, times, self.analyzer, self.operator, self.listen)

    def calibrate(self, over: tuple[Stretch, ...] = (), *, temperature_c: float | None = None) -> Calibration:
        """Guide through a calibration for all open orders, or over these stretches, and keep it.

        Raises UserMistake or BadInput before anything is touched, StationFault when the station fails or the
        calibration is not accepted, KeyboardInterrupt when the operator stops.
        """
        who = self.expect(Act.CALIBRATE, self.bench.name, self.operator.name)
        plans = [] if over else list(self._open_plans())
        climate, broken = climate_now(self.thermometer, temperature_c)
        if broken:
            raise StationFault("; ".join(map(str, broken)))
        occasion = Occasion(self.analyzer.identify(), who, climate.temperature_c, self.clock())
        task = calibration_task(self.bench, self.analyzer.ability, plans, over, occasion)
        made = run_calibration(task, self.analyzer, self.operator, self.listen)
        self.store.keep_calibration(made)
        return made

    def calibration_in_words(self) -> str:
        """What is known of the calibration in force."""
        return in_words(self.bench, in_force(self.bench, self.store))

    def _open_plans(self) -> Iterator[Plan]:
        """Of every open order, and of the check standard."""
        for each in progress(self.store):
            if each.is_open:
                yield self._plan_of(each.order)
        if self.bench.source.value.check_standard is not None:
            yield standards.load(self.works.folder, self.bench, self.analyzer.ability).plan

    def _plan_of(self, order: WorkOrder) -> Plan:
        recipe, table = self._files_of(order.model)
        channels = Channels(tx_hz=order.tx_hz, rx_hz=order.rx_hz)
        return plan_for(recipe, table, channels, self.analyzer.ability, self.bench.loads)

    def readiness(
        self, temperature_c: float | None = None, questions: tuple[Question, ...] = QUESTIONS
    ) -> Readiness:
        """What speaks against testing now, whatever unit it is."""
        climate, broken = climate_now(self.thermometer, temperature_c)
        found = self._look_around(climate, climate.temperature_c, questions)
        return replace(found, reasons=(*found.reasons, *broken))

    def _expect_depth(self, prepared: Prepared) -> None:
        """Raises StationFault with every characteristic that this bench cannot measure to the needed depth."""
        figures = bench_data(self.bench, in_force(self.bench, self.store), self.clock()).figures
        settings = prepared.recipe.settings
        found = tuple(out_of_depth(prepared.plan, prepared.table, prepared.channels, figures, settings))
        if found:
            raise StationFault("not ready to test: " + "; ".join(map(str, found)))

    def _expect_ready(self, climate: Climate, bench_c: float | None) -> Readiness:
        """Raises StationFault with every reason that speaks against testing."""
        told_c = told_by_unit(climate, self.clock()) if bench_c is None else bench_c
        found = self._look_around(climate, told_c)
        if not found.is_ready:
            raise StationFault("not ready to test: " + "; ".join(map(str, found.reasons)))
        return found

    def _look_around(
        self, climate: Climate, bench_c: float | None, questions: tuple[Question, ...] = QUESTIONS
    ) -> Readiness:
        def around(identity: str) -> Circumstances:
            return Circumstances(
                self.works.folder,
                self.works.needed_to_sign,
                self.bench,
                self.store,
                self.clock(),
                identity,
                bench_c,
                climate,
            )

        return look_around(self.analyzer, around, questions)

    def _prepare(self, unit: UnitEntry, recipe: Path | None) -> Prepared:
        return prepare(
            unit, *self._files_of(unit.order.model, recipe), self.analyzer.ability, self.bench.loads
        )

    def _files_of(self, model: str, recipe: Path | None = None) -> tuple[Recipe, LimitTable]:
        works = self.works
        chosen = recipes.load(recipe or works.recipes / f"{model}.yaml")
        return chosen, tables.load(works.limits / f"{chosen.limit_table}.yaml")


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
