"""The verbs on many units at once."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, Works, door

verbs = typer.Typer()

Since = Annotated[
    datetime | None,
    typer.Option("--since", formats=["%Y-%m-%d"], metavar="DAY", help="From this day on (UTC)."),
]
Until = Annotated[
    datetime | None, typer.Option("--until", formats=["%Y-%m-%d"], metavar="DAY", help="Up to this day.")
]


@verbs.command(name="yield")
@door
def yield_(
    works: Works = HERE,
    by: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY", help="day, week, month, model, order, station, operator or recipe; or several."
        ),
    ] = None,
    since: Since = None,
    until: Until = None,
    as_json: AsJson = False,
) -> None:
    """Show how many units pass at once, and how many in the end."""
    from station.cli import trends_view

    trends_view.show_yield(works, by or [], _day(since), _day(until), as_json=as_json)


@verbs.command()
@door
def failures(works: Works = HERE, since: Since = None, until: Until = None, as_json: AsJson = False) -> None:
    """Show what units fail in, the most frequent first."""
    from station.cli import trends_view

    trends_view.show_failures(works, _day(since), _day(until), as_json=as_json)


@verbs.command()
@door
def risk(
    model: Annotated[str, typer.Argument(metavar="MODEL")],
    characteristic: Annotated[
        str | None, typer.Option(metavar="NAME", help="Of this one only; all that have a limit by default.")
    ] = None,
    at_most: Annotated[
        str | None,
        typer.Option(metavar="'1 %'", help="Tell the guard bands that keep the consumer's risk so low."),
    ] = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell how often a model's limits decide wrongly."""
    from station.cli.risk import show_risks

    show_risks(works, model, characteristic, at_most, as_json=as_json)


Model = Annotated[str, typer.Option("--model", metavar="MODEL", help="Of the units of this model.")]
Last = Annotated[int | None, typer.Option("--last", metavar="N", min=2, help="Only the last so many units.")]


@verbs.command()
@door
def chart(
    characteristic: Annotated[
        str,
        typer.Argument(
            metavar="NAME", help="A characteristic; or p, units that fail at once; or u, in how much."
        ),
    ],
    model: Model,
    kind: Annotated[
        str, typer.Option(metavar="KIND", help="individuals, mean-sd, mean-range (by order), ewma or cusum.")
    ] = "individuals",
    split: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY",
            help="New limits at each new recipe (default), calibration, operator, station, order; or none.",
        ),
    ] = None,
    baseline: Annotated[
        int | None,
        typer.Option(metavar="N", min=2, help="The first so many points of each phase set its limits."),
    ] = None,
    rule: Annotated[
        list[str] | None,
        typer.Option(
            metavar="RULE", help="WE1 to WE4 (default), N1 to N8; WE or N for all of them; or several."
        ),
    ] = None,
    last: Last = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell whether a characteristic is in control: limits by its own history, and what alarms."""
    from station.cli import chart_view

    wish = chart_view.wish_of(kind, split, baseline, rule)
    chart_view.show_chart(works, model, characteristic, wish, last, as_json=as_json)


@verbs.command()
@door
def shift(
    characteristic: Annotated[str, typer.Argument(metavar="NAME")],
    model: Model,
    last: Last = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell when a characteristic most likely shifted, and what else changed then."""
    from station.cli import shift_view

    shift_view.show_shift(works, model, characteristic, last, as_json=as_json)


def _day(moment: datetime | None) -> date | None:
    return None if moment is None else moment.date()
