"""What the verbs at the bench do: one call on the desk, then the showing of what came back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits.verdict import Outcome
from station.cli.asking import aside, celsius_of, out
from station.cli.exits import Exit
from station.cli.signing_in import at_bench
from station.cli.tables import print_json, say, there
from station.cli.unit_view import run_facts
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.instruments.trial import TrialLine


def test(
    folder: Path,
    serial: str,
    operator: str,
    temperature: str | None,
    bench_temperature: str | None,
    settled_since: str | None,
    recipe: Path | None,
    reason: tuple[str, str],
    *,
    may_ask: bool,
    as_json: bool,
) -> Exit:
    """Test one unit with a person at the bench; `reason` is the code of a retest, and more words."""
    from station.cli.terminal import RunTeller, TerminalOperator
    from station.desk import open_desk

    temperature_c = celsius_of(temperature)
    bench_c = celsius_of(bench_temperature, "--bench-temperature")
    console = aside() if as_json else out()
    with open_desk(folder) as desk:
        unit = desk.store.unit(serial)
        since = _time(settled_since, desk.clock())
        desk, name = at_bench(desk, operator, may_ask=may_ask)
        with desk.bench(TerminalOperator(name, console, answers=may_ask), RunTeller(console)) as bench:
            try:
                judged = bench.test(
                    unit.serial,
                    temperature_c=temperature_c,
                    bench_c=bench_c,
                    settled_since=since,
                    recipe=recipe,
                    because=reason[0],
                    why=reason[1],
                )
            except KeyboardInterrupt:
                say(aside(), "Stopped by the operator: no verdict; what was swept is kept.")
                return Exit.STOPPED
        if as_json:
            stored = desk.stored_run(serial, judged.key.run_number)
            print_json(run_facts(stored, desk.way_out(stored)), out())
        else:
            what = "resolve" if judged.verdict.outcome is Outcome.UNDECIDED else "certify"
            say(console, f"\nNext: station {what} {unit.serial}{there(folder)}")
    return Exit.of(judged.verdict.outcome)


def _time(text: str | None, now: datetime) -> datetime | None:
    from station.sequencer.conditions import time_of

    try:
        return time_of(text, now.astimezone()) if text else None
    except ValueError as error:
        raise UserMistake(f"--settled-since: {error}") from error


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
        desk, name = at_bench(desk, operator)
        with desk.bench(TerminalOperator(name, console), CalibrationTeller(console)) as bench:
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
        is_anybody, drafts = desk.people.is_anybody, desk.drafts()
    if as_json:
        reasons = [asdict(reason) for reason in found.reasons]
        soon = [asdict(reason) for reason in found.warnings]
        facts = {
            "ready": found.is_ready,
            "analyzer": found.identity,
            "calibration": calibration,
            "reasons": reasons,
            "warnings": soon,
            "rights": is_anybody,
            "drafts": [paper.title for paper in drafts],
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
        if not is_anybody:
            say(out(), "Nobody is registered (station people): whoever is here may do everything.")
        for paper in drafts:
            say(out(), f"A draft, so nothing is tested by it: {paper.title} (station approve).", "yellow")
        for warning in found.warnings:
            say(out(), f"Soon: {warning}.", "yellow")
    return Exit.PASS if found.is_ready else Exit.STATION_FAULT


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
