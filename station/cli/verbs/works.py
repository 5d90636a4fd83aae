"""The verbs that make a works and what is in its folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, By, Works, door
from station.cli.exits import Exit

verbs = typer.Typer()


@verbs.command()
@door
def create(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Must not exist yet, or be empty.")],
    name: Annotated[str, typer.Option(help="Name of the works, as on certificates.")],
    address: Annotated[list[str], typer.Option(help="An address line; once for each line.")],
    bench: Annotated[str, typer.Option(help="Name of this test station.")] = "final test 1",
) -> None:
    """Make an empty works folder."""
    from station.cli import works_acts as acts

    acts.create(folder, name, tuple(address), bench)


@verbs.command(name="import")
@door
def import_(
    file: Annotated[
        Path, typer.Argument(metavar="ORDERS.csv", help="order,customer,model,tx,rx,serials,due")
    ],
    works: Works = HERE,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Take in work orders from a CSV file."""
    from station.cli import works_acts as acts

    acts.import_orders(works, file, by, as_json=as_json)


@verbs.command()
@door
def orders(works: Works = HERE, as_json: AsJson = False) -> None:
    """List the work orders and how far each has come."""
    from station.cli import works_acts as acts

    acts.orders(works, as_json=as_json)


@verbs.command()
@door
def people(
    works: Works = HERE,
    add: Annotated[str | None, typer.Option("--add", metavar="NAME", help="Register somebody.")] = None,
    change: Annotated[
        str | None,
        typer.Option("--change", metavar="NAME", help="Give somebody other roles, or another badge."),
    ] = None,
    retire: Annotated[
        str | None, typer.Option("--retire", metavar="NAME", help="Somebody works here no more.")
    ] = None,
    pin: Annotated[
        str | None, typer.Option("--pin", metavar="NAME", help="Set another PIN or password.")
    ] = None,
    role: Annotated[
        list[str] | None,
        typer.Option(metavar="ROLE", help="operator, technician, quality or administrator; once for each."),
    ] = None,
    badge: Annotated[
        str | None, typer.Option(metavar="CODE", help="What the badge says, or '' for none.")
    ] = None,
    by: By = "",
    pin_file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Holds the new PIN; it is asked for when not given.")
    ] = None,
    acts: Annotated[
        bool, typer.Option("--acts", help="What people asked to do, and whether they might; the latest.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """List who works here, and register people and their rights."""
    from station.cli import people_acts

    wanted = people_acts.Wanted(add, change, retire, pin, tuple(role or ()), badge, by, pin_file)
    people_acts.people(works, wanted, acts=acts, as_json=as_json)


@verbs.command()
@door
def approve(
    what: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="NAME|FILE", help="A recipe and limit table by name, or one file; all are listed without."
        ),
    ] = None,
    works: Works = HERE,
    by: By = "",
    why: Annotated[str, typer.Option(metavar="TEXT", help="Why it was changed, for the record.")] = "",
    yes: Annotated[bool, typer.Option("--yes", help="Approve without being asked again.")] = False,
    as_json: AsJson = False,
) -> None:
    """Tell what changed in recipes and limit tables, and approve it."""
    from station.cli import approve_acts as acts

    if what:
        acts.approve(works, what, by, why, yes=yes, as_json=as_json)
    else:
        acts.list_papers(works, as_json=as_json)


@verbs.command()
@door
def check(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE", help="All files of the works folder by default.")
    ] = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> Exit:
    """Check files of the works without testing anything."""
    from station.cli import works_acts as acts

    return acts.check(works, tuple(files or ()), as_json=as_json)


@verbs.command()
@door
def schema(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND", help="recipe, limit-table, bench, dialect, kit, known-values or certificate"
        ),
    ],
) -> None:
    """Print the JSON Schema of a kind of file, or of the JSON inside a certificate."""
    from station.cli import works_acts as acts

    acts.schema(kind)
