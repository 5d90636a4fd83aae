"""The check standard: what is measured on it, by what it is judged, and whether units may be tested meanwhile.

It takes the path of any unit, so that it proves all of it; only its recipe has no limit table, and its verdict comes
from its known values and from the history of its accepted checks (`limits.check`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from limits import known as known_values
from limits.check import History, judge_check
from limits.errors import BadInput, Mistake
from limits.known import KnownStandard
from limits.quantity import Channels, Frequency
from limits.reading import Claim, Curve, Reading
from limits.verdict import Outcome, Verdict
from limits.yamltree import Loc
from station import orders
from station.bench.file import Bench
from station.bench.standard import CheckStandardForm
from station.database.entries import CheckedValue, DocumentKind, StandardReset, StoredCalibration
from station.errors import UserMistake
from station.instruments.analyzer import Ability
from station.measurements.magnitude_checks import ANY_PASSIVE_MAGNITUDES
from station.measurements.plausibility import ANY_PASSIVE
from station.orders import Serial, WorkOrder
from station.sequencer import recipe as recipes
from station.sequencer.calibration_age import refuse_uncalibrated
from station.sequencer.plan import Plan
from station.sequencer.prepare import bench_data, head_of, kept, plan_recipe
from station.sequencer.recipe import Recipe
from station.sequencer.run import Task


@dataclass(frozen=True, slots=True)
class Standard:
    """The check standard of a bench, with nothing left to look up."""

    form: CheckStandardForm
    serial: Serial
    known: KnownStandard
    recipe: Recipe
    channels: Channels
    """The ends of its overview: it is tuned to nothing, but grids are anchored there."""

    plan: Plan

    def entry(self, now: datetime) -> WorkOrder:
        """What the store keeps its runs under."""
        return WorkOrder(
            number=f"check standard {self.serial}",
            customer="check standard",
            model=self.recipe.form.model,
            tx_hz=self.channels.tx_hz,
            rx_hz=self.channels.rx_hz,
            serials=(self.serial,),
            due=now.date(),
        )


def named(bench: Bench) -> CheckStandardForm:
    """The section of the bench file. Raises UserMistake where there is none."""
    form = bench.source.value.check_standard
    if form is None:
        raise UserMistake(
            f"{bench.source.file} names no check standard, so nothing is checked; name one under 'check_standard' "
            "(`station schema bench` shows how)"
        )
    return form


def load(folder: Path, bench: Bench, ability: Ability) -> Standard:
    """The check standard that a bench file names, from the works folder around it.

    Raises UserMistake where it names none, BadInput with every mistake in the files that it names.
    """
    form = named(bench)
    mistakes: list[Mistake] = []
    recipe_file, known_file = (
        _there(bench, key, folder / room / f"{name}.yaml", mistakes)
        for key, room, name in (("recipe", "recipes", form.recipe), ("serial", "standards", form.serial))
    )
    if recipe_file is None or known_file is None:
        raise BadInput(tuple(mistakes))
    recipe, known = recipes.load(recipe_file), known_values.load(known_file)
    channels = _own_channels(recipe)
    plan = plan_recipe(recipe, channels, ability, bench.loads)
    if misfits := tuple(known.misfits({item.name: item for item in plan.characteristics})):
        raise BadInput(misfits)
    return Standard(form, orders.serial(form.serial), known, recipe, channels, plan)


def make_check(
    standard: Standard,
    bench: Bench,
    history: History,
    identity: str,
    operator: str,
    temperature_c: float | None,
    started: datetime,
    calibration: StoredCalibration | None,
) -> Task:
    """The task of one check."""
    known = standard.known
    texts = kept(DocumentKind.KNOWN_VALUES, known.serial, known.source.value.certificate, known.source.text)
    refuse_uncalibrated(standard.plan, calibration)
    head = head_of(
        standard.serial,
        standard.recipe,
        texts,
        bench,
        identity,
        operator,
        temperature_c,
        started,
        calibration,
    )
    judge = partial(_judge, standard, history)
    doubts = ANY_PASSIVE if bench.ability.phase else ANY_PASSIVE_MAGNITUDES
    return Task(
        head, standard.channels, standard.plan, judge, bench_data(bench, calibration, started), doubts
    )


def _judge(standard: Standard, history: History, readings: Sequence[Reading | Curve]) -> Verdict:
    return judge_check(standard.known.known, readings, history)


def history_of(
    checked: Sequence[CheckedValue], resets: Sequence[StandardReset], standard: Standard
) -> History:
    """What the accepted checks say since the standard's history began anew; of the same characteristics only."""
    same = {(item.name, item.title, item.span_hz) for item in standard.plan.characteristics}
    values: dict[str, list[float]] = {}
    for each in checked:
        reading = each.reading
        counts = (
            each.outcome is Outcome.PASS
            and begun_anew(resets, each.started)
            and reading.claim is Claim.VALUE
            and (reading.name, reading.title, reading.span_hz) in same
        )
        if counts and reading.value is not None:
            values.setdefault(reading.name, []).append(reading.value)
    return History(values, standard.form.limits_from, together=len(standard.known.known))


def begun_anew(resets: Sequence[StandardReset], when: datetime) -> bool:
    """Whether a time lies after the last reset, or there was none."""
    return not resets or when > resets[-1].made


def _there(bench: Bench, key: str, path: Path, mistakes: list[Mistake]) -> Path | None:
    if path.is_file():
        return path
    mistakes.append(bench.source.mistake(("check_standard", key), f"there is no {path}"))
    return None


def _own_channels(recipe: Recipe) -> Channels:
    """Raises BadInput at every frequency that is relative to a channel, since a standard has none."""
    what = "a check standard is tuned to no channels; write the frequency itself, like '160 MHz'"
    relative = tuple(
        recipe.source.mistake(loc, what) for loc, freq in _frequencies(recipe) if freq.anchor is not None
    )
    if relative:
        raise BadInput(tuple(dict.fromkeys(relative)))
    low, high = recipe.form.overview.over.ends
    return Channels(tx_hz=low.offset_hz, rx_hz=high.offset_hz)


def _frequencies(recipe: Recipe) -> Iterator[tuple[Loc, Frequency]]:
    for end in recipe.form.overview.over.ends:
        yield ("overview", "over"), end
    for name, item in recipe.form.characteristics.items():
        if item.at is not None:
            yield ("characteristics", name, "at"), item.at
        for end in item.over.ends if item.over else ():
            yield ("characteristics", name, "over"), end
