"""Calibrating a vector bench by short, open, load and through, and finding out how well that went.

What can be told from sweeps alone is told: a standard that cannot be what it should be, the same one twice, one on
the other port, open and short exchanged. Not told: a standard that is worn, or another kit's; and an open that was
left out where the bare end of the cable reads like one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from limits.reading import FloatArray
from station.measurements.calibration import ErrorTerms, Standards, corrected, error_terms
from station.measurements.kit import Kit, Reflect
from station.measurements.noise import measured_noise
from station.measurements.standards import (
    Findings,
    Residual,
    Standard,
    StandardDoubt,
    Step,
    Swept,
    Use,
    ports_in_words,
)
from station.measurements.sweep import ComplexArray, Hookup, Sweep

STRONG = 0.5
"""What an open, a short or a bare end reflects at least, through a cable that takes up to 6 dB there and back."""

WEAK = 0.3
"""What a load or a through reflects at most, read by ports of 10 dB and better."""

PASSED = 0.1
"""What goes through a through at least, and between ports that have nothing to do with each other at most."""

MOST_TURN_DEG = 10.0
"""By how much a short or a through may have turned when it is put on again: what bent cables do is a few degrees."""

_SHORT_AND_OPEN: tuple[Reflect, ...] = ("short", "open")
_REFLECTS: tuple[Reflect, ...] = (*_SHORT_AND_OPEN, "load")


@dataclass(frozen=True)
class VectorProcedure:
    """Of an analyzer whose test ports are all calibrated together."""

    hookups: tuple[Hookup, ...]
    """What the bench sweeps with these ports."""

    kit: Kit
    largest_step_hz: float
    repeats_within_db: float
    """How far below a full wave a standard that is connected again may be off."""

    @property
    def ports(self) -> tuple[int, ...]:
        """Counted from 1."""
        return tuple(range(1, len(self.hookups[0].ports) + 1))

    @property
    def steps(self) -> tuple[Step, ...]:
        """Short, open, load on each port, the throughs; load, short and throughs again; all ports terminated."""
        throughs: list[Step] = []
        for pair in combinations(self.ports, 2):
            throughs.append(self._step("through", pair, Use.CALIBRATE))
        throughs.append(self._step("through", throughs[-1].ports, Use.TRACE))
        return (
            *(self._step(kind, (port,), Use.CALIBRATE) for port in self.ports for kind in _REFLECTS),
            *throughs,
            *(self._step(kind, (port,), Use.VERIFY) for port in self.ports for kind in ("load", "short")),
            *(self._step("through", pair, Use.VERIFY) for pair in combinations(self.ports, 2)),
            self._step("terminated", self.ports, Use.FLOOR),
        )

    def doubt(self, step: Step, swept: Swept) -> StandardDoubt | None:
        """Why this standard cannot be what it should be."""
        return next(self._wrong(step, swept), None)

    def conclude(self, swept: Swept) -> Findings | StandardDoubt:
        """Error terms, how well they repeat, and the noise."""
        read = {step: sweeps[0].s for step, sweeps in swept.items() if step.use is Use.CALIBRATE}
        terms = error_terms(self._standards(swept), self.kit, self.largest_step_hz)
        if terms.too_coarse:
            return StandardDoubt(terms.too_coarse, ())
        if doubt := self._exchanged(read, terms):
            return doubt
        residuals = tuple(self._residuals(swept, terms))
        for residual in residuals:
            if residual.value_db < self.repeats_within_db or residual.turn_deg > MOST_TURN_DEG:
                return self._does_not_repeat(residual)
        noise = tuple(measured_noise(*pair) for pair in zip(*self._noisy(swept, terms), strict=True))
        return Findings(dict.fromkeys(self.hookups, terms), residuals, noise)

    def _step(self, standard: Standard, ports: tuple[int, ...], use: Use) -> Step:
        return Step(standard, ports, use, self.hookups[0])

    def _wrong(self, step: Step, swept: Swept) -> Iterator[StandardDoubt]:
        s = swept[step][0].s
        words: Iterator[str] = iter(())
        if step.standard == "through":
            words = self._does_not_pass(step, s)
        elif touching := [pair for pair in combinations(self.ports, 2) if _passes(s, pair)]:
            words = iter(
                [f"{ports_in_words(touching[0])} are connected with each other; take the through away"]
            )
        for why in (*words, *self._reflects_wrongly(step, s)):
            yield StandardDoubt(why, (step,))
        if step.standard in _SHORT_AND_OPEN and step.use is Use.CALIBRATE:
            yield from self._same_twice(step, swept)

    def _does_not_pass(self, step: Step, s: ComplexArray) -> Iterator[str]:
        if not (_passes(s, step.ports) and _passes(s, step.ports[::-1])):
            yield f"nothing goes through between {ports_in_words(step.ports)}; is the through on both?"

    def _reflects_wrongly(self, step: Step, s: ComplexArray) -> Iterator[str]:
        strong = step.standard in _SHORT_AND_OPEN
        for port in step.ports:
            size = _size(s, port, port)
            if strong and size < STRONG:
                yield f"what is on port {port} reflects too little for {_noun(step)}; is it one, and tight?"
            if strong or size <= WEAK:
                continue
            others = [other for other in self.ports if _size(s, other, other) <= WEAK]
            if others and step.standard == "load":
                yield f"the load seems to sit on port {others[0]}, not on port {port}"
            yield f"what is on port {port} reflects too much for {_noun(step)}; is it one, and tight?"

    def _same_twice(self, step: Step, swept: Swept) -> Iterator[StandardDoubt]:
        (port,) = step.ports
        before = self._step("open" if step.standard == "short" else "short", step.ports, Use.CALIBRATE)
        if before not in swept:
            return
        here, there = swept[step][0].s, swept[before][0].s
        change = [_median((here - there)[:, place, place]) for place in range(len(self.ports))]
        if change[port - 1] > 0.5 * _size(there, port, port):
            return
        moved = [other for other in self.ports if other != port and change[other - 1] > 0.5]
        hint = f"one of them seems to sit on port {moved[0]}" if moved else "is the same one on it twice?"
        words = f"{before.standard} and {step.standard} on port {port} read the same; {hint}"
        yield StandardDoubt(words, (before, step))

    def _standards(self, swept: Swept) -> Standards:
        reflections: dict[tuple[Reflect, int], ComplexArray] = {}
        for kind in _REFLECTS:
            for port in self.ports:
                s = swept[self._step(kind, (port,), Use.CALIBRATE)][0].s
                reflections[kind, port] = s[:, port - 1, port - 1]
        throughs = {
            pair: _between(swept[self._step("through", pair, Use.CALIBRATE)][0].s, pair)
            for pair in combinations(self.ports, 2)
        }
        return Standards(self._freq(swept), reflections, throughs)

    def _freq(self, swept: Swept) -> FloatArray:
        return swept[self.steps[0]][0].freq_hz

    def _exchanged(self, read: Mapping[Step, ComplexArray], terms: ErrorTerms) -> StandardDoubt | None:
        """Whether open and short were exchanged, by two signs that must agree.

        Exchanged on one port, they turn the sign of its reflection tracking; and of two ports the products of
        reflection and of transmission trackings are the same wave, there and back. Which port it is tells its bare
        end, seen while the other port was at work: that reads like an open.
        """
        unlike_open = {port: self._bare_is_no_open(read, port) for port in self.ports}
        suspects = {port for port, unlike in unlike_open.items() if unlike}
        for first, second in combinations(self.ports, 2):
            there = terms.reflection_tracking(first) * terms.reflection_tracking(second)
            back = terms.transmission_tracking(first, second) * terms.transmission_tracking(second, first)
            odd = float(np.median((there * np.conj(back)).real)) < 0
            wrong = tuple(port for port in (first, second) if port in suspects)
            signs_agree = odd == (len(wrong) == 1)
            if (signs_agree and wrong) or (odd and not signs_agree):
                where = ports_in_words(wrong) if signs_agree else f"one of {ports_in_words((first, second))}"
                again = tuple(
                    self._step(kind, (port,), Use.CALIBRATE)
                    for port in (wrong if signs_agree else (first, second))
                    for kind in _SHORT_AND_OPEN
                )
                return StandardDoubt(f"open and short seem to be exchanged on {where}", again)
        return None

    def _bare_is_no_open(self, read: Mapping[Step, ComplexArray], port: int) -> bool:
        place = port - 1
        bare = [
            s[:, place, place]
            for step, s in read.items()
            if port not in step.ports and _size(s, port, port) > STRONG
        ]
        if not bare:
            return False
        ends = (read[self._step(kind, (port,), Use.CALIBRATE)][:, place, place] for kind in ("open", "short"))
        from_open, from_short = (_median(end - bare[0]) for end in ends)
        return from_short < from_open

    def _residuals(self, swept: Swept, terms: ErrorTerms) -> Iterator[Residual]:
        for step in self.steps:
            if step.use is not Use.VERIFY:
                continue
            sweep = swept[step][0]
            s, freq_hz = corrected(sweep, terms).s, sweep.freq_hz
            if step.standard == "through":
                first, second = step.ports
                pair, known = _between(s, step.ports), self.kit.through(freq_hz)
                yield _weak("match", first, pair[:, 0, 0] - known[:, 0, 0], freq_hz)
                yield _weak("match", second, pair[:, 1, 1] - known[:, 1, 1], freq_hz)
                yield _strong("transmission", second, pair[:, 1, 0] / known[:, 1, 0], freq_hz)
                yield _strong("transmission", first, pair[:, 0, 1] / known[:, 0, 1], freq_hz)
                continue
            (port,) = step.ports
            seen = s[:, port - 1, port - 1]
            if step.standard == "load":
                yield _weak("directivity", port, seen - self.kit.reflection("load", freq_hz), freq_hz)
            else:
                yield _strong("reflection", port, seen / self.kit.reflection("short", freq_hz), freq_hz)

    def _does_not_repeat(self, residual: Residual) -> StandardDoubt:
        standard: dict[str, Standard] = {"directivity": "load", "reflection": "short"}
        name = standard.get(residual.what, "through")
        steps = tuple(
            step
            for step in self.steps
            if step.standard == name
            and residual.port in step.ports
            and step.use in (Use.CALIBRATE, Use.VERIFY)
        )
        asked = f"asked for is at least {self.repeats_within_db:g} dB"
        how_much = f"{residual.what} is {residual.value_db:.1f} dB, {asked}"
        if residual.turn_deg > MOST_TURN_DEG:
            how_much = f"{residual.what} has turned by {residual.turn_deg:.0f} degrees"
        words = (
            f"the {name} does not read the same when it is put on port {residual.port} again: {how_much}; "
            "clean and tighten it"
        )
        return StandardDoubt(words, steps)

    def _noisy(self, swept: Swept, terms: ErrorTerms) -> tuple[list[list[Sweep]], list[list[Sweep]]]:
        """The sweeps of the terminated ports and those of the through, corrected, by their settings."""
        groups: tuple[list[list[Sweep]], list[list[Sweep]]] = ([], [])
        for use, group in ((Use.FLOOR, groups[0]), (Use.TRACE, groups[1])):
            by_settings: dict[object, list[Sweep]] = {}
            for step in self.steps:
                if step.use is use:
                    for sweep in swept[step]:
                        ends = corrected(sweep, terms)
                        between = replace(ends, s=_between(ends.s, step.ports))
                        by_settings.setdefault(sweep.settings, []).append(between)
            group += by_settings.values()
        return groups


def _weak(what: str, port: int, off: ComplexArray, freq_hz: FloatArray) -> Residual:
    """What is left of a wave that should not be there."""
    return _residual(what, port, np.abs(off), 0.0, freq_hz)


def _strong(what: str, port: int, ratio: ComplexArray, freq_hz: FloatArray) -> Residual:
    """By how much the size of a wave is off; its phase, which cables turn when they are bent, is told apart."""
    turn_deg = float(np.degrees(np.abs(np.angle(ratio)).max()))
    return _residual(what, port, np.abs(np.abs(ratio) - 1), turn_deg, freq_hz)


def _residual(what: str, port: int, off: FloatArray, turn_deg: float, freq_hz: FloatArray) -> Residual:
    worst = int(np.argmax(off))
    value_db = float(-20 * np.log10(max(off[worst], 1e-15)))
    return Residual(what, port, value_db, float(freq_hz[worst]), turn_deg)


def _between(s: ComplexArray, ports: tuple[int, ...]) -> ComplexArray:
    used = [port - 1 for port in ports]
    return np.asarray(s[:, used][:, :, used], dtype=np.complex128)


def _size(s: ComplexArray, to: int, source: int) -> float:
    return _median(s[:, to - 1, source - 1])


def _median(waves: ComplexArray) -> float:
    return float(np.median(np.abs(waves)))


def _noun(step: Step) -> str:
    return {"open": "an open", "terminated": "a termination"}.get(step.standard, f"a {step.standard}")


def _passes(s: ComplexArray, ports: tuple[int, ...]) -> bool:
    return _size(s, *ports) > PASSED
