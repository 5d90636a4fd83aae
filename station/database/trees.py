"""What the records of the ledger are: a catalog with one row for each kind.

A record is the row of a table (its root) with the rows of other tables that belong to it. Which columns there are is
read from `schema`, so that a new column is covered as soon as it is there:

- a column that refers to another record says that record's natural key instead of its number in this database;
- the numbers that a database gives (`id`) are no content, nor are columns without a value: so a column that comes
  later must be empty in older rows, or their digests would no longer agree;
- packed data is told by its SHA-256.

**A new kind of record** is one row in `TREES`, and one `Chain.enter` in the transaction that writes it. Kinds stand
in an order in which each refers only to those before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from station.database import schema
from station.database.entries import RunState

NATURAL: dict[str, tuple[str, ...]] = {
    "unit": ("serial_key",),
    "calibration": ("station", "made"),
    "run": ("unit_id", "station", "run_number"),
}
"""Tables that others refer to by a database's own number, and the columns by which everybody knows their rows."""


SECRET = ("person_secret.secret",)
"""Texts that a record tells by their SHA-256 alone, like packed data, since it may be shown to others."""


@dataclass(frozen=True, slots=True)
class Tree:
    """A kind of record."""

    kind: str
    """What a quality engineer calls it."""

    root: sa.Table
    key: str
    """How one is named: a format over its content, e.g. `{unit} run {run_number}`."""

    children: tuple[sa.Table, ...] = ()
    """Tables whose rows belong to one row of the root, to which they have a foreign key."""

    still_open: sa.ColumnElement[bool] | None = None
    """Which rows of the root are not yet finished, and so have no entry; None where each is whole at once."""


TREES: tuple[Tree, ...] = (
    Tree("document", schema.document, "{kind} {name} {revision} {digest:.12}"),
    Tree("order", schema.work_order, "{number}", (schema.unit,)),
    Tree(
        "calibration",
        schema.calibration,
        "{station} {made}",
        (
            schema.calibration_document,
            schema.error_terms,
            schema.residual,
            schema.noise,
            schema.calibration_load,
            schema.standard_sweep,
        ),
    ),
    Tree(
        "run",
        schema.run,
        "{unit} run {run_number}",
        (schema.instrument, schema.load, schema.sweep, schema.reading, schema.decision),
        still_open=schema.run.c.state == RunState.RUNNING.value,
    ),
    Tree("resolution", schema.resolution, "{run[unit]} run {run[run_number]} resolution {number}"),
    Tree("certificate", schema.certificate, "{number}"),
    Tree("reset of a standard", schema.standard_reset, "{unit} {made}"),
    Tree("cable", schema.cable_event, "{station} {cable} {made}"),
    Tree("person", schema.person_event, "{name} {number}", (schema.person_secret,)),
    Tree("approval", schema.approval, "{kind} {name} {number}"),
    Tree("disposition", schema.disposition, "{unit} disposition {number}"),
    Tree("act", schema.act, "{name} {made}"),
)

UNCOVERED = ("ledger_entry", "ledger_head", "ledger_aside")
"""Tables that are no records but the ledger itself; a test asks that every other one is in a tree."""


def tree_of(kind: str) -> Tree | None:
    """The tree of a kind; None where this station knows none of that name."""
    return next((tree for tree in TREES if tree.kind == kind), None)
