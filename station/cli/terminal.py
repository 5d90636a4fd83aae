"""A person at a terminal: told each hook-up, asked for Enter; and the run as it goes, in words."""

from __future__ import annotations

from itertools import groupby

from rich.console import Console

from limits.reading import Reading
from limits.verdict import Decision, Outcome, Verdict
from reports import wording
from station.cli.tables import say, verdict_style
from station.measurements.correction import ALLOWED_DISAGREEMENT
from station.measurements.sweep import Hookup
from station.sequencer.events import (
    Event,
    HookupAsked,
    HookupDoubted,
    LoadsTakenOut,
    ReadingMade,
    RunBroken,
    RunStarted,
    SweepStored,
    VerdictReached,
)
from station.sequencer.operator import CAUTIONS, instructions


class TerminalOperator:
    """Asks the person at the keyboard to cable the unit."""

    def __init__(self, name: str, console: Console) -> None:
        self.name = name
        self._console = console
        self._cautioned = False

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        """Tell the hook-up and wait for Enter alone. Ctrl-C or the end of input stops the run."""
        if not self._cautioned:
            for caution in CAUTIONS:
                say(self._console, f"Caution: {caution}", "yellow", wrap=True)
            self._cautioned = True
        say(self._console, f"\nCable {serial} for {hookup.name}:", "bold")
        self._wait_for(hookup, "Press Enter when it is tight, Ctrl-C to stop.")

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        """Tell why the sweep is not believed and the hook-up once more, and wait for Enter alone."""
        say(self._console, f"\nSomething looks wrong with {serial}: {reason}", "yellow")
        say(self._console, f"Look at {hookup.name} again:", "bold")
        self._wait_for(hookup, "Press Enter to sweep again, Ctrl-C to stop.")

    def _wait_for(self, hookup: Hookup, asked: str) -> None:
        for line in instructions(hookup):
            say(self._console, f"    {line}")
        try:
            while self._console.input(f"  {asked} "):
                say(self._console, "  Enter alone goes on.")
        except EOFError:
            raise KeyboardInterrupt from None


class RunTeller:
    """Prints the events of a run."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def __call__(self, event: Event) -> None:
        """One event in a line or a few, or none."""
        if isinstance(event, VerdictReached):
            outcome = event.verdict.outcome
            say(self._console, f"\n{wording.headline(outcome)}.", verdict_style(outcome.value))
        if text := describe(event):
            say(self._console, text, wrap=True)


def describe(event: Event) -> str:
    """An event in words; empty for those that need none, or whose words come from elsewhere."""
    match event:
        case RunStarted(serial, run_number, hookups):
            return f"Run {run_number} of {serial}: {wording.count(len(hookups), 'hook-up', 'hook-ups')}."
        case SweepStored(sweep):
            return f"  {sweep.hookup.name}: {len(sweep.freq_hz)} points swept and stored in {sweep.took_s:.2f} s."
        case LoadsTakenOut(found):
            return (
                f"  Loads taken out; what was measured twice agrees within {found.largest:.4f} "
                f"(at {found.port}; {ALLOWED_DISAGREEMENT:g} is allowed)."
            )
        case ReadingMade(Reading() as reading):
            return f"  {reading.title}: {wording.printed(reading) or reading.note}"
        case VerdictReached(verdict):
            return "\n".join(shortfalls(verdict))
        case HookupDoubted() | RunBroken() | HookupAsked() | ReadingMade():
            return ""


def shortfalls(verdict: Verdict) -> list[str]:
    """A line for each characteristic that keeps the verdict from a pass, its limits behind it."""
    return [
        _shortfall(list(decisions))
        for _, decisions in groupby(
            (decision for decision in verdict.decisions if decision.outcome is not Outcome.PASS),
            key=lambda decision: decision.reading.name,
        )
    ]


def _shortfall(decisions: list[Decision]) -> str:
    first = decisions[0]
    limits = ", ".join(f"{decision.level} {decision.limit_text}" for decision in decisions)
    found = wording.judged(first) or f"no reading, {first.reading.note}"
    return f"  {Verdict(tuple(decisions)).outcome}: {first.reading.title}: {found} ({limits})"
