"""Producer's and consumer's risk of a model's limits, from what its units read and the limit table as it is now."""

from __future__ import annotations

from pathlib import Path

from limits import table as tables
from limits.formwords import suggest
from limits.population import CharacteristicRisk, UnitReading, assess
from station.database.store import Store
from station.errors import UserMistake
from station.sequencer import recipe as recipes
from station.settings import Works


def model_risks(
    works: Works, store: Store, model: str, characteristic: str | None, at_most: float | None
) -> tuple[CharacteristicRisk, ...]:
    """Those of one characteristic, or of every one that is limited and was read, in the table's order.

    `at_most` is a consumer's risk to find guard bands for. Raises UserMistake for an unknown model or
    characteristic, or where nothing was measured yet.
    """
    table = tables.load(limit_table_of(works, model))
    rows = {row.name: row for row in table.rows}
    if characteristic is not None and characteristic not in rows:
        raise UserMistake(
            f"limit table {table.name} has no '{characteristic}'{suggest(characteristic, rows)}"
        )
    by_name: dict[str, list[UnitReading]] = {}
    for unit in store.latest_readings(model):
        by_name.setdefault(unit.reading.name, []).append(unit)
    wanted = [row for name, row in rows.items() if characteristic in (None, name) and name in by_name]
    if not wanted:
        what = f"'{characteristic}' of model {model}" if characteristic else f"model {model}"
        raise UserMistake(f"no unit has a reading of {what} yet; test some with `station test SERIAL`")
    return tuple(assess(row, table.rules, by_name[row.name], at_most) for row in wanted)


def limit_table_of(works: Works, model: str) -> Path:
    """The file of the table that the model's recipe names. Raises UserMistake for an unknown model."""
    known = sorted(file.stem for file in works.recipes.glob("*.yaml"))
    if model not in known:
        raise UserMistake(f"there is no recipe for model '{model}'{suggest(model, known)}")
    name = recipes.load(works.recipes / f"{model}.yaml").form.limit_table
    return works.limits / f"{name}.yaml"
