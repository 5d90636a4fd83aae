"""Try a dialect on the connected instrument: each command by itself, what it answered, what to do about it.

Goes on after a mistake, since the next commands tell as much; ends early only when nobody answers any more.
The sweep is small and its power low, at most -10 dBm, whatever is connected.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from limits.reading import FloatArray
from station.errors import Garbled, Gone, InstrumentFault, Refused, Silent, Unreachable
from station.instruments.analyzer import Ability
from station.instruments.block import split_answers
from station.instruments.dialect import Dialect, same_answer, words_for
from station.instruments.link import Link
from station.instruments.sweeping import timeout_for
from station.measurements.sweep import SweepSettings

SAFE_POWER_DBM = -20.0
MOST_POWER_DBM = -10.0
"""Up to here harmless to any receiver that may be connected; common practice, no source."""

_MOST_POINTS = 11
_BANDWIDTH_HZ = 100.0
_AVERAGES = 4
_SHOWN = 80


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One command and what came of it."""

    sent: str
    answer: str = ""
    """What came back, shortened; numbers are counted."""

    errors: tuple[str, ...] = ()
    """What was in the error queue afterwards."""

    fine: bool = True
    advice: str = ""
    """What to do about it; empty when all is well."""


def try_dialect(
    link: Link,
    dialect: Dialect,
    ability: Ability,
    *,
    identity: str = "",
    power_dbm: float = SAFE_POWER_DBM,
) -> tuple[TrialLine, ...]:
    """Every command of a dialect tried on the instrument at the other end, in the order of a sweep.

    `identity` is what the bench file says must be in the `*IDN?` answer. Raises ValueError above MOST_POWER_DBM.
    """
    if power_dbm > MOST_POWER_DBM:
        raise ValueError(
            f"a trial does not know what is connected, so its power is at most {MOST_POWER_DBM:g} dBm, "
            f"not {power_dbm:g} dBm"
        )
    return tuple(_Trial(link, dialect, ability, identity, power_dbm).lines())


class _Trial:
    def __init__(
        self, link: Link, dialect: Dialect, ability: Ability, identity: str, power_dbm: float
    ) -> None:
        self._link = link
        self._dialect = dialect
        self._expected = identity
        self._settings = SweepSettings(_BANDWIDTH_HZ, _AVERAGES, power_dbm)
        self._freq_hz = _few_frequencies(ability)
        self._told_s = 0.0

    def lines(self) -> Iterator[TrialLine]:
        """One line a command; stops after the first that finds nobody."""
        understood = True
        try:
            for step in self._steps():
                line = step()
                # Another instrument than the expected one may speak the dialect all the same.
                understood &= line.fine or line.sent == "*IDN?"
                yield line
            if understood and (averaging := self._averaging()):
                yield averaging
        except Unreachable as fault:
            yield _line_of(fault)

    def _steps(self) -> Iterator[Callable[[], TrialLine]]:
        dialect, words = self._dialect, words_for(self._settings, self._freq_hz)
        yield self._identity
        yield self._old_errors
        for command in (*dialect.prepare(), *dialect.arrange(words)):
            yield self._command(command)
        for ask, expected in dialect.checks(words):
            yield self._check(ask, expected)
        if dialect.form.sweep_time:
            yield self._sweep_time
        path = dialect.path(2, 1)
        for command in (*dialect.choose(path), *dialect.form.start):
            yield self._command(command)
        yield self._wait
        yield lambda: self._fetch(dialect.fetch(path))

    def _identity(self) -> TrialLine:
        def judge(answer: str) -> str:
            if (wanted := self._dialect.form.identity) not in answer:
                return f"the dialect is for instruments whose identity has {wanted!r}"
            if self._expected not in answer:
                return (
                    f"the bench file expects an identity with {self._expected!r}: write a part of this answer "
                    "there, or connect the instrument it names"
                )
            return ""

        return self._asked("*IDN?", judge, ask=lambda _question: self._link.identify())

    def _old_errors(self) -> TrialLine:
        """What lay in the queue before the trial is nobody's mistake here."""
        question = self._dialect.form.errors
        try:
            found = self._link.errors()
        except Unreachable:
            raise
        except InstrumentFault as fault:
            return _line_of(fault)
        return TrialLine(question, "; ".join(found) or "empty")

    def _command(self, command: str) -> Callable[[], TrialLine]:
        def step() -> TrialLine:
            try:
                self._link.tell(command)
                errors = self._link.errors()
            except Unreachable:
                raise
            except InstrumentFault as fault:
                return _line_of(fault, command)
            return TrialLine(command, "", errors, not errors, _advice_on(errors))

        return step

    def _check(self, ask: str, expected: str) -> Callable[[], TrialLine]:
        def judge(answer: str) -> str:
            if same_answer(answer, expected):
                return ""
            return f"{_short(expected)} was ordered: beyond the instrument's range, or set by another command"

        return lambda: self._asked(ask, judge)

    def _sweep_time(self) -> TrialLine:
        def judge(answer: str) -> str:
            try:
                self._told_s = float(answer)
            except ValueError:
                return "a number of seconds was expected; leave sweep_time out if there is no such question"
            return ""

        return self._asked(self._dialect.form.sweep_time, judge)

    def _wait(self) -> TrialLine:
        points = self._freq_hz.size
        timeout_s = timeout_for(points, self._settings, self._told_s, self._link.patience_s)
        return self._asked(
            self._dialect.form.wait, lambda _answer: "", ask=lambda each: self._link.ask(each, timeout_s)
        )

    def _fetch(self, question: str) -> TrialLine:
        points = self._freq_hz.size

        def ask(question: str) -> str:
            if self._dialect.form.paths == "none":
                powers_dbm = self._link.ask_numbers(question, self._dialect.numbers, points)
                return f"{points} powers, the largest {powers_dbm.max():.1f} dBm"
            values = self._link.ask_numbers(question, self._dialect.numbers, 2 * points).view(np.complex128)
            largest_db = 20 * np.log10(max(float(np.abs(values).max()), 1e-20))
            return f"{points} complex numbers, the largest {largest_db:.1f} dB"

        return self._asked(question, lambda _answer: "", ask=ask)

    def _averaging(self) -> TrialLine | None:
        """Whether one start takes as many sweeps as averages; None where that cannot be told from the time."""
        sent = "; ".join(self._dialect.form.start)
        try:
            one_s, all_s = (self._seconds_a_start(averages) for averages in (1, _AVERAGES))
        except Unreachable:
            raise
        except InstrumentFault as fault:
            return _line_of(fault, sent)
        # An analyzer that sweeps at once, as in a rehearsal, tells nothing.
        if one_s < 0.5 * self._freq_hz.size / _BANDWIDTH_HZ:
            return None
        answer = f"one start took {one_s:.2f} s without averaging, {all_s:.2f} s with {_AVERAGES} averages"
        # Half-way between one sweep's time and that of all, as a ratio.
        fine = all_s > _AVERAGES**0.5 * one_s
        return TrialLine(sent, answer, (), fine, "" if fine else _ONE_SWEEP_ONLY)

    def _seconds_a_start(self, averages: int) -> float:
        settings = SweepSettings(_BANDWIDTH_HZ, averages, self._settings.power_dbm)
        self._link.order(self._dialect.arrange(words_for(settings, self._freq_hz)))
        timeout_s = timeout_for(self._freq_hz.size, settings, self._told_s, self._link.patience_s)
        begun = time.monotonic()
        self._link.order(self._dialect.form.start, (self._dialect.form.wait,), timeout_s)
        return time.monotonic() - begun

    def _asked(
        self, question: str, judge: Callable[[str], str], ask: Callable[[str], str] | None = None
    ) -> TrialLine:
        try:
            answer = (ask or self._link.ask)(question)
            errors = self._link.errors()
        except Unreachable:
            raise
        except InstrumentFault as fault:
            return _line_of(fault, question)
        advice = _advice_on(errors) or judge(answer)
        return TrialLine(question, _short(answer), errors, not advice, advice)


def _few_frequencies(ability: Ability) -> FloatArray:
    """A few whole hertz in the middle of what the analyzer can do. Shape (n,)."""
    span_hz = ability.high_hz - ability.low_hz
    start_hz, stop_hz = ability.low_hz + 0.4 * span_hz, ability.low_hz + 0.6 * span_hz
    return np.round(np.linspace(start_hz, stop_hz, min(_MOST_POINTS, ability.most_points)))


def _line_of(fault: InstrumentFault, sent: str = "") -> TrialLine:
    if isinstance(fault, Refused):
        errors = split_answers(fault.answer)
        return TrialLine(sent or fault.command, "", errors, False, _advice_on(errors))
    advice = next(words for kind, words in _ADVICE if isinstance(fault, kind))
    return TrialLine(sent or fault.command, fault.answer or fault.what, (), False, advice)


def _advice_on(errors: tuple[str, ...]) -> str:
    """By the classes of SCPI-1999 vol. 2, 21.8 (section from memory): the hundreds say whose mistake it is."""
    if not errors:
        return ""
    number = re.match(r"\s*([+-]?\d+)", errors[0])
    hundreds = -int(number[1]) // 100 if number else 0
    return _BY_HUNDREDS.get(hundreds, "the maker's own error number: see the instrument's manual")


_ONE_SWEEP_ONLY = (
    "it seems to take one sweep a start, whatever the averages, so readings would be noisier than told: look in "
    "its manual for the count of sweeps a trigger takes (SCPI has SENS:SWE:COUN) and set it to {averages}"
)

_BY_HUNDREDS = {
    1: "it does not understand the command: compare its spelling with the instrument's manual",
    2: "it understands but cannot do it: the value is out of range, or another setting stands in the way",
    3: "the instrument itself reports trouble: see its screen and its manual",
    4: "question and answer are out of step: a question in the wrong place, or a command that answers",
}

_ADVICE: tuple[tuple[type[InstrumentFault], str], ...] = (
    (Unreachable, "check the address, the cable, and that remote control is switched on"),
    (Silent, "it gave no answer: compare the question with the manual, and the line end with the dialect"),
    (Gone, "it closed the connection: another program may hold it"),
    (Garbled, "the answer makes no sense: check the form and order of numbers in the dialect"),
    (InstrumentFault, "see the instrument's manual"),
)


def _short(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
