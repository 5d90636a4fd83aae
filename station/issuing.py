"""Making, filing and checking what leaves the station on paper: certificates and failure sheets.

One run has one document, and a further one for each decision of a person about it. It is made once, filed under its
number, and never replaced.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits.verdict import Outcome
from limits.yamlfile import read_bytes
from reports.record import CheckNote, UnitRecord
from reports.resolution import Ruling
from station.agreement import compared
from station.database.entries import CertificateEntry, CertificateKind, StoredRun
from station.database.store import Store
from station.disposing import refuse_certificate
from station.errors import StoreFault, UserMistake
from station.files import write_whole
from station.keyring import certificates_in, lists_in
from station.ledgers import sign_now_and_then
from station.records import check_before, record_of
from station.settings import Works
from station.timestamps import sign_for

if TYPE_CHECKING:
    from reports.signing import SigningKey
    from reports.verification import Verification


@dataclass(frozen=True, slots=True)
class Issued:
    """A certificate or failure sheet of a run."""

    entry: CertificateEntry
    path: Path
    is_new: bool
    """False when it had been made before and was only found again."""

    note: str = ""
    """Why it has no timestamp, where the works wants one."""


def issue(
    works: Works, store: Store, stored: StoredRun, now: datetime, key: Callable[[], SigningKey]
) -> Issued:
    """The signed certificate of a run that passed, or the failure sheet of one that did not.

    `key` is only called where there is something to sign. Raises UserMistake for a run without a verdict, and for a
    pass that a later run has overtaken.
    """
    if (made := already(works, store, stored)) is not None:
        return made
    key = functools.cache(key)
    source = source_of(works, store, stored)
    if source.record.outcome is Outcome.PASS:
        _refuse_overtaken(store, stored)
    return file(store, source, draw(source, now, key), now, key)


@dataclass(frozen=True, eq=False)
class Source:
    """All that a document of a run is made from; it can be sent to another process."""

    works: Works
    stored: StoredRun
    check: CheckNote | None

    @functools.cached_property
    def record(self) -> UnitRecord:
        """What the document tells. Raises UserMistake for a run without a verdict."""
        works = self.works
        return record_of(self.stored, works.name, works.address, works.house, self.check)


def source_of(works: Works, store: Store, stored: StoredRun) -> Source:
    """What the document of a run is made from in this works.

    Raises UserMistake for a pass of a unit that was scrapped, or reworked since.
    """
    released = stored.resolution is not None and stored.resolution.ruling is Ruling.RELEASE
    if released or (stored.verdict is not None and stored.verdict.outcome is Outcome.PASS):
        refuse_certificate(store, stored.head.serial, stored.run_number)
    return Source(works, stored, check_before(store, stored))


@dataclass(frozen=True, slots=True)
class Drawn:
    """A document as it leaves the works, not filed yet."""

    number: str
    kind: CertificateKind
    pdf: bytes
    note: str
    """What somebody should know of how it was made; empty for nothing."""


def file(store: Store, source: Source, drawn: Drawn, now: datetime, key: Callable[[], SigningKey]) -> Issued:
    """Put a document into its place and into the records."""
    works, stored = source.works, source.stored
    what = " failure sheet" * (drawn.kind is CertificateKind.FAILURE_SHEET)
    path = works.certificates / f"{drawn.number}{what}.pdf"
    entry = CertificateEntry(
        run_id=stored.run_id,
        number=drawn.number,
        kind=drawn.kind,
        issued=now,
        sha256=hashlib.sha256(drawn.pdf).hexdigest(),
        file=path.relative_to(works.folder).as_posix(),
        resolution=stored.resolution.number if stored.resolution else 0,
    )
    write_whole(path, drawn.pdf)
    store.keep_certificate(entry)
    if drawn.kind is CertificateKind.CERTIFICATE:
        sign_now_and_then(store, key(), now)
    return Issued(entry, path, is_new=True, note=drawn.note)


def already(works: Works, store: Store, stored: StoredRun) -> Issued | None:
    """The document that was made of a run as it stands; None where none was.

    Raises StoreFault when it was made, but is missing or altered.
    """
    decided = stored.resolution.number if stored.resolution else 0
    entry = store.certificate_of(stored.run_id, decided)
    return None if entry is None else _found(works, entry)


def verify_file(
    path: Path,
    trusted: tuple[Path, ...],
    now: datetime,
    lists: tuple[Path, ...] = (),
    services: tuple[Path, ...] = (),
    store: Store | None = None,
) -> Verification:
    """What a PDF's signature says, and where `store` is given the works' records.

    `trusted` and `services` are files of certificates, `lists` of revoked keys.

    Raises limits.errors.BadInput when a file cannot be read, reports.errors.BadCertificateFile when one holds no
    certificate or list.
    """
    from reports.verifying import verify

    pdf = read_bytes(path)
    found = verify(
        pdf,
        certificates_in(trusted),
        now,
        services=certificates_in(services),
        lists=lists_in(lists),
    )
    return found if store is None else compared(found, pdf, store)


def draw(source: Source, now: datetime, key: Callable[[], SigningKey]) -> Drawn:
    """The document of a run, signed where it must be; `key` is only called then."""
    from reports.catalog import report_for

    record = source.record
    report = report_for(record.outcome)
    pdf, note = report.make(record, now), ""
    if report.signed:
        reason = f"Final test of {record.order.model} {record.serial}"
        pdf, note = sign_for(source.works, pdf, key(), (reason, record.works.address[-1]), now)
    return Drawn(record.number, CertificateKind(report.name), pdf, note)


def _found(works: Works, entry: CertificateEntry) -> Issued:
    path = works.folder / entry.file
    if not path.is_file() or hashlib.sha256(read_bytes(path)).hexdigest() != entry.sha256:
        raise StoreFault(
            f"{entry.kind} {entry.number} was issued as {path}, but that file is missing or altered; "
            "put it back from your backup, or test the unit again for one of another number"
        )
    return Issued(entry, path, is_new=False)


def _refuse_overtaken(store: Store, stored: StoredRun) -> None:
    latest = store.latest_judged(stored.head.serial)
    if latest is not None and latest.verdict is not None and latest.run_number > stored.run_number:
        passed = "was released" if stored.resolution else "passed"
        raise UserMistake(
            f"run {stored.run_number} of {stored.head.serial} {passed}, but run {latest.run_number} after it says "
            f"{latest.verdict.outcome}; a certificate is made of the latest verdict only"
        )
