"""Brings a database to the form this station writes. The steps are the modules in `versions/`.

Alembic is driven from here, on a connection that the store owns: no alembic.ini, no env.py.
"""

from __future__ import annotations

from pathlib import Path

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext, MigrationStep
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection

from station.database.schema import HEAD


def steps() -> ScriptDirectory:
    """All the steps this station knows."""
    return ScriptDirectory(Path(__file__).parent)


def upgrade(connection: Connection) -> None:
    """Take every step that is missing, within the connection's open transaction: all or none."""
    known = steps()

    def missing(current: tuple[str, ...], _context: MigrationContext) -> list[MigrationStep]:
        newest_first = known.iterate_revisions(HEAD, current or "base")
        oldest_first = reversed(list(newest_first))
        return [MigrationStep.upgrade_from_script(known.revision_map, step) for step in oldest_first]

    context = MigrationContext.configure(connection, opts={"fn": missing})
    with Operations.context(context):
        context.run_migrations()


def is_known(form: str) -> bool:
    """Whether a database of this form is older than, or the same as, what this station writes."""
    return any(step.revision == form for step in steps().walk_revisions())
