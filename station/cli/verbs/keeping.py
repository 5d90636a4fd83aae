"""The verbs that keep what the works knows: copies of everything, and the way back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, Works, door
from station.cli.exits import Exit
from station.cli.verbs.production import Since, Until

verbs = typer.Typer()


@verbs.command()
@door
def backup(
    to: Annotated[
        Path, typer.Option(metavar="PLACE", help="A new folder, or a new file if it ends with .zip.")
    ],
    works: Works = HERE,
    with_keys: Annotated[
        bool, typer.Option("--with-keys", help="The signing keys too: keep such a backup like a key.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Copy records and files of the works, also while the station runs."""
    from station.cli import keeping_acts as acts

    acts.backup(works, to, with_keys=with_keys, as_json=as_json)


@verbs.command()
@door
def restore(
    source: Annotated[Path, typer.Argument(metavar="BACKUP", help="Folder or file of a backup.")],
    to: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="The works to make; without it the backup is only proved."),
    ] = None,
    database: Annotated[
        str | None, typer.Option(metavar="URL", help="Another home for the records than before.")
    ] = None,
    as_json: AsJson = False,
) -> Exit:
    """Prove a backup and make a works of it; nothing is ever replaced."""
    from station.cli import keeping_acts as acts

    return acts.restore(source, to, database, as_json=as_json)


@verbs.command()
@door
def export(
    to: Annotated[
        Path, typer.Option(metavar="PLACE", help="A new folder, or a new file if it ends with .zip.")
    ],
    works: Works = HERE,
    order: Annotated[str | None, typer.Option(metavar="N", help="Of one work order only.")] = None,
    since: Since = None,
    until: Until = None,
    form: Annotated[
        list[str] | None, typer.Option(help="csv, parquet or json; several times for several. csv and json.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write records as CSV, Parquet, JSON and Touchstone, with a data dictionary."""
    from station.cli import keeping_acts as acts

    acts.export(works, to, (order, since, until), form or ["csv", "json"], as_json=as_json)


@verbs.command()
@door
def carry(
    works: Works = HERE,
    stay: Annotated[bool, typer.Option("--stay", help="Go on until Ctrl-C, over any outage.")] = False,
    status: Annotated[bool, typer.Option("--status", help="Only tell how much is to be carried.")] = False,
    as_json: AsJson = False,
) -> None:
    """Carry records to the database of the works."""
    from station.cli import carry_view

    carry_view.carry(works, stay=stay, status=status, as_json=as_json)


@verbs.command()
@door
def ledger(
    works: Works = HERE,
    sign: Annotated[bool, typer.Option("--sign", help="Sign for all that was entered up to now.")] = False,
    prove: Annotated[
        str | None, typer.Option(metavar="KEY", help="Write the proof of one record, e.g. 'SKV-0101 run 1'.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Where to write that proof.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Check a proof; needs no records.")
    ] = None,
    trust: Annotated[
        list[Path] | None, typer.Option(metavar="SIGNER.pem", help="The certificate of a signer you trust.")
    ] = None,
    as_json: AsJson = False,
) -> Exit:
    """Check that no record was altered, removed or put in."""
    from station.cli import ledger_view

    wish = ledger_view.Wish(sign, prove, to, check, tuple(trust or ()))
    return ledger_view.ledger(works, wish, as_json=as_json)
