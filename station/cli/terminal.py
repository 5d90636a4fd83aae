"""A person at a terminal: told each hook-up, asked for Enter; and the run as it goes, in words."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from datetime import datetime
from itertools import groupby
from typing import TypeVar

from rich.console import Console

from limits.reading import Reading
from limits.units import seconds_text
from limits.verdict import Decision, Outcome, Verdict
from reports import wording
from station.cli.care_view import again_lines
from station.cli.tables import say, verdict_style
from station.measurements.correction import ALLOWED_DISAGREEMENT
from station.measurements.standards import Standard
from station.measurements.sweep import Hookup
from station.sequencer.conditions import believed_celsius, time_of
from station.sequencer.events import (
    ConnectionSwept,
    Event,
    LoadsTakenOut,
    ReadingMade,
    RunStarted,
    SweepStored,
    SweptAgain,
    VerdictReached,
    Warned,
)
from station.sequencer.operator import (
    CALIBRATION_CAUTIONS,
    CAUTIONS,
    instructions,
    standard_instruction,
)

T = TypeVar("T")


class TerminalOperator:
    """Asks the person at the keyboard to cable the unit."""

    def __init__(
        self,
        name: str,
        console: Console,
        *,
        answers: bool = True,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        """`answers` tells whether the person may be asked anything but the hook-ups."""
        self.name = name
        self._console = console
        self._cautioned = False
        self.answers = answers
        self._sleep = sleep

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

    def reconnect(self, serial: str, hookup: Hookup, place: str) -> None:
        """Tell which connection this is and wait for Enter alone."""
        say(
            self._console, f"\nConnection {place}: take every cable off {serial} and put it on again:", "bold"
        )
        self._wait_for(hookup, "Press Enter when it is tight, Ctrl-C to stop.")

    def settled_since(self, serial: str, asked_s: float, now: datetime) -> datetime:
        """Ask for the time of day at which the unit was laid there; Enter alone means now."""
        local = now.astimezone()
        question = (
            f"{serial} must lie at the bench for {seconds_text(asked_s)}. Since when has it? "
            "(a time like 10:20; Enter for since now) "
        )
        return self._answer(question, lambda text: time_of(text, local) if text else local)

    def wait(self, serial: str, left_s: float) -> None:
        """Say how long, and sleep."""
        left = seconds_text(left_s)
        say(self._console, f"{serial} must lie at the bench for {left} more; waiting. Ctrl-C to stop.")
        self._sleep(math.ceil(left_s))

    def temperature_c(self, serial: str) -> float:
        """Ask for the unit's temperature."""
        return self._answer(f"Temperature of {serial} now? (like 23.4 °C) ", believed_celsius)

    def _answer(self, question: str, understand: Callable[[str], T]) -> T:
        """What somebody answers, asked until it is understood. The end of input stops the run."""
        while True:
            try:
                return understand(self._console.input(question).strip())
            except ValueError as error:
                say(self._console, f"  {error}")
            except EOFError:
                raise KeyboardInterrupt from None

    def connect(self, standard: Standard, ports: tuple[int, ...]) -> None:
        """Tell which standard goes where and wait for Enter alone. Ctrl-C or the end of input stops."""
        if not self._cautioned:
            for caution in CALIBRATION_CAUTIONS:
                say(self._console, f"Caution: {caution}", "yellow", wrap=True)
            self._cautioned = True
        say(self._console, f"\nConnect {standard_instruction(standard, ports)}.", "bold")
        self._wait("Press Enter when it is tight, Ctrl-C to stop.")

    def connect_again(self, standard: Standard, ports: tuple[int, ...], reason: str) -> None:
        """Tell why the standard is not believed and where it goes once more, and wait for Enter alone."""
        say(self._console, f"\nSomething looks wrong: {_sentence(reason)}", "yellow", wrap=True)
        say(self._console, f"Connect once more {standard_instruction(standard, ports)}.", "bold")
        self._wait("Press Enter to sweep again, Ctrl-C to stop.")

    def tries_on(self, reason: str, tries: int) -> bool:
        """Enter alone goes on; any other word, or the end of input, gives the calibration up."""
        say(
            self._console, f"\nStill wrong after {tries} more tries: {_sentence(reason)}", "yellow", wrap=True
        )
        say(self._console, "Exchange or clean what is worn; everything else of this calibration is kept.")
        try:
            return not self._console.input("  Press Enter to try once more, type no to give it up: ").strip()
        except EOFError:
            return False

    def _wait_for(self, hookup: Hookup, asked: str) -> None:
        for line in instructions(hookup):
            say(self._console, f"    {line}")
        self._wait(asked)

    def _wait(self, asked: str) -> None:
        try:
            while self._console.input(f"  {asked} "):
                say(self._console, "  Enter alone goes on.")
        except EOFError:
            raise KeyboardInterrupt from None


def _sentence(words: str) -> str:
    return words if words.endswith("?") else f"{words}."


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
        case Warned(what):
            return f"Soon: {what}."
        case SweepStored(sweep):
            return f"  {sweep.hookup.name}: {len(sweep.freq_hz)} points swept and stored in {sweep.took_s:.2f} s."
        case ConnectionSwept(sweep):
            return f"  {sweep.hookup.name}: {len(sweep.freq_hz)} points swept in {sweep.took_s:.2f} s."
        case SweptAgain():
            return "\n".join(again_lines(event))
        case LoadsTakenOut(found):
            return (
                f"  Loads taken out; what was measured twice agrees within {found.largest:.4f} "
                f"(at {found.port}; {ALLOWED_DISAGREEMENT:g} is allowed)."
            )
        case ReadingMade(Reading() as reading):
            return f"  {reading.title}: {wording.printed(reading) or reading.note}"
        case VerdictReached(verdict):
            return "\n".join(shortfalls(verdict))
        case _:
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
