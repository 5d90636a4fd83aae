"""The judgement on a check standard: does the station read what is known, and what it has always read?

Two criteria for each known value, each a decision of its own:

* against the known value: the normalised error |x - known| / sqrt(U^2 + U_known^2), E_n, is at most 1 (ISO 13528
  and ISO/IEC 17043, clauses from memory). A U that nobody evaluated counts as none, which is the stricter.
* against the station's own history (`limits.control`), once it is long enough: what has changed is seen long before
  it becomes as large as the uncertainty that the station states.

A standard's decisions carry the two levels of any decision: what its certificate promises is its specification,
what the station itself expects is the works limit. A reading that is only a bound is no number: it can contradict a
known value but never confirm one, and it has no place in a history.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from limits.control import ControlLimits, individuals
from limits.known import KnownValue
from limits.reading import Claim, Curve, Reading
from limits.verdict import Decision, Level, LimitLine, Outcome, Verdict

RULE_KNOWN = "E_n at most 1"
RULE_OWN = "individuals chart of its own history"

LEAST_SHARE_OF_U = 0.5
"""Of a reading's U, as half of the least width: its standard uncertainty. A history that is quieter than that, since
the cables happened to lie still, says nothing against a later reading within it."""

LEAST_DB = 0.01
"""Half of the least width where U was not evaluated: the last digit in which levels are printed."""


@dataclass(frozen=True, slots=True)
class History:
    """What the station has read on the standard until now."""

    values: Mapping[str, Sequence[float]]
    """Of the accepted checks, by name, the first one first; bounds left out."""

    enough: int
    """From how many values on they set limits; two at least."""

    together: int = 1
    """How many charts are looked at at once."""

    def limits(self, reading: Reading) -> ControlLimits | None:
        """What limits the history sets to a reading; None while it is too short."""
        values = self.values.get(reading.name, ())
        if len(values) < self.enough:
            return None
        return individuals(values, least_half_width(reading), self.together)


def least_half_width(reading: Reading) -> float:
    """Half of the width that control limits of a reading have at least, dB."""
    return LEAST_DB if reading.u is None else max(LEAST_DB, LEAST_SHARE_OF_U * reading.u)


def allowed(reading: Reading, known: KnownValue) -> float:
    """How far a reading may be from the known value, dB: sqrt(U^2 + U_known^2)."""
    return math.hypot(reading.u or 0.0, known.u_db)


def normalised_error(reading: Reading, known: KnownValue) -> float | None:
    """E_n of a reading, signed; None where it has no number."""
    if reading.value is None or reading.claim is not Claim.VALUE:
        return None
    return (reading.value - known.value_db) / allowed(reading, known)


def judge_check(
    known: Mapping[str, KnownValue], readings: Iterable[Reading | Curve], history: History
) -> Verdict:
    """One or two decisions for every known value. What was not measured is undecided, and so never passes."""
    by_name = {reading.name: reading for reading in readings if isinstance(reading, Reading)}
    return Verdict(
        tuple(
            decision
            for name, value in known.items()
            for decision in _decisions(by_name.get(name) or _not_measured(name), value, history)
        )
    )


def _decisions(reading: Reading, known: KnownValue, history: History) -> Iterator[Decision]:
    yield _against_known(reading, known)
    limits = history.limits(reading)
    if limits is not None and reading.value is not None and reading.claim is Claim.VALUE:
        yield _against_own(reading, reading.value, limits)


def _against_known(reading: Reading, known: KnownValue) -> Decision:
    margin: float | None = None
    outcome = Outcome.UNDECIDED
    if reading.value is not None:
        error, room = reading.value - known.value_db, allowed(reading, known)
        if reading.claim is Claim.VALUE:
            margin = room - abs(error)
            outcome = Outcome.PASS if margin >= 0 else Outcome.FAIL
        elif error > room:
            margin, outcome = room - error, Outcome.FAIL
        else:
            what = "only a bound was read, which confirms nothing"
            reading = replace(reading, note="; ".join(filter(None, (reading.note, what))))
    return Decision(reading, Level.SPECIFICATION, known.text, RULE_KNOWN, outcome, margin)


def _against_own(reading: Reading, value: float, limits: ControlLimits) -> Decision:
    room = limits.room(value)
    outcome = Outcome.PASS if room >= 0 else Outcome.FAIL
    words = f"{limits.low:.3f} to {limits.high:.3f} dB"
    return Decision(reading, Level.WORKS, words, RULE_OWN, outcome, room, (_line(reading, limits),))


def _line(reading: Reading, limits: ControlLimits) -> LimitLine:
    """The limits in force, kept with the decision: low, centre, high at the frequency of the reading."""
    at_hz = reading.at_hz or 0.0
    words = f"from {limits.count} checks" + (", at their least width" if limits.widened else "")
    return LimitLine((at_hz,) * 3, (limits.low, limits.centre, limits.high), words)


def _not_measured(name: str) -> Reading:
    return Reading(name, title=name, unit="dB", value=None, note="not measured")
