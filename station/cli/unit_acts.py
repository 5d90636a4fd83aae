"""What the verbs on tested units do: one call on the desk, then the showing of what came back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from reports import wording
from station.cli.asking import aside, out, passphrase
from station.cli.exits import Exit
from station.cli.signing_in import signed_in
from station.cli.tables import print_json, say
from station.cli.unit_view import show_history
from station.errors import StoreFault, UserMistake

if TYPE_CHECKING:
    from station.database.store import Store


def show_unit(folder: Path, serial: str, run_number: int | None, *, as_json: bool) -> None:
    """Show a unit's runs and the readings of one."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        history = desk.history(serial)
        judged = run_number is not None or any(line.outcome is not None for line in history.runs)
        stored = desk.stored_run(serial, run_number) if judged else None
        way_out = desk.way_out(stored) if stored else None
    show_history(history, stored, way_out, out(), as_json=as_json)


def show_budget_of(folder: Path, serial: str, run_number: int | None, name: str, *, as_json: bool) -> None:
    """Show the uncertainty budget of one reading."""
    from station.cli.budget_view import show_budget
    from station.desk import open_desk

    with open_desk(folder) as desk:
        accounted = desk.budget(serial, run_number, name)
    show_budget(accounted, out(), as_json=as_json)


def certify(folder: Path, serial: str, run_number: int | None, by: str, *, as_json: bool) -> None:
    """Make the certificate or failure sheet of a unit."""
    from station.desk import open_desk
    from station.keyring import open_key

    with open_desk(folder) as desk:
        desk = signed_in(desk, by)
        ask = passphrase(desk.works)
        issued = desk.certify(serial, run_number, lambda: open_key(desk.works, ask(), desk.clock()))
    if as_json:
        print_json({**asdict(issued.entry), "path": str(issued.path), "is_new": issued.is_new}, out())
    else:
        when = "" if issued.is_new else f", as issued on {wording.day(issued.entry.issued)}"
        say(out(), f"{issued.entry.kind.capitalize()}: {issued.path}{when}")
    if issued.note:
        say(aside(), f"Issued {issued.note}", "yellow")


def verify(folder: Path, file: Path, known: tuple[tuple[Path, ...], ...], *, as_json: bool) -> Exit:
    """Check a certificate, also against records at hand; `known` are files of signers, revoked keys, services."""
    from station import settings
    from station.cli.verification import show_verification
    from station.desk import now_utc
    from station.issuing import verify_file
    from station.keyring import own_certificates, own_lists

    certificates, revoked, services = known
    if (folder / settings.FILE).exists():
        works = settings.load(folder)
        certificates += own_certificates(works)
        revoked += own_lists(works)
        if works.timestamping is not None:
            services += (works.timestamping.trusted,)
    if not certificates:
        say(
            aside(),
            f"Nobody's signature is known here: {folder} is no works folder with a key; use --works or --trust.",
        )
    with _records(folder) as store:
        found = verify_file(file, certificates, now_utc(), revoked, services, store)
    return show_verification(file, found, out(), as_json=as_json)


@contextmanager
def _records(folder: Path) -> Iterator[Store | None]:
    """The works' records; None where there are none at hand, and said aside where they cannot be read."""
    from station import settings
    from station.database.store import Store

    with ExitStack() as stack:
        try:
            is_works = (folder / settings.FILE).exists()
            store = stack.enter_context(Store.open(settings.load(folder).database)) if is_works else None
        except (StoreFault, UserMistake) as error:
            say(aside(), f"Not compared with the works' records: {error}", "yellow")
            store = None
        yield store


def touchstone(folder: Path, serial: str, run_number: int | None, target: Path) -> None:
    """Write the sweeps of a run as Touchstone files."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        for path in desk.touchstone(serial, run_number, target):
            say(out(), str(path))
