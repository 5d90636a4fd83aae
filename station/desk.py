"""What can be asked of the station. Every door makes one call here and shows what came back."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits import table as tables
from limits.verdict import Outcome
from reports.record import UnitRecord
from station import bench as benches
from station import orders, settings
from station.bench import Bench
from station.checking import Checked, Surroundings, check, files_of
from station.database.entries import (
    CertificateEntry,
    CertificateKind,
    RunLine,
    StoredRun,
    UnitEntry,
)
from station.database.store import Store
from station.database.touchstone import touchstone_of
from station.errors import StationFault, StoreFault, UserMistake
from station.files import write_whole
from station.instruments.analyzer import Analyzer
from station.orders import WorkOrder
from station.records import record_of
from station.sequencer import recipe as recipes
from station.sequencer import run
from station.sequencer.events import Listener
from station.sequencer.operator import Operator
from station.sequencer.prepare import Prepared, make_task, prepare
from station.sequencer.readiness import look_around
from station.sequencer.run import Clock, Judged
from station.settings import Works

if TYPE_CHECKING:
    from reports.signing import SigningKey
    from reports.verifying import Verification
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

    @property
    def untested(self) -> int:
        """Units that have no verdict yet."""
        return len(self.order.serials) - self.passed - self.failed - self.undecided


@dataclass(frozen=True, slots=True)
class Issued:
    """A certificate or failure sheet that was just made."""

    entry: CertificateEntry
    path: Path


@contextmanager
def open_desk(folder: Path, clock: Clock = now_utc) -> Iterator[Desk]:
    """The desk of the works in a folder.

    Raises UserMistake, BadInput or StoreFault when the folder, its settings or its database cannot be used.
    """
    works = settings.load(folder)
    with Store.open(works.database, create=True) as store:
        yield Desk(works, store, clock)


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
        self.store.add_orders(read)
        return read

    def orders(self) -> tuple[Progress, ...]:
        """Every work order and how far it has come."""
        return tuple(self._progress(order) for order in self.store.orders())

    @contextmanager
    def bench(self, operator: Operator, listen: Listener) -> Iterator[Session]:
        """The bench, for as many units as are tested in a row.

        Raises StationFault with every reason when the station is not ready, before the first hook-up.
        """
        bench = benches.load(self.works.bench)
        with benches.open_analyzer(bench, self.works.dialects, now=self.clock) as analyzer:
            yield Session(self, bench, analyzer, operator, listen)

    def check(self, files: tuple[Path, ...] = ()) -> tuple[Checked, ...]:
        """Every mistake in these files, or in all files of the works; nothing is tested."""
        around = Surroundings(self.works, self.store.orders())
        return tuple(check(path, around) for path in files or files_of(self.works))

    def history(self, serial: str) -> History:
        """The unit, its runs and what was made of them."""
        unit = self.store.unit(serial)
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

    def record(self, serial: str, run_number: int | None = None) -> UnitRecord:
        """All that is said of one run of a unit."""
        return self._record(self.stored_run(serial, run_number))

    def certify(self, serial: str, run_number: int | None, key: Callable[[], SigningKey]) -> Issued:
        """Make and file the signed certificate of a unit that passed, or the failure sheet of one that did not.

        `key` is only called for a certificate, so that nobody is asked for a passphrase in vain.
        """
        from reports.catalog import report_for

        stored = self.stored_run(serial, run_number)
        record = self._record(stored)
        report, issued = report_for(record.verdict.outcome), self.clock()
        pdf = report.make(record, issued)
        if report.signed:
            pdf = _signed(pdf, key(), record, issued)
        path = self.works.certificates / f"{record.number}{'' if report.signed else ' ' + report.name}.pdf"
        entry = CertificateEntry(
            run_id=stored.run_id,
            number=record.number,
            kind=CertificateKind(report.name),
            issued=issued,
            sha256=hashlib.sha256(pdf).hexdigest(),
            file=path.relative_to(self.works.folder).as_posix(),
        )
        write_whole(path, pdf)
        self.store.keep_certificate(entry)
        return Issued(entry, path)

    def touchstone(self, serial: str, run_number: int | None, folder: Path) -> tuple[Path, ...]:
        """Write one Touchstone file per hook-up of a run."""
        stored = self.stored_run(serial, run_number)
        paths = []
        for position, sweep in enumerate(stored.sweeps):
            path = folder / f"{stored.head.serial}-{stored.run_number} {sweep.hookup.name}.s2p"
            write_whole(path, touchstone_of(stored, position).encode())
            paths.append(path)
        return tuple(paths)

    def _record(self, stored: StoredRun) -> UnitRecord:
        return record_of(stored, self.works.name, self.works.address)

    def _progress(self, order: WorkOrder) -> Progress:
        latest = [self.store.runs(serial) for serial in order.serials]
        outcomes = [
            next((line.outcome for line in reversed(lines) if line.outcome is not None), None)
            for lines in latest
        ]
        return Progress(
            order,
            passed=outcomes.count(Outcome.PASS),
            failed=outcomes.count(Outcome.FAIL),
            undecided=outcomes.count(Outcome.UNDECIDED),
        )


@dataclass(frozen=True, slots=True)
class Session:
    """A bench that is open, and the operator at it."""

    desk: Desk
    bench: Bench
    analyzer: Analyzer
    operator: Operator
    listen: Listener

    def test(self, serial: str, *, temperature_c: float | None = None, recipe: Path | None = None) -> Judged:
        """Test one unit by its model's recipe, or by another one.

        Raises UserMistake or BadInput before anything is touched, StationFault when the station fails or is not
        ready, KeyboardInterrupt when the operator stops.
        """
        prepared = self._prepare(self.desk.store.unit(serial), recipe)
        works = self.desk.works
        readiness = look_around(self.analyzer, works.folder, works.key)
        if not readiness.is_ready:
            raise StationFault("not ready to test: " + "; ".join(readiness.reasons))
        task = make_task(
            prepared, self.bench, readiness.identity, self.operator.name, temperature_c, self.desk.clock()
        )
        return run.run_unit(
            task, run.Bench(self.analyzer, self.operator, self.desk.store, self.desk.clock, self.listen)
        )

    def _prepare(self, unit: UnitEntry, recipe: Path | None) -> Prepared:
        works = self.desk.works
        chosen = recipes.load(recipe or works.recipes / f"{unit.order.model}.yaml")
        table = tables.load(works.limits / f"{chosen.form.limit_table}.yaml")
        return prepare(unit, chosen, table, self.analyzer.ability)


def make_key(works: Works, passphrase: str, valid_from: datetime, years: int) -> tuple[Path, Path]:
    """Make the works' signing key and, beside it, the certificate that customers verify with.

    Raises UserMistake when there is a key already: certificates signed with it must stay verifiable.
    """
    from reports.signing import SigningKey, make_key, public_certificate

    if works.key.exists():
        raise UserMistake(
            f"{works.key} exists; move it away first, and keep its certificate for your customers"
        )
    if not passphrase:
        raise UserMistake("the passphrase is empty; choose one")
    data = make_key(f"{works.name} final test", works.name, passphrase.encode(), valid_from, years)
    public = works.key.with_suffix(".pem")
    write_whole(works.key, data, private=True)
    write_whole(public, public_certificate(SigningKey.load(data, passphrase.encode(), valid_from)))
    return works.key, public


def open_key(works: Works, passphrase: str, now: datetime) -> SigningKey:
    """The works' signing key. Raises UserMistake, StoreFault or reports.errors.KeyUnusable with the way out."""
    from reports.signing import SigningKey

    try:
        data = works.key.read_bytes()
    except FileNotFoundError as error:
        raise UserMistake(f"{works.key}: there is no signing key; make one with `station key`") from error
    except OSError as error:
        raise StoreFault(f"{works.key}: the signing key cannot be read: {error.strerror}") from error
    return SigningKey.load(data, passphrase.encode(), now)


def _signed(pdf: bytes, key: SigningKey, record: UnitRecord, issued: datetime) -> bytes:
    from reports.signing import sign

    reason = f"Final test of {record.order.model} {record.serial}"
    return sign(pdf, key, reason=reason, location=record.works.address[-1], signed_at=issued)


def own_certificates(works: Works) -> tuple[Path, ...]:
    """The certificate files whose signatures count in this works: its own and those it trusts."""
    own = works.key.with_suffix(".pem")
    return ((own,) if own.exists() else ()) + works.trusted


def verify_file(path: Path, trusted: tuple[Path, ...], now: datetime) -> Verification:
    """What a PDF's signature says; `trusted` are files of signers' certificates.

    Raises UserMistake when a file is not there, reports.errors.BadCertificateFile when one holds no certificate.
    """
    from reports.verifying import certificates, verify

    known = tuple(certificate for file in trusted for certificate in certificates(_bytes_of(file)))
    return verify(_bytes_of(path), known, now)


def try_bench(works: Works, power_dbm: float) -> tuple[TrialLine, ...]:
    """Every command of the bench file's dialect tried on the connected analyzer, at low power."""
    from station.instruments.trial import try_dialect

    bench = benches.load(works.bench)
    with benches.open_analyzer_link(bench, works.dialects) as (link, dialect):
        return try_dialect(link, dialect, bench.ability, power_dbm=power_dbm)


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UserMistake(f"{path} cannot be read: {error.strerror}") from error
