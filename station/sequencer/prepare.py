"""From a unit, a recipe and a limit table to a task with nothing left open; refused before the bench is touched."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from limits.errors import BadInput
from limits.quantity import Channels
from limits.table import LimitTable
from reports.record import Instrument
from station.bench import Bench
from station.database.entries import DocumentKind, RunHead, StoredText, UnitEntry
from station.errors import UserMistake
from station.instruments.analyzer import Ability
from station.sequencer.plan import Plan, make_plan
from station.sequencer.recipe import Recipe, check_fit
from station.sequencer.run import Task


@dataclass(frozen=True, slots=True)
class Prepared:
    """What a unit will be tested by."""

    unit: UnitEntry
    recipe: Recipe
    table: LimitTable
    channels: Channels
    plan: Plan


def prepare(unit: UnitEntry, recipe: Recipe, table: LimitTable, ability: Ability) -> Prepared:
    """Bind recipe and limits to the unit's channels and plan the hook-ups.

    Raises station.errors.UserMistake when the recipe is for another model, and limits.errors.BadInput when recipe and
    limit table do not fit each other or the analyzer does not reach far enough.
    """
    order = unit.order
    if recipe.form.model != order.model:
        raise UserMistake(
            f"{unit.serial} is a {order.model} (order {order.number}), but {recipe.source.file} is for "
            f"{recipe.form.model}; test it with the recipe of its own model"
        )
    check_fit(recipe, table)
    channels = Channels(tx_hz=order.tx_hz, rx_hz=order.rx_hz)
    if outside := recipe.outside(channels, ability.low_hz, ability.high_hz):
        raise BadInput(outside)
    plan = make_plan(recipe.bind(channels), recipe.overview(channels), channels, recipe.settings)
    return Prepared(unit, recipe, table, channels, plan)


def make_task(
    prepared: Prepared,
    bench: Bench,
    identity: str,
    operator: str,
    temperature_c: float | None,
    started: datetime,
) -> Task:
    """The task of one run, with the exact texts it runs under."""
    recipe, table = prepared.recipe, prepared.table
    head = RunHead(
        serial=prepared.unit.serial,
        operator=operator,
        station=bench.name,
        started=started,
        recipe=_kept(DocumentKind.RECIPE, recipe.form.recipe, recipe.form.revision, recipe.source.text),
        limits=_kept(DocumentKind.LIMIT_TABLE, table.name, table.revision, table.text),
        bench=_kept(DocumentKind.BENCH, bench.name, "", bench.source.text),
        temperature_c=temperature_c,
        instruments=(Instrument("analyzer", identity),),
    )
    return Task(head, prepared.channels, prepared.plan, table)


def _kept(kind: DocumentKind, name: str, revision: str, text: str) -> StoredText:
    return StoredText.of(kind, name, revision, text.encode())
