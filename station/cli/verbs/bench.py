"""The verbs for who stands at the bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, Serial, Temperature, Works, door
from station.cli.exits import Exit

verbs = typer.Typer()


@verbs.command()
@door
def calibrate(
    works: Works = HERE,
    over: Annotated[
        list[str] | None,
        typer.Option(metavar="'150 MHz to 170 MHz'", help="Where, instead of for all open orders."),
    ] = None,
    operator: Annotated[
        str,
        typer.Option(
            envvar="STATION_OPERATOR", help="Who calibrates, for the record; asked for if not given."
        ),
    ] = "",
    temperature: Temperature = None,
    as_json: AsJson = False,
) -> Exit:
    """Calibrate the bench; you are told each standard."""
    from station.cli import bench_acts as acts

    return acts.calibrate(works, over or [], operator, temperature, as_json=as_json)


@verbs.command()
@door
def calibrations(
    works: Works = HERE,
    latest: Annotated[int, typer.Option(metavar="N", min=1, help="How many, the newest first.")] = 20,
    as_json: AsJson = False,
) -> None:
    """List the calibrations of this station, and the one in force."""
    from station.cli.calibration_view import show_calibrations

    show_calibrations(works, latest, as_json=as_json)


@verbs.command()
@door
def standard(
    works: Works = HERE,
    operator: Annotated[
        str,
        typer.Option(
            envvar="STATION_OPERATOR", help="Who measures, for the record; asked for when not given."
        ),
    ] = "",
    temperature: Annotated[
        str | None, typer.Option(metavar="'23 °C'", help="Temperature of the standard, if you measured it.")
    ] = None,
    history: Annotated[
        bool, typer.Option("--history", help="Show the latest checks and the drift instead of measuring.")
    ] = False,
    latest: Annotated[
        int, typer.Option("--latest", metavar="N", min=1, help="How many checks --history shows.")
    ] = 30,
    accept: Annotated[
        bool, typer.Option("--accept", help="The standard was serviced or certified anew; needs --by, --why.")
    ] = False,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who accepts.")] = "",
    why: Annotated[str, typer.Option(metavar="TEXT", help="Why, for the record.")] = "",
    as_json: AsJson = False,
) -> Exit:
    """Measure the check standard: does the station still measure right?"""
    from station.cli import standard as acts

    if accept:
        return acts.accept(works, by, why, as_json=as_json)
    if history:
        return acts.history(works, latest, as_json=as_json)
    return acts.measure(works, operator, temperature, as_json=as_json)


@verbs.command()
@door
def ready(works: Works = HERE, temperature: Temperature = None, as_json: AsJson = False) -> Exit:
    """Tell what speaks against testing now, and the way out."""
    from station.cli import bench_acts as acts

    return acts.ready(works, temperature, as_json=as_json)


@verbs.command()
@door
def test(
    serial: Serial,
    works: Works = HERE,
    operator: Annotated[
        str,
        typer.Option(envvar="STATION_OPERATOR", help="Who tests, for the record; asked for when not given."),
    ] = "",
    temperature: Annotated[
        str | None, typer.Option(metavar="'23 °C'", help="Temperature of the unit, if you measured it.")
    ] = None,
    bench_temperature: Annotated[
        str | None,
        typer.Option(metavar="'23 °C'", help="At the bench, where no unit that settled there tells it."),
    ] = None,
    settled_since: Annotated[
        str | None,
        typer.Option("--settled-since", metavar="10:20", help="Since when the unit has been at the bench."),
    ] = None,
    recipe: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Another recipe than the model's own.")
    ] = None,
    because: Annotated[
        str, typer.Option(metavar="CODE", help="Why it is tested again: a reason of works.yaml.")
    ] = "",
    why: Annotated[str, typer.Option(metavar="TEXT", help="What else is to be known of that reason.")] = "",
    no_input: Annotated[
        bool,
        typer.Option("--no-input", help="Ask nothing but the hook-ups and wait for nothing; refuse instead."),
    ] = False,
    as_json: AsJson = False,
) -> Exit:
    """Test one unit; you are told each hook-up."""
    from station.cli import bench_acts as acts

    return acts.test(
        works,
        serial,
        operator,
        temperature,
        bench_temperature,
        settled_since,
        recipe,
        (because, why),
        may_ask=not no_input,
        as_json=as_json,
    )


@verbs.command()
@door
def repeatability(
    works: Works = HERE,
    times: Annotated[int, typer.Option(metavar="N", min=3, max=100, help="How many connections.")] = 10,
    operator: Annotated[
        str, typer.Option(envvar="STATION_OPERATOR", help="Who measures; asked for when not given.")
    ] = "",
    temperature: Temperature = None,
    as_json: AsJson = False,
) -> Exit:
    """Find how well connectors repeat, on the check standard."""
    from station.cli.repeat import repeat

    return repeat(works, times, operator, temperature, as_json=as_json)


@verbs.command()
@door
def service(
    cable: Annotated[
        str | None, typer.Argument(metavar="CABLE", help="As bench.yaml names it; all are listed without.")
    ] = None,
    works: Works = HERE,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who serviced it.")] = None,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="What was found or done.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say that a cable's connector was gauged or replaced."""
    from station.cli import cables_view

    cables_view.service(works, cable, by, why, as_json=as_json)


@verbs.command(name="try-dialect")
@door
def try_dialect(
    works: Works = HERE,
    power: Annotated[
        str, typer.Option(metavar="'-20 dBm'", help="Source power of the trial sweep.")
    ] = "-20 dBm",
    as_json: AsJson = False,
) -> Exit:
    """Try the dialect on the connected analyzer."""
    from station.cli import bench_acts as acts

    return acts.try_dialect(works, power, as_json=as_json)
