"""A person at a terminal: told each hook-up, asked for Enter; and the run as it goes, in words."""

from __future__ import annotations

from rich.console import Console

from limits.reading import Reading
from limits.verdict import Decision, Outcome, Verdict
from reports import wording
from station.measurements.sweep import Hookup
from station.sequencer.events import (
    Event,
    HookupAsked,
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
        """Tell the hook-up and wait for Enter. Ctrl-C or the end of input stops the run."""
        if not self._cautioned:
            for caution in CAUTIONS:
                self._console.print(f"  Caution: {caution}", style="yellow", highlight=False)
            self._cautioned = True
        self._console.print(f"\nCable {serial} for {hookup.name}:", style="bold", highlight=False)
        for line in instructions(hookup):
            self._console.print(f"    {line}", highlight=False)
        try:
            self._console.input("  Press Enter when it is tight, Ctrl-C to stop. ")
        except EOFError:
            raise KeyboardInterrupt from None


class RunTeller:
    """Prints the events of a run."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def __call__(self, event: Event) -> None:
        """One event as one line, or none."""
        line = describe(event)
        if line:
            self._console.print(line, highlight=False, soft_wrap=True)


def describe(event: Event) -> str:
    """An event in words; empty for those that need none."""
    match event:
        case RunStarted(serial, run_number, hookups):
            return f"Run {run_number} of {serial}: {wording.count(len(hookups), 'hook-up', 'hook-ups')}."
        case SweepStored(sweep):
            return f"  {sweep.hookup.name}: {len(sweep.freq_hz)} points swept and stored in {sweep.took_s:.2f} s."
        case ReadingMade(Reading() as reading):
            return f"  {reading.title}: {wording.printed(reading) or reading.note}"
        case VerdictReached(verdict):
            return "\n".join([f"{wording.headline(verdict.outcome)}.", *shortfalls(verdict)])
        case RunBroken(why):
            return f"No verdict. {why}"
        case HookupAsked() | ReadingMade():
            return ""


def shortfalls(verdict: Verdict) -> list[str]:
    """One line for each decision that keeps the verdict from a pass."""
    return [
        f"  {decision.reading.title}: {_found(decision)}; {decision.level} {decision.limit_text}"
        for decision in verdict.decisions
        if decision.outcome is not Outcome.PASS
    ]


def _found(decision: Decision) -> str:
    return f"{wording.judged(decision) or decision.reading.note}, {wording.margin(decision)}"
