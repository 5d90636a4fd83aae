"""The verbs on how production fits its limits, and who or what makes it differ."""

from __future__ import annotations

from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, Works, door

verbs = typer.Typer()

Model = Annotated[str, typer.Argument(metavar="MODEL")]
Last = Annotated[
    int | None, typer.Option("--last", metavar="N", min=3, help="Of so many units, the last ones tested.")
]


@verbs.command()
@door
def capability(
    model: Model,
    characteristic: Annotated[
        str | None, typer.Option(metavar="NAME", help="Of this one only; all that have a limit by default.")
    ] = None,
    last: Last = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell how well a model's units fit between its limits."""
    from station.cli.capability_view import show_capability

    show_capability(works, model, characteristic, last, as_json=as_json)


@verbs.command()
@door
def compare(
    model: Model,
    characteristic: Annotated[str, typer.Argument(metavar="NAME")],
    by: Annotated[str, typer.Option(metavar="KEY", help="operator, station, order or recipe.")] = "operator",
    last: Last = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell whether operators, stations or orders read differently."""
    from station.cli.capability_view import show_differences

    show_differences(works, model, characteristic, by, last, as_json=as_json)
