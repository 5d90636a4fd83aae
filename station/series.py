"""What charts are drawn of: one characteristic of a model, or its failures by order, out of the store."""

from __future__ import annotations

from typing import TYPE_CHECKING

from limits.formwords import suggest
from station.database.store import Store
from station.errors import UserMistake
from station.settings import Works

if TYPE_CHECKING:
    from pandas import DataFrame


def readings(works: Works, store: Store, model: str, name: str, last: int | None) -> DataFrame:
    """The first judged readings of a model's last units. Raises UserMistake where there are none of this name."""
    from reports.trends.readings import table_of

    table = table_of(store.readings(model, name, last))
    if table.empty:
        known = store.characteristics(model)
        if not known:
            raise UserMistake(_untested(works, model))
        raise UserMistake(f"model {model} has no characteristic '{name}'{suggest(name, known)}")
    return table


def attributes(works: Works, store: Store, model: str) -> DataFrame:
    """Failures by order (`reports.trends.attributes`). Raises UserMistake where no unit was judged."""
    import pandas as pd

    from reports.trends.attributes import by_order
    from reports.trends.yields import table_of

    counts = table_of(store.run_counts())
    counts = counts[counts["model"] == model]
    failed = pd.DataFrame(store.first_failures(), columns=["unit", "order", "model", "name", "title"])
    orders = by_order(counts, failed[failed["model"] == model])
    if orders.empty:
        raise UserMistake(_untested(works, model))
    return orders


def _untested(works: Works, model: str) -> str:
    known = sorted(file.stem for file in works.recipes.glob("*.yaml"))
    if model not in known:
        return f"--model: there is no model '{model}'{suggest(model, known)}"
    return f"no unit of model {model} has a verdict yet"
