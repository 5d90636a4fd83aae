"""What each verb does: one call on the desk, then the showing of what came back."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from reports import wording
from station.cli.exits import Exit
from station.cli.tables import Column, print_json, show
from station.cli.unit_view import run_facts, show_history
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.settings import Works

BENCH_TO_EDIT = """\
# The instruments of this station. Put in your own analyzer: its VISA address, the dialect it speaks, a part of
# its answer to *IDN? and its range. `station try-dialect` tells whether they understand each other.

bench: {name}
analyzer:
  kind: vector
  address: TCPIP::192.0.2.10::5025::SOCKET
  dialect: linear-single
  identity: put a part of the answer to *IDN? here
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
"""


def out() -> Console:
    """Standard output, for what was asked."""
    return Console()


def aside() -> Console:
    """Standard error, for what is told along the way."""
    return Console(stderr=True)


def create(folder: Path, name: str, address: tuple[str, ...], bench: str) -> None:
    """Make an empty works folder."""
    from station import settings

    works = settings.create(folder, name, address, BENCH_TO_EDIT.format(name=bench))
    out().print(
        f"{works.folder} is ready. Next:\n"
        f"  put your analyzer into {works.bench}\n"
        f"  station key --works {folder}\n"
        f"  station import ORDERS.csv --works {folder}",
        highlight=False,
        soft_wrap=True,
    )


def key(folder: Path, years: int) -> None:
    """Make the signing key."""
    from station import settings
    from station.desk import make_key, now_utc

    works = settings.load(folder)
    secret, public = make_key(works, _passphrase(works, twice=True)(), now_utc(), years)
    out().print(
        f"Signing key: {secret} (keep it and its passphrase safe)\nFor your customers: {public}",
        highlight=False,
        soft_wrap=True,
    )


def import_orders(folder: Path, file: Path, *, as_json: bool) -> None:
    """Take in work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        desk.import_orders(file)
    orders(folder, as_json=as_json)


def orders(folder: Path, *, as_json: bool) -> None:
    """List the work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        rows = [
            {
                "order": progress.order.number,
                "customer": progress.order.customer,
                "model": progress.order.model,
                "tx_hz": progress.order.tx_hz,
                "rx_hz": progress.order.rx_hz,
                "due": progress.order.due,
                "units": len(progress.order.serials),
                "passed": progress.passed,
                "failed": progress.failed,
                "undecided": progress.undecided,
                "untested": progress.untested,
                "serials": list(progress.order.serials),
            }
            for progress in desk.orders()
        ]
    if as_json:
        print_json(rows, out())
        return
    columns = (
        Column("order", "Order", least=8),
        Column("customer", "Customer"),
        Column("model", "Model"),
        Column("tx_hz", "TX, MHz", wording.megahertz, right=True, least=9),
        Column("rx_hz", "RX, MHz", wording.megahertz, right=True, least=9),
        Column("due", "Due", least=10),
        Column("progress", "Units"),
    )
    show([{**row, "progress": _progress_words(row)} for row in rows], columns, out(), as_json=False)


def _progress_words(row: dict[str, Any]) -> str:
    counted = [f"{row[name]} {name}" for name in ("passed", "failed", "undecided", "untested") if row[name]]
    return f"{row['units']}: {', '.join(counted)}"


def test(
    folder: Path, serial: str, operator: str, temperature: str | None, recipe: Path | None, *, as_json: bool
) -> Exit:
    """Test one unit with a person at the bench."""
    from limits.units import celsius
    from station.cli.terminal import RunTeller, TerminalOperator
    from station.desk import open_desk

    if not operator.strip():
        raise UserMistake("say who tests: --operator NAME, or STATION_OPERATOR in the environment")
    try:
        temperature_c = celsius(temperature) if temperature else None
    except ValueError as error:
        raise UserMistake(f"--temperature: {error}") from error
    console = aside() if as_json else out()
    with (
        open_desk(folder) as desk,
        desk.bench(TerminalOperator(operator.strip(), console), RunTeller(console)) as session,
    ):
        judged = session.test(serial, temperature_c=temperature_c, recipe=recipe)
        if as_json:
            print_json(run_facts(desk.stored_run(serial, judged.key.run_number)), out())
        else:
            console.print(f"Next: station certify {serial} --works {folder}", highlight=False, soft_wrap=True)
    return Exit.of(judged.verdict.outcome)


def check(folder: Path, files: tuple[Path, ...], *, as_json: bool) -> Exit:
    """Check files of the works."""
    from station.checking import Surroundings, check
    from station.desk import open_desk
    from station.settings import FILE

    if files and not (folder / FILE).exists():
        checked = tuple(check(path, Surroundings()) for path in files)
    else:
        with open_desk(folder) as desk:
            checked = desk.check(files)
    if as_json:
        rows = [
            {
                "file": str(one.path),
                "kind": one.kind,
                "mistakes": [asdict(mistake) for mistake in one.mistakes],
            }
            for one in checked
        ]
        print_json(rows, out())
    else:
        for one in checked:
            words = "\n".join(str(mistake) for mistake in one.mistakes) or f"{one.path}: {one.kind}, in order"
            out().print(words, markup=False, highlight=False, soft_wrap=True)
    return Exit.MISTAKE if any(one.mistakes for one in checked) else Exit.PASS


def show_unit(folder: Path, serial: str, run_number: int | None, *, as_json: bool) -> None:
    """Show a unit's runs and the readings of one."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        history = desk.history(serial)
        judged = run_number is not None or any(line.outcome is not None for line in history.runs)
        stored = desk.stored_run(serial, run_number) if judged else None
    show_history(history, stored, out(), as_json=as_json)


def certify(folder: Path, serial: str, run_number: int | None, *, as_json: bool) -> None:
    """Make the certificate or failure sheet of a unit."""
    from station.desk import open_desk, open_key

    with open_desk(folder) as desk:
        ask = _passphrase(desk.works)
        issued = desk.certify(serial, run_number, lambda: open_key(desk.works, ask(), desk.clock()))
    if as_json:
        print_json({**asdict(issued.entry), "path": str(issued.path)}, out())
    else:
        out().print(f"{issued.entry.kind.capitalize()}: {issued.path}", highlight=False, soft_wrap=True)


def verify(folder: Path, file: Path, trust: tuple[Path, ...], *, as_json: bool) -> Exit:
    """Check a certificate's signature."""
    from station import settings
    from station.cli.verification import show_verification
    from station.desk import now_utc, own_certificates, verify_file

    certificates = trust
    if (folder / settings.FILE).exists():
        certificates += own_certificates(settings.load(folder))
    return show_verification(file, verify_file(file, certificates, now_utc()), out(), as_json=as_json)


def touchstone(folder: Path, serial: str, run_number: int | None, target: Path) -> None:
    """Write the sweeps of a run as Touchstone files."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        for path in desk.touchstone(serial, run_number, target):
            out().print(str(path), highlight=False, soft_wrap=True)


def try_dialect(folder: Path, power: str, *, as_json: bool) -> Exit:
    """Try the dialect on the connected analyzer."""
    from limits.units import dbm
    from station import settings
    from station.desk import try_bench

    try:
        power_dbm = dbm(power)
    except ValueError as error:
        raise UserMistake(f"--power: {error}") from error
    lines = try_bench(settings.load(folder), power_dbm)
    columns = (
        Column(
            "fine",
            "",
            lambda fine: "ok" if fine else "NO",
            style=lambda fine: "green" if fine else "bold red",
        ),
        Column("sent", "Sent"),
        Column("answer", "Came back"),
        Column("errors", "Error queue", "; ".join),
        Column("advice", "What to do"),
    )
    show([asdict(line) for line in lines], columns, out(), as_json=as_json)
    return Exit.PASS if all(line.fine for line in lines) else Exit.STATION_FAULT


def schema(kind: str) -> None:
    """Print the JSON Schema of a kind of file."""
    from limits.formwords import nearest
    from limits.table import schema as limit_table_schema
    from station.bench import bench_schema
    from station.instruments.dialect import dialect_schema
    from station.sequencer.recipe import schema as recipe_schema

    schemas: dict[str, Callable[[], dict[str, object]]] = {
        "recipe": recipe_schema,
        "limit-table": limit_table_schema,
        "bench": bench_schema,
        "dialect": dialect_schema,
    }
    if kind not in schemas:
        raise UserMistake(
            f"no schema of '{kind}'{nearest(kind, schemas) or '; there are ' + ', '.join(schemas)}"
        )
    print_json(schemas[kind](), out())


def _passphrase(works: Works, *, twice: bool = False) -> Callable[[], str]:
    """Asks for the passphrase only when it is needed."""
    import typer

    from station import settings

    def ask(words: str) -> str:
        return str(typer.prompt(words, hide_input=True, confirmation_prompt=twice, err=True))

    return lambda: settings.passphrase(works, os.environ, ask)
