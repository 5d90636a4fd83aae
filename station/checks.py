"""The check standard's history as the desk tells it: every check, what limits apply now, and how it drifts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from limits.check import History
from limits.control import ControlLimits
from limits.drift import Slope, slope
from limits.reading import Claim, Reading
from limits.verdict import Outcome
from station.bench.file import Bench
from station.bench.standard import CheckStandardForm
from station.database.entries import CheckedValue, OrderKind, RunLine, StandardReset, UnitEntry
from station.database.store import Store
from station.errors import UserMistake
from station.sequencer import standard as standards
from station.sequencer.reasons import Reason
from station.sequencer.standard import Standard
from station.sequencer.standing import reasons

COUNTED = 200
"""How many of the latest accepted checks make the history: limits and drift are of the last months, not of a standard
as it was years ago. Of 200 the mean moving range is known to some 6 % (our own figure, from drawn values)."""

MONTH_S = 30 * 86_400.0
"""What a slope is told per."""


@dataclass(frozen=True, slots=True)
class Trend:
    """One characteristic of the standard over its latest checks at this station, COUNTED at most."""

    reading: Reading
    """The latest."""

    known: str
    """As the file of known values writes it; empty where nothing is known."""

    checked: tuple[CheckedValue, ...]
    """The first one first, also of checks that were out of control and from before a reset."""

    limits: ControlLimits | None
    """That the accepted checks set to the next reading; None while they are too few."""

    drift: Slope | None
    """Per 30 days over the checks since the last reset; bounds left out."""


@dataclass(frozen=True, slots=True)
class Checks:
    """All that is known of a bench's check standard."""

    form: CheckStandardForm
    runs: tuple[RunLine, ...]
    """The latest of them, also those that broke off."""

    in_all: int
    """How many there are."""

    resets: tuple[StandardReset, ...]
    trends: tuple[Trend, ...]
    reasons: tuple[Reason, ...]
    """Why no unit may be tested now, as far as the standard is concerned."""


def history(store: Store, standard: Standard, station: str) -> History:
    """What the standard's accepted checks at this station say until now."""
    checked = store.checked_values(standard.serial, station, COUNTED, Outcome.PASS)
    return standards.history_of(checked, store.resets(standard.serial), standard)


def told(store: Store, folder: Path, bench: Bench, now: datetime, latest: int) -> Checks:
    """What is known of the standard that a bench file names, and its latest runs, from the works folder around it.

    Raises UserMistake where it names none, BadInput for the files that it names.
    """
    standard = standards.load(folder, bench, bench.ability)
    form = standard.form
    resets = store.resets(form.serial)
    past = history(store, standard, bench.name)
    by_name: dict[str, list[CheckedValue]] = {}
    for each in store.checked_values(form.serial, bench.name, COUNTED):
        by_name.setdefault(each.reading.name, []).append(each)
    known = {name: value.text for name, value in standard.known.known.items()}
    return Checks(
        form,
        store.check_runs(form.serial, bench.name, latest),
        store.check_count(form.serial, bench.name),
        resets,
        tuple(_trend(tuple(checked), known, past, resets) for checked in by_name.values()),
        tuple(reasons(bench, store, now)),
    )


def accept(store: Store, bench: Bench, person: str, why: str, now: datetime) -> StandardReset:
    """Note that the standard is another one from now on. Raises UserMistake where nobody says who or why."""
    serial = standards.named(bench).serial
    if not person.strip() or not why.strip():
        raise UserMistake("say who accepts and why: --accept --by NAME --why 'certified anew, 2026-118'")
    if not store.check_count(serial, bench.name):
        raise UserMistake(f"{serial} was never measured here, so there is no history to begin anew")
    reset = StandardReset(now, person.strip(), why.strip())
    store.keep_reset(serial, reset)
    return reset


def _trend(
    checked: tuple[CheckedValue, ...],
    known: Mapping[str, str],
    past: History,
    resets: tuple[StandardReset, ...],
) -> Trend:
    latest = checked[-1].reading
    points = [
        (each.started.timestamp() / MONTH_S, each.reading.value)
        for each in checked
        if each.reading.claim is Claim.VALUE
        and each.reading.value is not None
        and standards.begun_anew(resets, each.started)
    ]
    return Trend(
        latest,
        known.get(latest.name, ""),
        checked,
        past.limits(latest),
        slope([when for when, _ in points], [value for _, value in points]),
    )


def product(unit: UnitEntry, instead: str) -> UnitEntry:
    """A customer's unit. Raises UserMistake, saying what to do instead, for a check standard."""
    if unit.kind is OrderKind.REFERENCE:
        raise UserMistake(f"{unit.serial} is the check standard; {instead}")
    return unit
