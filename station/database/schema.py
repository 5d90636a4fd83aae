"""The tables. Rows, not columns: a new characteristic, limit or instrument needs no migration.

Every form they had is also written down, frozen, in `versions/`; a test holds the last one and these together.
Nothing here that PostgreSQL could not do. Times are UTC; frequencies Hz; losses positive dB.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine.interfaces import Dialect

from limits.reading import Claim
from limits.verdict import Level, Outcome
from reports.resolution import Ruling
from station.database.disposition import Fate
from station.database.entries import CertificateKind, DocumentKind, OrderKind, RunState
from station.database.person import Answer, Change

HEAD = "0003"
"""The newest migration in `versions/`: what this station writes."""

metadata = sa.MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


class UtcTime(sa.types.TypeDecorator[datetime]):
    """An aware time, in the database always UTC.

    SQLite keeps no time zone: what comes back without one is UTC because nothing else was ever written.
    """

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuses a time without a zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """An aware time, UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


# SQLite counts up by itself only a column declared INTEGER, which has 64 bits there.
Id = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _id() -> sa.Column[int]:
    return sa.Column("id", Id, sa.Identity(), primary_key=True)


def _required(name: str, kind: Any, *more: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, *more, nullable=False)


def _of_run() -> tuple[sa.Column[int], sa.Column[int]]:
    """The key of what belongs to a run and has a place in its order, from 0."""
    return (
        sa.Column("run_id", Id, sa.ForeignKey("run.id"), primary_key=True, autoincrement=False),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    )


def _of_calibration() -> tuple[sa.Column[int], sa.Column[int]]:
    """The key of what belongs to a calibration and has a place in its order, from 0."""
    return (
        sa.Column(
            "calibration_id", Id, sa.ForeignKey("calibration.id"), primary_key=True, autoincrement=False
        ),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    )


def _one_of(column: str, words: Iterable[StrEnum]) -> sa.CheckConstraint:
    listed = ", ".join(f"'{word.value}'" for word in words)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=column)


work_order = sa.Table(
    "work_order",
    metadata,
    _id(),
    _required("number", sa.Text),
    _required("customer", sa.Text),
    _required("model", sa.Text),
    _required("tx_hz", sa.Double),
    _required("rx_hz", sa.Double),
    _required("due", sa.Date),
    # A check standard is the one unit of an order of the station's own.
    _required("kind", sa.Text),
    sa.UniqueConstraint("number"),
    _one_of("kind", OrderKind),
    sa.CheckConstraint("tx_hz > 0 AND rx_hz > 0 AND tx_hz <> rx_hz", name="channels"),
)

unit = sa.Table(
    "unit",
    metadata,
    _id(),
    _required("order_id", Id, sa.ForeignKey("work_order.id")),
    _required("position", sa.Integer),
    _required("serial", sa.Text),
    # In capitals, because a serial is known by its letters, not by their case.
    _required("serial_key", sa.Text),
    sa.UniqueConstraint("order_id", "position"),
    sa.UniqueConstraint("serial_key"),
)

document = sa.Table(
    "document",
    metadata,
    sa.Column("digest", sa.String(64), primary_key=True),
    _required("kind", sa.Text),
    _required("name", sa.Text),
    _required("revision", sa.Text),
    _required("text", sa.Text),
    _one_of("kind", DocumentKind),
)

calibration = sa.Table(
    "calibration",
    metadata,
    _id(),
    _required("station", sa.Text),
    _required("operator", sa.Text),
    _required("made", UtcTime),
    _required("valid_for_s", sa.Double),
    _required("analyzer", sa.Text),
    sa.Column("temperature_c", sa.Double),
    _required("cables", sa.Text),
    sa.Column("load_return_loss_db", sa.Double),
    sa.Index(None, "station"),
)

# The kit first, then the measured standards it names.
calibration_document = sa.Table(
    "calibration_document",
    metadata,
    *_of_calibration(),
    _required("digest", sa.String(64), sa.ForeignKey("document.digest")),
)

error_terms = sa.Table(
    "error_terms",
    metadata,
    *_of_calibration(),
    # Those that they hold for, e.g. `TX-ANT ANT-RX`.
    _required("hookups", sa.Text),
    _required("largest_step_hz", sa.Double),
    _required("points", sa.Integer),
    _required("leak", sa.LargeBinary),
    _required("match", sa.LargeBinary),
    _required("tracking", sa.LargeBinary),
)

residual = sa.Table(
    "residual",
    metadata,
    *_of_calibration(),
    _required("what", sa.Text),
    _required("port", sa.Integer),
    _required("value_db", sa.Double),
    _required("at_hz", sa.Double),
    _required("turn_deg", sa.Double),
)

noise = sa.Table(
    "noise",
    metadata,
    *_of_calibration(),
    _required("bandwidth_hz", sa.Double),
    _required("floor_dbm", sa.Double),
    _required("trace_db", sa.Double),
    sa.Column("leakage_db", sa.Double),
)

# Of the bench's own terminations on idle ports.
calibration_load = sa.Table(
    "calibration_load",
    metadata,
    *_of_calibration(),
    _required("port", sa.Text),
    _required("name", sa.Text),
    _required("points", sa.Integer),
    _required("data", sa.LargeBinary),
)

standard_sweep = sa.Table(
    "standard_sweep",
    metadata,
    *_of_calibration(),
    _required("standard", sa.Text),
    # Of the analyzer, e.g. `1-2`.
    _required("test_ports", sa.Text),
    _required("use", sa.Text),
    _required("ports", sa.Text),
    _required("started", UtcTime),
    _required("took_s", sa.Double),
    _required("bandwidth_hz", sa.Double),
    _required("averages", sa.Integer),
    _required("power_dbm", sa.Double),
    _required("points", sa.Integer),
    _required("phase", sa.Boolean),
    _required("data", sa.LargeBinary),
)

run = sa.Table(
    "run",
    metadata,
    _id(),
    _required("unit_id", Id, sa.ForeignKey("unit.id")),
    _required("run_number", sa.Integer),
    _required("operator", sa.Text),
    _required("station", sa.Text),
    _required("started", UtcTime),
    sa.Column("finished", UtcTime),
    _required("state", sa.Text),
    _required("why", sa.Text),
    sa.Column("outcome", sa.Text),
    # Of the unit, when the run began and after its last sweep; and since when it had lain at the bench.
    sa.Column("temperature_c", sa.Double),
    sa.Column("temperature_end_c", sa.Double),
    sa.Column("settled_since", UtcTime),
    # Why the unit is tested again: a code of the works' list, what the list said of it then, and more words.
    sa.Column("retest_code", sa.Text),
    sa.Column("retest_means", sa.Text),
    sa.Column("retest_why", sa.Text),
    _required("recipe_digest", sa.String(64), sa.ForeignKey("document.digest")),
    _required("limits_digest", sa.String(64), sa.ForeignKey("document.digest")),
    _required("bench_digest", sa.String(64), sa.ForeignKey("document.digest")),
    sa.Column("calibration_id", Id, sa.ForeignKey("calibration.id")),
    # Stations number apart from each other; in the works' database their runs come together.
    sa.UniqueConstraint("unit_id", "station", "run_number"),
    _one_of("state", RunState),
    _one_of("outcome", Outcome),
    sa.CheckConstraint("(state = 'judged') = (outcome IS NOT NULL)", name="judged_has_outcome"),
    sa.CheckConstraint("(state = 'running') = (finished IS NULL)", name="ended_has_time"),
)

instrument = sa.Table(
    "instrument",
    metadata,
    *_of_run(),
    _required("role", sa.Text),
    _required("identity", sa.Text),
)

load = sa.Table(
    "load",
    metadata,
    *_of_run(),
    _required("port", sa.Text),
    _required("digest", sa.String(64), sa.ForeignKey("document.digest")),
)

sweep = sa.Table(
    "sweep",
    metadata,
    *_of_run(),
    # The unit's ports on the analyzer's ports, e.g. `TX-ANT`.
    _required("ports", sa.Text),
    _required("started", UtcTime),
    _required("took_s", sa.Double),
    _required("bandwidth_hz", sa.Double),
    _required("averages", sa.Integer),
    _required("power_dbm", sa.Double),
    _required("points", sa.Integer),
    # Whether phases were measured.
    _required("phase", sa.Boolean),
    _required("data", sa.LargeBinary),
    # Why the hook-up was doubted; empty for a sweep that counts.
    _required("doubt", sa.Text),
)

reading = sa.Table(
    "reading",
    metadata,
    *_of_run(),
    _required("name", sa.Text),
    _required("title", sa.Text),
    _required("unit", sa.Text),
    sa.Column("value", sa.Double),
    sa.Column("u", sa.Double),
    sa.Column("at_hz", sa.Double),
    sa.Column("span_low_hz", sa.Double),
    sa.Column("span_high_hz", sa.Double),
    sa.Column("trace", sa.Text),
    _required("note", sa.Text),
    _required("claim", sa.Text),
    _one_of("claim", Claim),
    sa.CheckConstraint("(span_low_hz IS NULL) = (span_high_hz IS NULL)", name="whole_span"),
    sa.Index(None, "name"),
)

decision = sa.Table(
    "decision",
    metadata,
    *_of_run(),
    _required("reading", sa.Integer),
    _required("level", sa.Text),
    _required("limit_text", sa.Text),
    _required("rule", sa.Text),
    _required("outcome", sa.Text),
    sa.Column("margin", sa.Double),
    _required("lines", sa.JSON),
    sa.ForeignKeyConstraint(["run_id", "reading"], ["reading.run_id", "reading.position"]),
    _one_of("level", Level),
    _one_of("outcome", Outcome),
)

certificate = sa.Table(
    "certificate",
    metadata,
    _id(),
    _required("run_id", Id, sa.ForeignKey("run.id")),
    _required("number", sa.Text),
    _required("kind", sa.Text),
    _required("issued", UtcTime),
    _required("sha256", sa.String(64)),
    _required("file", sa.Text),
    # The number of the person's decision that it tells of; 0 for the measured verdict alone.
    _required("resolution", sa.Integer),
    sa.UniqueConstraint("number"),
    _one_of("kind", CertificateKind),
    sa.Index(None, "run_id"),
)

resolution = sa.Table(
    "resolution",
    metadata,
    sa.Column("run_id", Id, sa.ForeignKey("run.id"), primary_key=True, autoincrement=False),
    # 1 for the first one of its run.
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _required("ruling", sa.Text),
    _required("person", sa.Text),
    _required("made", UtcTime),
    _required("why", sa.Text),
    sa.Column("corrects", sa.Integer),
    _required("text", sa.Text),
    _required("signature", sa.LargeBinary),
    _required("fingerprint", sa.String(64)),
    _one_of("ruling", Ruling),
    sa.CheckConstraint("(number = 1) = (corrects IS NULL)", name="later_corrects"),
)

# Append-only: matings made, or none and a person who serviced the cable.
cable_event = sa.Table(
    "cable_event",
    metadata,
    _id(),
    _required("station", sa.Text),
    _required("cable", sa.Text),
    _required("made", UtcTime),
    _required("matings", sa.Integer),
    _required("person", sa.Text),
    _required("why", sa.Text),
    sa.CheckConstraint("matings >= 0 AND (matings = 0) = (person <> '')", name="made_or_serviced"),
    sa.Index(None, "station", "cable"),
)

standard_reset = sa.Table(
    "standard_reset",
    metadata,
    _id(),
    _required("unit_id", Id, sa.ForeignKey("unit.id")),
    _required("made", UtcTime),
    _required("person", sa.Text),
    _required("why", sa.Text),
    sa.Index(None, "unit_id"),
)

# Append-only: who somebody is now is told by all that was recorded of them.
person_event = sa.Table(
    "person_event",
    metadata,
    _id(),
    # The name in one case, by which people are told apart.
    _required("name_key", sa.Text),
    # 1 for the first one of its person.
    _required("number", sa.Integer),
    _required("name", sa.Text),
    _required("change", sa.Text),
    # Roles and badge from now on, where the change gives them; words with spaces between.
    _required("roles", sa.Text),
    _required("badge", sa.Text),
    # Of the PIN's hash in `person_secret`, so that a record can be shown without it.
    sa.Column("secret_sha256", sa.String(64)),
    # Who recorded it.
    _required("person", sa.Text),
    _required("made", UtcTime),
    sa.UniqueConstraint("name_key", "number"),
    _one_of("change", Change),
)

# An argon2 hash; whoever has it can try PINs, so no export shows it.
person_secret = sa.Table(
    "person_secret",
    metadata,
    sa.Column("event_id", Id, sa.ForeignKey("person_event.id"), primary_key=True, autoincrement=False),
    _required("secret", sa.Text),
)

# Append-only: what people asked to do, and what they were told.
act = sa.Table(
    "act",
    metadata,
    _id(),
    _required("name_key", sa.Text),
    _required("name", sa.Text),
    sa.Column("act", sa.Text),
    _required("about", sa.Text),
    _required("made", UtcTime),
    _required("answer", sa.Text),
    _one_of("answer", Answer),
    sa.Index(None, "name_key"),
)

# One line for each record, in the order of entry; what a record holds is not stored a second time.
ledger_entry = sa.Table(
    "ledger_entry",
    metadata,
    sa.Column("station", sa.Text, primary_key=True),
    # 1 for the first one of its station.
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _required("kind", sa.Text),
    _required("key", sa.Text),
    _required("made", UtcTime),
    # Why it was not entered together with its record; empty for nearly all.
    _required("late", sa.Text),
    _required("content", sa.String(64)),
    _required("link", sa.String(64)),
    # The primary key of the record's root row in this database, as JSON; no part of the chain.
    _required("row", sa.Text),
    sa.Index(None, "kind", "row"),
    sa.Index(None, "key"),
)

ledger_head = sa.Table(
    "ledger_head",
    metadata,
    sa.Column("station", sa.Text, primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _required("link", sa.String(64)),
    _required("made", UtcTime),
    _required("signature", sa.LargeBinary),
    _required("fingerprint", sa.String(64)),
)

# Append-only: the last one of a kind and name is the one that counts.
approval = sa.Table(
    "approval",
    metadata,
    _id(),
    _required("kind", sa.Text),
    _required("name", sa.Text),
    # 1 for the first one of its kind and name.
    _required("number", sa.Integer),
    _required("digest", sa.String(64), sa.ForeignKey("document.digest")),
    _required("person", sa.Text),
    _required("made", UtcTime),
    _required("why", sa.Text),
    sa.UniqueConstraint("kind", "name", "number"),
    sa.CheckConstraint("kind IN ('recipe', 'limit table')", name="kind"),
)

# Records whose name another one has there already; see `carrying`.
ledger_aside = sa.Table(
    "ledger_aside",
    metadata,
    sa.Column("station", sa.Text, primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _required("why", sa.Text),
    _required("content", sa.JSON),
)

# Append-only: what persons decided about units, beside all that was measured.
disposition = sa.Table(
    "disposition",
    metadata,
    _id(),
    _required("unit_id", Id, sa.ForeignKey("unit.id")),
    # 1 for the first one of its unit.
    _required("number", sa.Integer),
    _required("fate", sa.Text),
    _required("person", sa.Text),
    _required("made", UtcTime),
    _required("why", sa.Text),
    # The number of the unit's latest run by then; 0 where there was none.
    _required("after_run", sa.Integer),
    sa.Column("corrects", sa.Integer),
    sa.UniqueConstraint("unit_id", "number"),
    _one_of("fate", Fate),
)
