"""Checking the files of a works without testing anything: each by what it says it is, and against its neighbours."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from limits import table as tables
from limits.errors import BadInput, Mistake
from limits.quantity import Channels
from station import bench as benches
from station import settings
from station.instruments.dialect import load_dialect
from station.orders import WorkOrder
from station.sequencer import recipe as recipes
from station.settings import Works


@dataclass(frozen=True, slots=True)
class Checked:
    """One file and what is wrong with it."""

    path: Path
    kind: str
    """`recipe`, `limit table`, `bench`, `dialect` or `works`; empty when the file does not say."""

    mistakes: tuple[Mistake, ...]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a file is checked against, beside its own form; None of it where there is no works folder."""

    works: Works | None = None
    orders: tuple[WorkOrder, ...] = ()


def files_of(works: Works) -> tuple[Path, ...]:
    """Every file a person wrote for the works."""
    folders = (works.recipes, works.limits, works.dialects)
    written = [path for folder in folders for path in sorted(folder.glob("*.yaml"))]
    return (works.folder / settings.FILE, works.bench, *written)


def check(path: Path, around: Surroundings) -> Checked:
    """All mistakes of one file."""
    try:
        kind = _kind(path)
    except BadInput as error:
        return Checked(path, "", error.mistakes)
    try:
        _CHECKS[kind](path, around)
    except BadInput as error:
        return Checked(path, kind, error.mistakes)
    return Checked(path, kind, ())


def _recipe(path: Path, around: Surroundings) -> None:
    recipe = recipes.load(path)
    works = around.works
    if works is None:
        return
    table_file = works.limits / f"{recipe.form.limit_table}.yaml"
    if not table_file.exists():
        raise BadInput((recipe.source.mistake(("limit_table",), f"there is no {table_file}"),))
    recipes.check_fit(recipe, tables.load(table_file))
    ability = benches.load(works.bench).ability
    outside = [
        mistake
        for order in around.orders
        if order.model == recipe.form.model
        for mistake in recipe.outside(Channels(order.tx_hz, order.rx_hz), ability.low_hz, ability.high_hz)
    ]
    if outside:
        raise BadInput(tuple(dict.fromkeys(outside)))


def _table(path: Path, around: Surroundings) -> None:
    tables.load(path)


def _bench(path: Path, around: Surroundings) -> None:
    bench = benches.load(path)
    benches.dialect_of(bench, around.works.dialects if around.works else None)


def _dialect(path: Path, around: Surroundings) -> None:
    load_dialect(path)


def _works(path: Path, around: Surroundings) -> None:
    settings.load(path.parent)


_CHECKS: dict[str, Callable[[Path, Surroundings], None]] = {
    "recipe": _recipe,
    "limit table": _table,
    "bench": _bench,
    "dialect": _dialect,
    "works": _works,
}
_FIRST_KEYS = {"recipe": "recipe", "limit_table": "limit table", "bench": "bench", "dialect": "dialect"}


def _kind(path: Path) -> str:
    """What the file says it is, by its first key. Raises BadInput when it does not say."""
    if path.name == settings.FILE:
        return "works"
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput((Mistake("not UTF-8 text; save the file as UTF-8", str(path)),)) from error
    except OSError as error:
        raise BadInput((Mistake(f"cannot be read: {error.strerror}", str(path)),)) from error
    first = re.search(r"^([A-Za-z_]+)\s*:", text, re.MULTILINE)
    if first is None or first[1] not in _FIRST_KEYS:
        keys = ", ".join(f"'{key}:'" for key in _FIRST_KEYS)
        raise BadInput((Mistake(f"a file of the works begins with one of {keys}", str(path), 1, 1),))
    return _FIRST_KEYS[first[1]]
