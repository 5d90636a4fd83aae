"""What can be asked of the station. Every door makes one call here and shows what came back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits import table as tables
from limits.errors import BadInput, Mistake
from limits.quantity import Channels
from station import cables, checks, orders, settings
from station.approving import Paper, drafts, papers, wanted
from station.bench import file as benches
from station.bench.name import station_name
from station.benchwork import OpenBench, open_bench
from station.budgets import Accounted, account
from station.cables import CableState
from station.calibration_history import PastCalibration, past_calibrations
from station.checking import Checked, Surroundings, check, files_of
from station.checks import Checks, product
from station.database.approvals import Approval
from station.database.disposition import Disposition
from station.database.entries import (
    CertificateEntry,
    RunLine,
    StandardReset,
    StoredRun,
    UnitEntry,
)
from station.database.matings import Service
from station.database.person import Person, found
from station.database.store import Store
from station.database.touchstone import touchstone_of
from station.disposing import ACTS, Decided, said
from station.errors import StoreFault, UserMistake
from station.files import write_given
from station.issuing import Issued, issue
from station.issuing_many import OrderStanding, issue_many, standing_of
from station.orders import WorkOrder
from station.people import People
from station.progress import Progress, progress
from station.records import evaluated
from station.resolving import WayOut, Wish, refuse_unsigned, resolve, way_out
from station.rights import RIGHTS, Act, Role
from station.sequencer import recipe as recipes
from station.sequencer import standard as standards
from station.sequencer.events import Listener
from station.sequencer.operator import Operator
from station.sequencer.prepare import plan_for
from station.sequencer.run import Clock
from station.settings import Works

if TYPE_CHECKING:
    from pandas import DataFrame

    from limits.population import CharacteristicRisk
    from reports.signing import SigningKey
    from reports.trends.charting import Charted
    from reports.trends.charting import Wish as Wished
    from reports.trends.differences import Differences
    from reports.trends.shifts import Shift
    from station.capabilities import LimitCapability
    from station.packing import Pack


def now_utc() -> datetime:
    """The clock of a real station."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class History:
    """All that is known of one unit."""

    unit: UnitEntry
    runs: tuple[RunLine, ...]
    certificates: tuple[CertificateEntry, ...]
    dispositions: tuple[Disposition, ...] = ()
    """What persons decided about it, the first one first."""


@contextmanager
def open_desk(folder: Path, clock: Clock = now_utc) -> Iterator[Desk]:
    """The desk of the works in a folder.

    Raises UserMistake, BadInput or StoreFault when the folder, its settings or its database cannot be used.
    """
    works = settings.load(folder)
    with Store.open(works.database, station=station_name(works.bench), clock=clock) as store:
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
    """One works, its open store, and who sits at it.

    Once somebody is registered, an act of weight needs a person with the right to it.
    """

    works: Works
    store: Store
    clock: Clock
    who: Person | None = None
    """Who signed in; None where nobody did."""

    @property
    def people(self) -> People:
        """Everybody of the works."""
        return People(self.store)

    def sign_in(self, said: str, pin: str) -> Desk:
        """The desk with somebody at it, by name or badge. Raises UserMistake, which tells not what was wrong."""
        return replace(self, who=self.people.identify(said, pin, self.clock()))

    def expect(self, act: Act, about: str, person: str | None = None) -> str:
        """Who does this, for the record; kept among the acts. Raises UserMistake where they have no right to.

        `person` is who was named without signing in: it counts where nobody is registered.
        """
        if not self.people.is_anybody:
            return person or ""
        if self.who is None:
            raise UserMistake(f"sign in to {RIGHTS[act].words}: give your name or badge, and your PIN")
        self.people.allow(self.who, act, about, self.clock())
        return self.who.name

    def register(self, name: str, roles: Sequence[Role], badge: str, pin: Callable[[], str]) -> None:
        """Register somebody; the first one turns rights on. Raises UserMistake where it may not be."""
        self.expect(Act.PEOPLE, name)
        self.people.add(name, roles, badge, pin(), self.who, self.clock())

    def change_person(self, name: str, roles: Sequence[Role], badge: str | None) -> None:
        """Give somebody other roles or another badge; empty and None leave them as they are."""
        self.people.change(name, roles, badge, self._signed(Act.PEOPLE, name), self.clock())

    def retire_person(self, name: str) -> None:
        """Somebody works here no more. Raises UserMistake for the last administrator."""
        self.people.retire(name, self._signed(Act.PEOPLE, name), self.clock())

    def set_pin(self, name: str, pin: Callable[[], str]) -> None:
        """Set somebody's PIN: one's own, or as an administrator."""
        own = self.who is not None and found(self.people.all(), name) == self.who
        by = self._signed(Act.PIN if own else Act.PEOPLE, name)
        self.people.set_pin(name, pin(), by, self.clock())

    def _signed(self, act: Act, about: str) -> Person:
        """Who signed in, and may do this."""
        self.expect(act, about)
        if self.who is None:
            raise UserMistake("nobody is registered yet; the first one must be an administrator: --add NAME")
        return self.who

    def papers(self, what: str | None = None) -> tuple[Paper, ...]:
        """Every recipe and limit table, or those of a file or a name, and whether they are approved as they stand."""
        return papers(self.works, self.store) if what is None else wanted(self.works, self.store, what)

    def drafts(self) -> tuple[Paper, ...]:
        """What the open orders would be tested by and is not approved; none where nobody is registered."""
        return drafts(self.works, self.store) if self.people.is_anybody else ()

    def approve(self, paper: Paper, why: str) -> Approval:
        """Whoever sits here approves a recipe or limit table as it stands. Raises UserMistake."""
        who = self._signed(Act.APPROVE, f"{paper.title} {paper.text.digest[:12]}")
        approval = Approval(paper.text, who.name, self.clock(), " ".join(why.split()))
        self.store.keep_approval(approval)
        return approval

    def import_orders(self, path: Path) -> tuple[WorkOrder, ...]:
        """Take in the work orders of a CSV file, all of them or none."""
        self.expect(Act.ORDERS, path.name)
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
        return progress(self.store)

    def bench(self, operator: Operator, listen: Listener) -> AbstractContextManager[OpenBench]:
        """The bench, for as many units as are tested in a row; no other program may use it meanwhile.

        Raises BadInput for the bench file, StationFault when another program is at the bench.
        """
        return open_bench(self.works, self.store, self.clock, operator, listen, self.expect)

    def cables(self) -> tuple[CableState, ...]:
        """Every cable of the bench file and how worn it is."""
        return cables.states(self.store, benches.load(self.works.bench))

    def service(self, cable: str, person: str, why: str) -> Service:
        """A person gauged or replaced a cable's connector; it is counted from none again."""
        bench = benches.load(self.works.bench)
        who = self.expect(Act.SERVICE, cable, person)
        return cables.service(self.store, bench, cable, who, why, self.clock())

    def history(self, serial: str) -> History:
        """The unit, its runs and what was made of them."""
        unit = product(self.store.unit(serial), "`station standard --history` shows it")
        return History(
            unit, self.store.runs(serial), self.store.certificates(serial), self.store.dispositions(serial)
        )

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
        unit = product(self.store.unit(serial), "it is no product, and gets no certificate")
        self.expect(Act.CERTIFY, unit.serial)
        stored = self.stored_run(serial, run_number)
        refuse_unsigned(self.works, stored)
        return issue(self.works, self.store, stored, self.clock(), key)

    def certify_order(
        self, number: str, key: Callable[[], SigningKey]
    ) -> tuple[OrderStanding, Iterator[Issued]]:
        """How the units of an order stand, and the certificates of those that passed, each as soon as it is filed."""
        found = standing_of(self.store, number)
        self.expect(Act.CERTIFY, number)
        made = issue_many(self.works, self.store, found.good, self.clock(), key()) if found.good else iter(())
        return found, made

    def pack(self, number: str, path: Path, key: Callable[[], SigningKey]) -> Pack:
        """Write the data pack of an order for its customer. Raises UserMistake where there is nothing to pack yet."""
        from station.packing import pack

        self.expect(Act.CERTIFY, number)
        made = pack(self.works, self.store, number, self.clock(), key())
        write_given(path, made.data)
        return made

    def resolve(
        self, serial: str, run_number: int | None, wish: Wish, key: Callable[[], SigningKey]
    ) -> StoredRun:
        """Record what a person decided of an undecided run, signed with the works' key; the run as it stands then.

        `key` is only called when nothing else speaks against it. Raises UserMistake where it may not be decided.
        """
        stored = self.stored_run(serial, run_number)
        who = self.expect(Act.RESOLVE, stored.head.serial, wish.person)
        resolve(self.store, stored, replace(wish, person=who), self.clock(), key)
        return self.store.run(stored.run_id)

    def dispose(self, serial: str, wish: Decided) -> tuple[Disposition, ...]:
        """Record what a person decides about a unit; all that was decided about it. Raises UserMistake."""
        unit = product(self.store.unit(serial), "about which nobody decides")
        who = self.expect(ACTS[wish.fate], unit.serial, wish.person)
        self.store.keep_disposition(
            unit.serial,
            wish.fate,
            said(who, "who decides: --by NAME"),
            self.clock(),
            said(wish.why, "why, or what was done: --why TEXT"),
            wish.corrects,
        )
        return self.store.dispositions(unit.serial)

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

    def capabilities(
        self, model: str, characteristic: str | None, last: int | None
    ) -> tuple[LimitCapability, ...]:
        """How well a model's units fit between its limits."""
        from station.capabilities import model_capabilities

        return model_capabilities(self.works, self.store, model, characteristic, last)

    def differences(self, model: str, name: str, by: str, last: int | None) -> Differences:
        """Whether groups of units, by operator or station, read differently."""
        from station.capabilities import group_differences

        return group_differences(self.works, self.store, model, name, by, last)

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

    def retest_reasons(self, by: Sequence[str], since: date | None, until: date | None) -> DataFrame:
        """Why units were tested again (`reports.trends.retests`), over the same days."""
        from reports.trends.retests import reasons, table_of

        return reasons(table_of(self.store.retests(since, until)), by)

    def failures(self, since: date | None, until: date | None) -> DataFrame:
        """What units failed in at their first run, the most frequent first."""
        import pandas as pd

        from reports.trends.failures import failures

        units = sum(row["first"] for row in self.store.run_counts(since, until))
        return failures(pd.DataFrame(self.store.first_failures(since, until)), units)

    def chart(self, model: str, name: str, wish: Wished, last: int | None) -> Charted:
        """Control charts of one characteristic of a model, over its last units."""
        from reports.trends.charting import chart
        from station.series import readings

        return chart(readings(self.works, self.store, model, name, last), wish)

    def attributes(self, model: str) -> DataFrame:
        """Units that failed at once, and in how much, by order (`reports.trends.attributes`)."""
        from station.series import attributes

        return attributes(self.works, self.store, model)

    def shift(self, model: str, name: str, last: int | None) -> Shift:
        """The most likely shift of one characteristic of a model, and what else changed then."""
        from numpy.random import default_rng

        from reports.trends.shifts import shift
        from station.series import readings

        # The same records give the same answer.
        return shift(readings(self.works, self.store, model, name, last), default_rng(1))

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
            write_given(path, touchstone_of(stored, sweep).encode())
            paths.append(path)
        return tuple(paths)

    def checks(self, latest: int = 30) -> Checks:
        """So many of the latest checks of the standard that the bench file names, and how it drifts."""
        bench = benches.load(self.works.bench)
        return checks.told(self.store, self.works.folder, bench, self.clock(), latest)

    def calibrations(self, latest: int) -> tuple[PastCalibration, ...]:
        """So many of the latest calibrations of this station, the newest first."""
        return past_calibrations(self.store, benches.load(self.works.bench), self.clock(), latest)

    def accept_standard(self, person: str, why: str) -> StandardReset:
        """A person says that the check standard is another one from now on; its history begins anew."""
        bench = benches.load(self.works.bench)
        who = self.expect(Act.ACCEPT, standards.named(bench).serial, person)
        return checks.accept(self.store, bench, who, why, self.clock())
