"""Checking the files of a works without testing anything: each by what it says it is, and against its neighbours."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from limits import known as known_values
from limits import table as tables
from limits.errors import BadInput, Mistake
from limits.quantity import Channels
from limits.yamlfile import read_bytes
from station import settings
from station.bench import file as benches
from station.bench import opening
from station.bench.calibration import load_kit
from station.instruments.dialect import load_dialect
from station.instruments.switch_dialect import load_switch_dialect
from station.orders import WorkOrder
from station.sequencer import recipe as recipes
from station.sequencer import standard as standards
from station.sequencer.prepare import plan_for

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Checked:
    """One file and what is wrong with it."""

    path: Path
    kind: str
    """`recipe`, `limit table`, `bench`, `dialect`, `switch dialect`, `kit`, `known values` or `works`; empty when
    the file does not say."""

    mistakes: tuple[Mistake, ...]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a file is checked against, beside its own form."""

    folder: Path | None = None
    """The works folder; None where there is none."""

    orders: tuple[WorkOrder, ...] = ()


def files_of(around: Surroundings) -> tuple[Path, ...]:
    """Every file a person wrote for the works, and those that its orders need."""
    if around.folder is None:
        return ()
    folders = [around.folder / name for name in ("recipes", "limits", "dialects", "standards", "kits")]
    needed = [folders[0] / f"{order.model}.yaml" for order in around.orders]
    written = [path for folder in folders for path in sorted(folder.glob("*.yaml"))]
    return tuple(
        dict.fromkeys([around.folder / settings.FILE, around.folder / "bench.yaml", *needed, *written])
    )


def check(path: Path, around: Surroundings) -> Checked:
    """All mistakes of one file; those of a neighbour are told at the neighbour."""
    try:
        kind = _kind(path)
    except BadInput as error:
        return Checked(path, "", error.mistakes)
    try:
        _CHECKS[kind](path, around)
    except BadInput as error:
        return Checked(path, kind, tuple(dict.fromkeys(error.mistakes)))
    return Checked(path, kind, ())


def _recipe(path: Path, around: Surroundings) -> None:
    recipe = recipes.load(path)
    folder = around.folder
    if folder is None:
        return
    if recipe.form.limit_table is None:
        _check_standard(around)
        return
    table_file = folder / "limits" / f"{recipe.form.limit_table}.yaml"
    if not table_file.exists():
        raise BadInput((recipe.source.mistake(("limit_table",), f"there is no {table_file}"),))
    table = _sound(lambda: tables.load(table_file))
    if table is None:
        return
    recipes.check_fit(recipe, table)
    bench = _sound(lambda: benches.load(folder / "bench.yaml"))
    if bench is not None:
        for order in around.orders:
            if order.model == recipe.form.model:
                plan_for(recipe, table, Channels(order.tx_hz, order.rx_hz), bench.ability, bench.loads)


def _sound(read: Callable[[], T]) -> T | None:
    """What a neighbour says; None when it has mistakes, which are told where it is checked itself."""
    try:
        return read()
    except BadInput:
        return None


def _table(path: Path, around: Surroundings) -> None:
    table = tables.load(path)
    folder = around.folder
    if folder is None:
        return
    bench = _sound(lambda: benches.load(folder / "bench.yaml"))
    guarded = any(rule.kind.is_guarded for rule in table.rules.values())
    if guarded and bench is not None and bench.source.value.figures is None:
        what = (
            "a guarded rule needs U, and bench.yaml states no 'uncertainty': every reading would be undecided"
        )
        raise BadInput((table.source.mistake(("decision_rule",), what),))
    for file in sorted((folder / "recipes").glob("*.yaml")):
        recipe = _sound(lambda file=file: recipes.load(file))  # type: ignore[misc]
        if recipe is not None and recipe.form.limit_table == table.name:
            recipes.check_fit(recipe, table)


def _bench(path: Path, around: Surroundings) -> None:
    dialects = around.folder / "dialects" if around.folder else None
    bench = benches.load(path)
    opening.dialect_of(bench, dialects)
    opening.switch_dialect_of(bench, dialects)
    _check_standard(around)


def _known_values(path: Path, around: Surroundings) -> None:
    known_values.load(path)
    _check_standard(around)


def _check_standard(around: Surroundings) -> None:
    """Bench file, recipe and known values against each other, where the bench names a check standard."""
    if around.folder is None:
        return
    folder = around.folder
    bench = _sound(lambda: benches.load(folder / "bench.yaml"))
    if bench is not None and bench.source.value.check_standard is not None:
        standards.load(folder, bench, bench.ability)


def _kit(path: Path, around: Surroundings) -> None:
    load_kit(path)


def _dialect(path: Path, around: Surroundings) -> None:
    load_dialect(path)


def _switch_dialect(path: Path, around: Surroundings) -> None:
    load_switch_dialect(path)


def _works(path: Path, around: Surroundings) -> None:
    works = settings.load(path.parent)
    named = list(works.trusted)
    if works.timestamping is not None:
        named.append(works.timestamping.trusted)
    if works.token is not None:
        named.append(works.folder / works.token.module)
    if works.passphrase.file is not None:
        named.append(works.folder / works.passphrase.file)
    if missing := [file for file in named if not file.exists()]:
        raise BadInput(tuple(Mistake(f"names {file}, which does not exist", str(path)) for file in missing))


_CHECKS: dict[str, Callable[[Path, Surroundings], None]] = {
    "recipe": _recipe,
    "limit table": _table,
    "bench": _bench,
    "dialect": _dialect,
    "known values": _known_values,
    "switch dialect": _switch_dialect,
    "kit": _kit,
    "works": _works,
}
_FIRST_KEYS = {
    "recipe": "recipe",
    "limit_table": "limit table",
    "bench": "bench",
    "dialect": "dialect",
    "standard": "known values",
    "switch_dialect": "switch dialect",
    "kit": "kit",
}


def _kind(path: Path) -> str:
    """What the file says it is, by its first key. Raises BadInput when it does not say."""
    if path.name == settings.FILE:
        return "works"
    text = read_bytes(path).decode("utf-8-sig", "replace")
    first = re.search(r"^([A-Za-z_]+)\s*:", text, re.MULTILINE)
    if first is None or first[1] not in _FIRST_KEYS:
        keys = ", ".join(f"'{key}:'" for key in _FIRST_KEYS)
        raise BadInput((Mistake(f"a file of the works begins with one of {keys}", str(path), 1, 1),))
    return _FIRST_KEYS[first[1]]
