"""Whether the check standard lets units be tested: measured, not too long ago, and in control."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from limits.verdict import Decision, Outcome
from reports import wording
from station.bench.file import Bench
from station.database.entries import RunLine, RunState, StandardReset
from station.database.store import Store
from station.sequencer.calibration_age import calibrated_at
from station.sequencer.reasons import Circumstances, Reason
from station.sequencer.standard import begun_anew

MEASURE = "measure it: station standard"
PUT_RIGHT = (
    "tighten and clean every connector and measure again (station standard); if it stays so, calibrate anew and "
    "measure again. Only if the standard itself was serviced or certified anew: station standard --accept"
)


@dataclass(frozen=True, slots=True)
class Standing:
    """What the last checks say."""

    state: str
    """In a few words; empty while all is well."""

    last: RunLine | None = None
    """The check that decides."""

    since: datetime | None = None
    """When it began."""


IN_CONTROL = ""
NO_CHECK, TOO_OLD, FUTURE = "no check", "too old", "from the future"
OUT, BROKEN, CALIBRATED_SINCE = "out of control", "broken off", "calibrated since"


def standing(
    runs: Sequence[RunLine],
    resets: Sequence[StandardReset],
    every_s: float,
    now: datetime,
    calibrated: datetime | None = None,
) -> Standing:
    """Where the station stands by the runs of its standard, the first one first: from the last accepted one at least.

    A check proves the calibration that it was made under, not one that was made since.

    A check that the operator stopped says nothing; one that the station broke off says that something is wrong.
    """
    ended = [
        line
        for line in runs
        if line.state in (RunState.JUDGED, RunState.STATION_FAULT) and begun_anew(resets, line.started)
    ]
    if not ended:
        return Standing(NO_CHECK, since=resets[-1].made if resets else None)
    last = ended[-1]
    if last.outcome is not Outcome.PASS:
        bad = ended
        for place, line in enumerate(ended):
            if line.outcome is Outcome.PASS:
                bad = ended[place + 1 :]
        return Standing(BROKEN if last.outcome is None else OUT, last, bad[0].started)
    age_s = (now - last.started).total_seconds()
    if age_s < 0:
        return Standing(FUTURE, last)
    if age_s > every_s:
        return Standing(TOO_OLD, last)
    return Standing(CALIBRATED_SINCE if calibrated and last.started < calibrated else IN_CONTROL, last)


def check_standard(around: Circumstances) -> Iterator[Reason]:
    """Whether the check standard was measured, lately, and found in control; nothing where the bench has none."""
    yield from reasons(around.bench, around.store, around.now)


def reasons(bench: Bench, store: Store, now: datetime) -> Iterator[Reason]:
    """Why no unit may be tested, as far as the bench's check standard is concerned."""
    form = bench.source.value.check_standard
    if form is None:
        return
    runs = store.checks_since_accepted(form.serial, bench.name)
    found = standing(runs, store.resets(form.serial), form.every, now, calibrated_at(bench, store))
    named = f"check standard {form.serial}"
    last = found.last
    if found.state == NO_CHECK:
        begun = f" since its history began anew on {wording.moment(found.since)}" if found.since else ""
        yield Reason(f"{named}: no check yet{begun}", MEASURE)
    elif last is None or found.state == IN_CONTROL:
        return
    elif found.state == TOO_OLD:
        age = duration((now - last.started).total_seconds())
        yield Reason(f"{named}: the last check is {age} old, more than {duration(form.every)}", MEASURE)
    elif found.state == CALIBRATED_SINCE:
        yield Reason(f"{named}: the bench was calibrated since the last check", MEASURE)
    elif found.state == FUTURE:
        yield Reason(
            f"{named}: the last check is of {wording.moment(last.started)}, which is still to come",
            "set this machine's clock, then measure it: station standard",
        )
    elif found.state == BROKEN:
        yield Reason(f"{named}: check {last.run_number} broke off: {last.why}", MEASURE)
    elif found.since is not None:
        verdict = store.run(last.run_id).verdict
        wrong = shortfall(verdict.decisions if verdict else ())
        since = wording.moment(found.since)
        yield Reason(f"{named} is out of control since {since}: {wrong}", PUT_RIGHT)


def shortfall(decisions: Sequence[Decision]) -> str:
    """Which reading does not pass, by what, and how many more."""
    bad = [decision for decision in decisions if decision.outcome is not Outcome.PASS]
    if not bad:
        return "nothing was judged"
    # A failure first, and the one that is furthest off in shares of what it is allowed.
    worst = min(bad, key=lambda each: (each.outcome is not Outcome.FAIL, each.margin or 0.0))
    found = wording.judged(worst) or "no reading"
    u = wording.uncertainty(worst.reading)
    told = f"{found}{f' ± {u}' if u else ''}, {limit_words(worst)}"
    note = f" ({worst.reading.note})" if worst.outcome is Outcome.UNDECIDED and worst.reading.note else ""
    more = len({each.reading.name for each in bad}) - 1
    return f"{worst.reading.title}: {told}{note}{f'; and {more} more' if more else ''}"


def limit_words(decision: Decision) -> str:
    """By what a reading was judged: its known value, or the limits of its own history."""
    if decision.lines:
        return f"own limits {decision.limit_text} ({decision.lines[0].words})"
    return f"known as {decision.limit_text}"


def duration(seconds: float) -> str:
    """In hours, or minutes where that is less than two hours: `14 h`, `90 min`."""
    return f"{seconds / 3600:.3g} h" if seconds >= 7200 else f"{seconds / 60:.3g} min"
