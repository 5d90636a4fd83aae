"""From a unit, a recipe and a limit table to a task with nothing left open; refused before the bench is touched."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from limits.decide import judge
from limits.errors import BadInput, Mistake
from limits.quantity import Channels
from limits.table import LimitTable
from limits.yamlfile import parse
from reports.record import Instrument
from station.bench.calibration import begins
from station.bench.file import Bench
from station.bench.form import BenchForm
from station.database.entries import (
    DocumentKind,
    LoadText,
    RunHead,
    StoredCalibration,
    StoredText,
    UnitEntry,
)
from station.errors import UserMistake
from station.instruments.analyzer import Ability
from station.measurements.evaluation import BenchData
from station.measurements.figures import Figures
from station.measurements.kit import Kit, KitForm, make_kit
from station.measurements.load import Loads
from station.measurements.magnitude_checks import MAGNITUDE_CHECKS
from station.measurements.plausibility import CHECKS
from station.orders import Serial
from station.sequencer.calibration_age import in_words, refuse_uncalibrated
from station.sequencer.care import Care
from station.sequencer.conditions import Climate
from station.sequencer.plan import Plan, make_plan
from station.sequencer.recipe import Recipe, check_fit
from station.sequencer.run import Task

MOST_POINTS = 20_000
"""Of one hook-up: at 1 kHz bandwidth that is 20 s and more a direction; a finer wish is a slip of the pen."""

DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Prepared:
    """What a unit will be tested by."""

    unit: UnitEntry
    recipe: Recipe
    table: LimitTable
    channels: Channels
    plan: Plan


def prepare(
    unit: UnitEntry, recipe: Recipe, table: LimitTable, ability: Ability, loads: Loads | None = None
) -> Prepared:
    """Bind recipe and limits to the unit's channels and plan the hook-ups.

    Raises station.errors.UserMistake when the recipe is for another model, and what `plan_for` raises.
    """
    order = unit.order
    if recipe.form.model != order.model:
        raise UserMistake(
            f"{unit.serial} is a {order.model} (order {order.number}), but {recipe.source.file} is for "
            f"{recipe.form.model}; test it with the recipe of its own model"
        )
    channels = Channels(tx_hz=order.tx_hz, rx_hz=order.rx_hz)
    return Prepared(unit, recipe, table, channels, plan_for(recipe, table, channels, ability, loads))


def plan_for(
    recipe: Recipe, table: LimitTable, channels: Channels, ability: Ability, loads: Loads | None = None
) -> Plan:
    """The plan for one pair of channels.

    Raises limits.errors.BadInput, with every reason, when recipe and limit table do not fit each other or the
    channels, or the sweeps reach beyond the analyzer or what is known of the loads, or have too many points.
    """
    check_fit(recipe, table)
    if unbound := (*recipe.mistakes(channels), *table.mistakes(channels)):
        raise BadInput(unbound)
    return plan_recipe(recipe, channels, ability, loads)


def plan_recipe(recipe: Recipe, channels: Channels, ability: Ability, loads: Loads | None = None) -> Plan:
    """The plan for one pair of channels, whatever judges its readings.

    Raises limits.errors.BadInput, with every reason, as `plan_for` does.
    """
    if unbound := recipe.mistakes(channels):
        raise BadInput(unbound)
    plan = make_plan(
        recipe.bind(channels),
        recipe.overview(channels),
        channels,
        recipe.settings,
        ability,
        common_grid=loads is not None,
    )
    if refused := (
        *_too_many_points(plan, recipe, channels),
        *_out_of_reach(plan, recipe, channels, ability),
        *_unknown_loads(plan, loads),
    ):
        raise BadInput(refused)
    return plan


def make_task(
    prepared: Prepared,
    bench: Bench,
    identity: str,
    operator: str,
    climate: Climate,
    started: datetime,
    calibration: StoredCalibration | None,
) -> Task:
    """The task of one run, with the exact texts it runs under.

    Raises UserMistake where the bench was not calibrated for all of it.
    """
    refuse_uncalibrated(prepared.plan, calibration)
    table, channels = prepared.table, prepared.channels
    limits = table_text(table)
    head = head_of(
        prepared.unit.serial,
        prepared.recipe,
        limits,
        bench,
        identity,
        operator,
        climate.temperature_c,
        started,
        calibration,
    )
    data = bench_data(bench, calibration, started)
    return Task(
        replace(head, settled_since=climate.settled_since),
        channels,
        prepared.plan,
        lambda readings: judge(table, readings, channels),
        data,
        CHECKS if bench.ability.phase else MAGNITUDE_CHECKS,
        climate=climate,
        care=_care(prepared, data, bench.ability),
    )


def _care(prepared: Prepared, data: BenchData, ability: Ability) -> Care | None:
    """None where everything is swept with care at once.

    So it is where the bench states no figures, since nobody knows then what is near; and with magnitudes alone, where
    a pair of ports is put together from hook-ups of which each has its own settings.
    """
    effort = prepared.recipe.effort
    if effort is None or data.figures is None or not ability.phase:
        return None
    return Care(effort, prepared.table, prepared.channels, data.figures, data.loads)


def head_of(
    serial: Serial,
    recipe: Recipe,
    limits: StoredText,
    bench: Bench,
    identity: str,
    operator: str,
    temperature_c: float | None,
    started: datetime,
    calibration: StoredCalibration | None,
) -> RunHead:
    """What is known when a run begins; `limits` is the text that the readings will be judged by."""
    return RunHead(
        serial=serial,
        operator=operator,
        station=bench.name,
        started=started,
        recipe=recipe_text(recipe),
        limits=limits,
        bench=kept(DocumentKind.BENCH, bench.name, "", bench.source.text),
        temperature_c=temperature_c,
        instruments=(
            Instrument("analyzer", identity),
            Instrument("calibration", in_words(bench, calibration)),
            *(Instrument(f"load on {each.port}", each.name) for each in bench.load_files),
        ),
        loads=tuple(
            LoadText(each.port, kept(DocumentKind.LOAD, each.name, "", each.text))
            for each in bench.load_files
        ),
        calibration=calibration.calibration_id if calibration else None,
    )


def bench_data(bench: Bench, calibration: StoredCalibration | None, at: datetime) -> BenchData:
    """What is known of the bench when a run begins at this time."""
    terms = calibration.findings.terms if calibration else None
    return BenchData(known_figures(bench.source.value, calibration, at), bench.loads, terms)


def known_figures(form: BenchForm, calibration: StoredCalibration | None, at: datetime) -> Figures | None:
    """What the bench file states, by the age of the calibration at this time and with what the calibration heard."""
    figures, own = form.figures, form.calibration
    if figures is None:
        return None
    if calibration is not None:
        figures = figures.as_measured(calibration.findings.noise)
        if figures.load_standard is not None:
            figures = figures.calibrated_by(_kit_of(calibration))
        return figures.aged((at - calibration.head.made).total_seconds() / DAY_S)
    if own is not None and own.made is not None:
        return figures.aged((at - begins(own.made)).total_seconds() / DAY_S)
    return figures


def _kit_of(calibration: StoredCalibration) -> Kit:
    """The kit as it was described when the calibration was made."""
    head = calibration.head
    called = f"kit of {calibration.calibration_id}"
    texts = {each.name: each.text for each in head.kit_files}
    return make_kit(parse(head.kit.text, KitForm, called), lambda name: (texts[name], name))


def recipe_text(recipe: Recipe) -> StoredText:
    """A recipe as records keep it."""
    return kept(DocumentKind.RECIPE, recipe.form.recipe, recipe.form.revision, recipe.source.text)


def table_text(table: LimitTable) -> StoredText:
    """A limit table as records keep it."""
    return kept(DocumentKind.LIMIT_TABLE, table.name, table.revision, table.text)


def kept(kind: DocumentKind, name: str, revision: str, text: str) -> StoredText:
    """A file as it stands now."""
    return StoredText.of(kind, name, revision, text.encode())


def _too_many_points(plan: Plan, recipe: Recipe, channels: Channels) -> tuple[Mistake, ...]:
    points = max(sum(segment.points for segment in order.segments) for order in plan.orders)
    if points <= MOST_POINTS:
        return ()
    what = (
        f"with {_pair(channels)} a hook-up would be swept at {points} points, more than {MOST_POINTS}; "
        "widen the steps, or look at the channels"
    )
    return (recipe.source.mistake(("overview", "step"), what),)


def _pair(channels: Channels) -> str:
    return f"TX {channels.tx_hz / 1e6:g} and RX {channels.rx_hz / 1e6:g} MHz"


def _unknown_loads(plan: Plan, loads: Loads | None) -> tuple[Mistake, ...]:
    """Loads that were not measured over all of the sweep, where they are to be corrected for."""
    if loads is None or not plan.is_whole:
        return ()
    segments = plan.orders[0].segments
    found = (load.outside(segments[0].start_hz, segments[-1].stop_hz) for load in loads.values())
    return tuple(dict.fromkeys(mistake for mistake in found if mistake))


def _out_of_reach(plan: Plan, recipe: Recipe, channels: Channels, ability: Ability) -> tuple[Mistake, ...]:
    """At most two mistakes, each at what reaches furthest: the plan is looked at, with all its rounding outward."""
    lowest_hz = min(order.segments[0].start_hz for order in plan.orders)
    highest_hz = max(order.segments[-1].stop_hz for order in plan.orders)
    overview = recipe.overview(channels)
    spans = {("overview", "over"): (overview.low_hz, overview.high_hz)}
    for item in plan.characteristics:
        spans["characteristics", item.name] = item.span_hz
    what = (
        f"with {_pair(channels)} the sweep reaches from "
        f"{lowest_hz / 1e6:g} to {highest_hz / 1e6:g} MHz, beyond the {ability.low_hz / 1e6:g} to "
        f"{ability.high_hz / 1e6:g} MHz that bench.yaml gives the analyzer"
    )
    places = []
    if lowest_hz < ability.low_hz:
        places.append(min(spans, key=lambda place: spans[place][0]))
    if highest_hz > ability.high_hz:
        places.append(max(spans, key=lambda place: spans[place][1]))
    return tuple(recipe.source.mistake(place, what) for place in dict.fromkeys(places))
