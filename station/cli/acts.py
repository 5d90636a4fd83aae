"""What each verb does: one call on the desk, then the showing of what came back."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import datetime
from getpass import GetPassWarning
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.verdict import Outcome
from reports import wording
from station.cli.exits import Exit
from station.cli.tables import Column, print_json, say, show
from station.cli.unit_view import run_facts, show_history
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.instruments.trial import TrialLine
    from station.progress import Progress
    from station.settings import Works

BENCH_TO_EDIT = """\
# The instruments of this station. Put in your own analyzer: its VISA address, the dialect it speaks, a part of
# its answer to *IDN? and its range. `station try-dialect` tells whether they understand each other.

bench: {name}
analyzer:
  kind: vector
  address: TCPIP::192.0.2.10::5025::SOCKET
  dialect: linear-single
  identity:
  from: 300 kHz
  to: 3 GHz
  most_points: 1601

# What makes readings trustworthy is told in the README; take out the '#' and write in your own:
# calibration: {{by: station, kit: works-n, cables: N 1.5 m, valid_for: 12 h}}    # or by: analyzer
# uncertainty:
#   noise_floor: -115 dBm at 1 kHz
#   trace_noise: 0.002 dB
#   connector_repeatability: 0.02 dB
#   drift: 0.02 dB
#   directivity: 40 dB
#   port_match: 38 dB
#   load_match: 38 dB
# check_standard: {{serial: SKC-001, every: 12 h}}
# cables:
#   cable 1: {{port: 1, service_after: 500 matings}}
#   cable 2: {{port: 2, service_after: 500 matings}}
# thermometer: {{address: "TCPIP::192.0.2.12::5025::SOCKET", identity: Thermometer}}
"""


def out() -> Console:
    """Standard output, for what was asked."""
    return Console()


def aside() -> Console:
    """Standard error, for what is told along the way."""
    return Console(stderr=True)


def create(folder: Path, name: str, address: tuple[str, ...], bench: str) -> None:
    """Make an empty works folder."""
    from station.desk import make_works

    works = make_works(folder, name, address, BENCH_TO_EDIT.format(name=bench))
    say(
        out(),
        f"{folder} is ready. Next:\n"
        f"  put your analyzer into {folder / works.bench.name}\n"
        f"  station key --works {folder}\n"
        f"  station import ORDERS.csv --works {folder}",
    )


def key(folder: Path, years: int) -> None:
    """Make the signing key."""
    from station import settings
    from station.desk import now_utc
    from station.issuing import make_key

    works = settings.load(folder)
    secret, public = make_key(works, passphrase(works, twice=True), now_utc(), years)
    say(out(), f"Signing key: {secret} (keep it and its passphrase safe)\nFor your customers: {public}")


def import_orders(folder: Path, file: Path, *, as_json: bool) -> None:
    """Take in work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        taken_in = {order.number for order in desk.import_orders(file)}
        progress = [each for each in desk.orders() if each.order.number in taken_in]
    _show_orders(progress, as_json=as_json)


def orders(folder: Path, *, as_json: bool) -> None:
    """List the work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        progress = desk.orders()
    if not progress and not as_json:
        say(out(), f"No work orders yet. Next: station import ORDERS.csv --works {folder}")
        return
    _show_orders(progress, as_json=as_json)


ORDERS = (
    Column("order", "Order", least=8),
    Column("customer", "Customer"),
    Column("model", "Model"),
    Column("tx_hz", "TX, MHz", wording.megahertz, right=True, least=9),
    Column("rx_hz", "RX, MHz", wording.megahertz, right=True, least=9),
    Column("due", "Due", least=10),
    Column("progress", "Units"),
)


def _show_orders(progress: Sequence[Progress], *, as_json: bool) -> None:
    rows = [
        {
            "order": each.order.number,
            "customer": each.order.customer,
            "model": each.order.model,
            "tx_hz": each.order.tx_hz,
            "rx_hz": each.order.rx_hz,
            "due": each.order.due,
            "units": len(each.order.serials),
            "passed": each.passed,
            "failed": each.failed,
            "undecided": each.undecided,
            "released": each.released,
            "rejected": each.rejected,
            "untested": each.untested,
            "serials": list(each.order.serials),
        }
        for each in progress
    ]
    if as_json:
        print_json(rows, out())
    else:
        show([{**row, "progress": _progress_words(row)} for row in rows], ORDERS, out(), as_json=False)


def _progress_words(row: dict[str, Any]) -> str:
    names = ("passed", "released", "failed", "rejected", "undecided", "untested")
    counted = [f"{row[name]} {name}" for name in names if row[name]]
    return f"{row['units']}: {', '.join(counted)}"


def test(
    folder: Path,
    serial: str,
    operator: str,
    temperature: str | None,
    bench_temperature: str | None,
    settled_since: str | None,
    recipe: Path | None,
    *,
    may_ask: bool,
    as_json: bool,
) -> Exit:
    """Test one unit with a person at the bench."""
    from station.cli.terminal import RunTeller, TerminalOperator
    from station.desk import open_desk

    temperature_c = celsius_of(temperature)
    bench_c = celsius_of(bench_temperature, "--bench-temperature")
    console = aside() if as_json else out()
    with open_desk(folder) as desk:
        unit = desk.store.unit(serial)
        since = _time(settled_since, desk.clock())
        name = operator.strip() or operator_name(may_ask=may_ask)
        with desk.bench(TerminalOperator(name, console, answers=may_ask), RunTeller(console)) as bench:
            try:
                judged = bench.test(
                    unit.serial,
                    temperature_c=temperature_c,
                    bench_c=bench_c,
                    settled_since=since,
                    recipe=recipe,
                )
            except KeyboardInterrupt:
                say(aside(), "Stopped by the operator: no verdict; what was swept is kept.")
                return Exit.STOPPED
        if as_json:
            stored = desk.stored_run(serial, judged.key.run_number)
            print_json(run_facts(stored, desk.way_out(stored)), out())
        else:
            what = "resolve" if judged.verdict.outcome is Outcome.UNDECIDED else "certify"
            say(console, f"\nNext: station {what} {unit.serial} --works {folder}")
    return Exit.of(judged.verdict.outcome)


def calibrate(
    folder: Path, over: Sequence[str], operator: str, temperature: str | None, *, as_json: bool
) -> Exit:
    """Calibrate the bench with a person at it."""
    from station.calibrations import stretch_from
    from station.cli.calibration_view import CalibrationTeller, show_calibration
    from station.cli.terminal import TerminalOperator
    from station.desk import open_desk

    temperature_c = celsius_of(temperature)
    stretches = tuple(map(stretch_from, over))
    console = aside() if as_json else out()
    with open_desk(folder) as desk:
        who = TerminalOperator(operator.strip() or operator_name(), console)
        with desk.bench(who, CalibrationTeller(console)) as bench:
            try:
                made = bench.calibrate(stretches, temperature_c=temperature_c)
            except KeyboardInterrupt:
                say(aside(), "Stopped by the operator: nothing of this calibration is kept.")
                return Exit.STOPPED
    show_calibration(made.head, made.findings, out(), as_json=as_json)
    return Exit.PASS


def ready(folder: Path, temperature: str | None, *, as_json: bool) -> Exit:
    """Tell what speaks against testing now."""
    from station.cli.terminal import TerminalOperator
    from station.desk import open_desk

    temperature_c = celsius_of(temperature)
    with open_desk(folder) as desk, desk.bench(TerminalOperator("", aside()), lambda event: None) as bench:
        found = bench.readiness(temperature_c)
        calibration = bench.calibration_in_words()
    if as_json:
        reasons = [asdict(reason) for reason in found.reasons]
        soon = [asdict(reason) for reason in found.warnings]
        facts = {
            "ready": found.is_ready,
            "analyzer": found.identity,
            "calibration": calibration,
            "reasons": reasons,
            "warnings": soon,
        }
        print_json(facts, out())
    elif found.is_ready:
        say(out(), f"Ready to test with {found.identity}.", "green")
        if bench.bench.source.value.check_standard is None:
            say(
                out(),
                "bench.yaml names no check standard: nothing checks that the station still measures right.",
            )
        say(out(), f"Calibration of the test ports: {calibration}.")
    else:
        say(out(), "Not ready to test:", "bold red")
        for reason in found.reasons:
            say(out(), f"  {reason.what}")
            say(out(), f"      way out: {reason.way_out}")
    if not as_json:
        for warning in found.warnings:
            say(out(), f"Soon: {warning}.", "yellow")
    return Exit.PASS if found.is_ready else Exit.STATION_FAULT


def celsius_of(temperature: str | None, option: str = "--temperature") -> float | None:
    """The temperature that somebody gave, if any. Raises UserMistake."""
    from station.sequencer.conditions import believed_celsius

    try:
        return believed_celsius(temperature) if temperature else None
    except ValueError as error:
        raise UserMistake(f"{option}: {error}") from error


def _time(text: str | None, now: datetime) -> datetime | None:
    from station.sequencer.conditions import time_of

    try:
        return time_of(text, now.astimezone()) if text else None
    except ValueError as error:
        raise UserMistake(f"--settled-since: {error}") from error


def operator_name(*, may_ask: bool = True) -> str:
    """Ask who is at the bench. Raises UserMistake where nobody may be asked."""
    import typer

    if not may_ask:
        raise UserMistake("give the operator's name with --operator, or leave out --no-input")

    name = str(typer.prompt("Operator", default="", show_default=False, err=True)).strip()
    if not name:
        raise UserMistake(
            "a record needs the name of its operator; give --operator NAME or set STATION_OPERATOR"
        )
    return name


def check(folder: Path, files: tuple[Path, ...], *, as_json: bool) -> Exit:
    """Check files of the works."""
    from station.desk import check_files

    checked = check_files(folder, files)
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
            say(out(), "\n".join(map(str, one.mistakes)) or f"{one.path}: {one.kind}, in order")
    return Exit.MISTAKE if any(one.mistakes for one in checked) else Exit.PASS


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


def certify(folder: Path, serial: str, run_number: int | None, *, as_json: bool) -> None:
    """Make the certificate or failure sheet of a unit."""
    from station.desk import open_desk
    from station.issuing import open_key

    with open_desk(folder) as desk:
        ask = passphrase(desk.works)
        issued = desk.certify(serial, run_number, lambda: open_key(desk.works, ask(), desk.clock()))
    if as_json:
        print_json({**asdict(issued.entry), "path": str(issued.path), "is_new": issued.is_new}, out())
    else:
        when = "" if issued.is_new else f", as issued on {wording.day(issued.entry.issued)}"
        say(out(), f"{issued.entry.kind.capitalize()}: {issued.path}{when}")


def verify(folder: Path, file: Path, trust: tuple[Path, ...], *, as_json: bool) -> Exit:
    """Check a certificate's signature."""
    from station import settings
    from station.cli.verification import show_verification
    from station.desk import now_utc
    from station.issuing import own_certificates, verify_file

    certificates = trust
    if (folder / settings.FILE).exists():
        certificates += own_certificates(settings.load(folder))
    if not certificates:
        say(
            aside(),
            f"Nobody's signature is known here: {folder} is no works folder with a key; use --works or --trust.",
        )
    return show_verification(file, verify_file(file, certificates, now_utc()), out(), as_json=as_json)


def touchstone(folder: Path, serial: str, run_number: int | None, target: Path) -> None:
    """Write the sweeps of a run as Touchstone files."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        for path in desk.touchstone(serial, run_number, target):
            say(out(), str(path))


def try_dialect(folder: Path, power: str, *, as_json: bool) -> Exit:
    """Try the dialect on the connected analyzer."""
    from limits.units import dbm
    from station import settings
    from station.benchwork import try_bench

    try:
        lines = try_bench(settings.load(folder), dbm(power))
    except ValueError as error:
        raise UserMistake(f"--power: {error}") from error
    fine = sum(line.fine for line in lines)
    if as_json:
        print_json([asdict(line) for line in lines], out())
    else:
        for line in lines:
            _show_trial_line(line)
        say(out(), f"{fine} of {len(lines)} understood.", "green" if fine == len(lines) else "bold red")
    return Exit.PASS if fine == len(lines) else Exit.STATION_FAULT


def _show_trial_line(line: TrialLine) -> None:
    answer = f"  ->  {line.answer}" if line.answer else ""
    say(out(), f"{'ok' if line.fine else 'NO'}  {line.sent}{answer}", "" if line.fine else "bold red")
    for error in line.errors:
        say(out(), f"      error queue: {error}")
    if line.advice:
        say(out(), f"      {line.advice}")


def schema(kind: str) -> None:
    """Print the JSON Schema of a kind of file."""
    from limits.formwords import nearest
    from limits.known import schema as known_values_schema
    from limits.table import schema as limit_table_schema
    from station.bench.form import bench_schema
    from station.instruments.dialect import dialect_schema
    from station.measurements.kit import kit_schema
    from station.sequencer.recipe import schema as recipe_schema

    schemas: dict[str, Callable[[], dict[str, object]]] = {
        "recipe": recipe_schema,
        "limit-table": limit_table_schema,
        "bench": bench_schema,
        "dialect": dialect_schema,
        "known-values": known_values_schema,
        "kit": kit_schema,
    }
    if kind not in schemas:
        raise UserMistake(
            f"no schema of '{kind}'{nearest(kind, schemas) or '; there are ' + ', '.join(schemas)}"
        )
    print_json(schemas[kind](), out())


def passphrase(works: Works, *, twice: bool = False) -> Callable[[], str]:
    """Asks for the passphrase only when it is needed."""
    import typer

    from station import settings

    def ask(words: str) -> str:
        with warnings.catch_warnings():
            # Where there is no terminal nobody can look over a shoulder either.
            warnings.simplefilter("ignore", GetPassWarning)
            return str(typer.prompt(words, hide_input=True, confirmation_prompt=twice, err=True))

    return lambda: settings.passphrase(works, os.environ, ask)
