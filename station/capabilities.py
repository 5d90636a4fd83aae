"""How well a model's units fit between its limits, and whether persons or stations read them differently."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from limits import table as tables
from limits.formwords import suggest
from limits.kinds.bound import Amount, Bound, NumberBound
from limits.quantity import Channels, Frequency
from limits.risk import Interval
from limits.table import LimitRow
from limits.verdict import Level
from station.database.store import Store
from station.errors import UserMistake
from station.risking import limit_table_of
from station.settings import Works

if TYPE_CHECKING:
    from pandas import DataFrame

    from reports.trends.capability import Capability
    from reports.trends.differences import Differences

GROUPS = ("operator", "station", "order", "recipe")
"""What units can be put into groups by."""


@dataclass(frozen=True, slots=True)
class LimitCapability:
    """The capability of one characteristic against one limit."""

    name: str
    title: str
    unit: str
    level: Level
    limit: str
    channel: str
    """What mean and limits are relative to, e.g. `tx`; empty where they are not."""

    capability: Capability


def model_capabilities(
    works: Works, store: Store, model: str, characteristic: str | None, last: int | None
) -> tuple[LimitCapability, ...]:
    """Of each limit that is a number, from the first judged run of each unit (or of the last ones tested).

    Raises UserMistake for an unknown model or characteristic, or where nothing was measured yet.
    """
    table = tables.load(limit_table_of(works, model))
    rows = {row.name: row for row in table.rows}
    if characteristic is not None and characteristic not in rows:
        raise UserMistake(
            f"limit table {table.name} has no '{characteristic}'{suggest(characteristic, rows)}"
        )
    found: list[LimitCapability] = []
    for name, row in rows.items():
        if characteristic in (None, name):
            found += _of_row(row, _readings(store, model, name, last))
    if not found:
        what = f"'{characteristic}' of model {model}" if characteristic else f"model {model}"
        raise UserMistake(
            f"no unit has a reading of {what} yet that is limited by a number; test some with `station test SERIAL`"
        )
    return tuple(found)


def group_differences(
    works: Works, store: Store, model: str, name: str, by: str, last: int | None
) -> Differences:
    """Compare groups of units by their first readings. Raises UserMistake where there is nothing to compare."""
    from reports.trends.differences import differences
    from reports.trends.readings import is_value

    if by not in GROUPS:
        raise UserMistake(f"--by: units have no '{by}'{suggest(by, GROUPS)}")
    limit_table_of(works, model)
    table = _readings(store, model, name, last)
    if table.empty:
        known = store.characteristics(model)
        raise UserMistake(f"no unit of model {model} has a reading of '{name}'{suggest(name, known)}")
    try:
        return differences(table[is_value(table)], by)
    except ValueError as error:
        raise UserMistake(f"'{name}' of model {model} by {by}: {error}") from None


def _readings(store: Store, model: str, name: str, last: int | None) -> DataFrame:
    from reports.trends.readings import table_of

    return table_of(store.readings(model, name, last))


def _of_row(row: LimitRow, table: DataFrame) -> list[LimitCapability]:
    return [_of_bound(row.name, level, bound, table) for level, bound in row.bounds if len(table)]


def _of_bound(name: str, level: Level, bound: Bound, table: DataFrame) -> LimitCapability:
    from reports.trends.capability import Capability, capability
    from reports.trends.readings import is_bound, is_value

    head = (name, table["title"].iloc[-1], table["unit"].iloc[-1], level)
    values, bounds = table[is_value(table)], int(is_bound(table).sum())
    if not isinstance(bound, NumberBound):
        why = "judged at every frequency: its worst point has no capability"
        return LimitCapability(*head, "a mask", "", Capability(len(values), bounds, why=why))
    words = _words(bound)
    anchors = {end.value.anchor for end in bound.amounts() if end and isinstance(end.value, Frequency)}
    if len(anchors) > 1:
        why = "its limits are relative to different channels"
        return LimitCapability(*head, words, "", Capability(len(values), bounds, why=why))
    anchor = next(iter(anchors), None)
    numbers = values["value"].tolist()
    if anchor is not None:
        pairs = map(Channels, values["tx_hz"].tolist(), values["rx_hz"].tolist())
        numbers = [value - pair.frequency(anchor) for value, pair in zip(numbers, pairs, strict=True)]
    found = capability(numbers, Interval(*map(_number, bound.amounts())), bounds)
    return LimitCapability(*head, words, anchor or "", found)


def _number(end: Amount | None) -> float | None:
    """In the unit of the values: of a frequency relative to a channel the distance from it."""
    if end is None:
        return None
    return end.value.offset_hz if isinstance(end.value, Frequency) else end.value


def _words(bound: NumberBound) -> str:
    low, high = bound.amounts()
    if low is not None and high is not None:
        return f"between {low.text} and {high.text}"
    return f"at least {low.text}" if low is not None else f"at most {high.text if high else ''}"
