"""The data dictionary: `words` and `schema` put together, for whoever reads an export without the program."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from station.database import schema
from station.database.words import PACKED, SECRET, TABLES, Words


@dataclass(frozen=True, slots=True)
class ColumnWords:
    """All that is to be known of one column."""

    table: str
    name: str
    meaning: str
    unit: str
    """Empty where it has none."""

    kind: str
    """`text`, `integer`, `real`, `true or false`, `day`, `time`, `bytes` or `JSON`."""

    may_be_missing: bool
    is_key: bool
    """Whether it belongs to what tells the rows of the table apart."""


def exported_tables() -> tuple[sa.Table, ...]:
    """Those that an export shows, each after all that it refers to."""
    return tuple(table for table in schema.metadata.sorted_tables if table.name not in SECRET)


def columns_of(table: sa.Table) -> tuple[ColumnWords, ...]:
    """The columns of a table in their order. Raises KeyError where `TABLES` has no words for one."""
    words = TABLES[table.name][1]
    return tuple(_column(table.name, column, words[column.name]) for column in table.columns)


def _column(table: str, column: sa.Column[object], words: Words) -> ColumnWords:
    unit, meaning = words if isinstance(words, tuple) else ("", words)
    packed = column.name in PACKED.get(table, ())
    return ColumnWords(
        table,
        column.name,
        meaning,
        unit,
        "text" if packed else kind_of(column),
        bool(column.nullable),
        column.primary_key,
    )


_KINDS: tuple[tuple[type[sa.types.TypeEngine[object]], str], ...] = (
    (schema.UtcTime, "time"),
    (sa.Boolean, "true or false"),
    (sa.Integer, "integer"),
    (sa.Date, "day"),
    (sa.Double, "real"),
    (sa.LargeBinary, "bytes"),
    (sa.JSON, "JSON"),
    (sa.String, "text"),
)  # type: ignore[assignment]


def kind_of(column: sa.Column[object]) -> str:
    """What kind of value a column holds, as the dictionary calls it."""
    return next(kind for type_, kind in _KINDS if isinstance(column.type, type_))


def markdown(opening: str) -> str:
    """All of it as a page, after these words."""
    parts = [opening.rstrip()]
    for table in exported_tables():
        lines = ["| column | meaning | unit | kind | may be missing |", "| --- | --- | --- | --- | --- |"]
        for each in columns_of(table):
            name = f"**{each.name}**" if each.is_key else each.name
            cells = (name, each.meaning, each.unit, each.kind, "yes" if each.may_be_missing else "")
            lines.append(f"| {' | '.join(cells)} |")
        parts += [f"## {table.name}\n\n{TABLES[table.name][0]}", "\n".join(lines)]
    return "\n\n".join(parts) + "\n"
