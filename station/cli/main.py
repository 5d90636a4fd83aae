"""The command line: each verb parses, makes one call on the desk and shows what came back.

Heavy rooms are imported where a verb needs them, so that `station --help` is instant.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from station.cli.exits import Exit, carry_out

EXIT_CODES = """Exit codes: 0 pass, or done; 2 your mistake; 3 fail; 4 undecided; 5 station fault; 130 stopped.

Never key a transmitter into a unit on the bench."""

app = typer.Typer(
    name="station",
    help="Final test of cavity duplexers: recipes in, readings judged, signed certificates out.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Act = TypeVar("Act", bound=Callable[..., Any])
Works = Annotated[
    Path, typer.Option("--works", metavar="DIR", envvar="STATION_WORKS", help="The works folder.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for a program instead of words.")]
Serial = Annotated[str, typer.Argument(metavar="SERIAL", help="As on the unit's label.")]
Run = Annotated[
    int | None,
    typer.Option("--run", metavar="N", min=1, help="Which run; the latest with a verdict by default."),
]
Temperature = Annotated[
    str | None, typer.Option("--temperature", metavar="'23 °C'", help="At the bench, if you measured it.")
]
HERE = Path()


def door(act: Act) -> Act:
    """Turn what an act returns or raises into an exit code and, for an error, one clear message."""

    @functools.wraps(act)
    def opened(*args: Any, **options: Any) -> None:
        raise typer.Exit(carry_out(functools.partial(act, *args, **options)))

    return opened  # type: ignore[return-value]


@app.command()
@door
def demo(
    folder: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where to make the works folder; must not exist yet.")
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same readings.")] = 2,
    real_time: Annotated[
        bool, typer.Option("--real-time", help="Let each sweep take as long as on an analyzer.")
    ] = False,
    as_json: AsJson = False,
) -> Exit:
    """Test a small production on a simulated bench."""
    from station.cli.demo import run_demo

    return run_demo(folder, seed, real_time=real_time, as_json=as_json)


@app.command()
@door
def create(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Must not exist yet, or be empty.")],
    name: Annotated[str, typer.Option(help="Name of the works, as on certificates.")],
    address: Annotated[list[str], typer.Option(help="An address line; once for each line.")],
    bench: Annotated[str, typer.Option(help="Name of this test station.")] = "final test 1",
) -> None:
    """Make an empty works folder."""
    from station.cli import acts

    acts.create(folder, name, tuple(address), bench)


@app.command()
@door
def key(
    works: Works = HERE,
    years: Annotated[int, typer.Option(min=1, max=30, help="How long it stays valid.")] = 5,
) -> None:
    """Make the key that signs the certificates."""
    from station.cli import acts

    acts.key(works, years)


@app.command(name="import")
@door
def import_(
    file: Annotated[
        Path, typer.Argument(metavar="ORDERS.csv", help="order,customer,model,tx,rx,serials,due")
    ],
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Take in work orders from a CSV file."""
    from station.cli import acts

    acts.import_orders(works, file, as_json=as_json)


@app.command()
@door
def orders(works: Works = HERE, as_json: AsJson = False) -> None:
    """List the work orders and how far each has come."""
    from station.cli import acts

    acts.orders(works, as_json=as_json)


@app.command()
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
    no_input: Annotated[
        bool,
        typer.Option("--no-input", help="Ask nothing but the hook-ups and wait for nothing; refuse instead."),
    ] = False,
    as_json: AsJson = False,
) -> Exit:
    """Test one unit; you are told each hook-up."""
    from station.cli import acts

    return acts.test(
        works,
        serial,
        operator,
        temperature,
        bench_temperature,
        settled_since,
        recipe,
        may_ask=not no_input,
        as_json=as_json,
    )


@app.command()
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
    from station.cli import acts

    return acts.calibrate(works, over or [], operator, temperature, as_json=as_json)


@app.command()
@door
def ready(works: Works = HERE, temperature: Temperature = None, as_json: AsJson = False) -> Exit:
    """Tell what speaks against testing now, and the way out."""
    from station.cli import acts

    return acts.ready(works, temperature, as_json=as_json)


@app.command()
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


@app.command()
@door
def check(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE", help="All files of the works folder by default.")
    ] = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> Exit:
    """Check files of the works without testing anything."""
    from station.cli import acts

    return acts.check(works, tuple(files or ()), as_json=as_json)


@app.command()
@door
def show(
    serial: Serial,
    works: Works = HERE,
    run: Run = None,
    budget: Annotated[
        str | None, typer.Option(metavar="NAME", help="Why this reading is as uncertain as it is.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show a unit's runs, and the readings of one."""
    from station.cli import acts

    if budget is not None:
        acts.show_budget_of(works, serial, run, budget, as_json=as_json)
    else:
        acts.show_unit(works, serial, run, as_json=as_json)


@app.command()
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


Since = Annotated[
    datetime | None,
    typer.Option("--since", formats=["%Y-%m-%d"], metavar="DAY", help="From this day on (UTC)."),
]
Until = Annotated[
    datetime | None, typer.Option("--until", formats=["%Y-%m-%d"], metavar="DAY", help="Up to this day.")
]


@app.command(name="yield")
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


@app.command()
@door
def failures(works: Works = HERE, since: Since = None, until: Until = None, as_json: AsJson = False) -> None:
    """Show what units fail in, the most frequent first."""
    from station.cli import trends_view

    trends_view.show_failures(works, _day(since), _day(until), as_json=as_json)


def _day(moment: datetime | None) -> date | None:
    return None if moment is None else moment.date()


@app.command()
@door
def certify(serial: Serial, works: Works = HERE, run: Run = None, as_json: AsJson = False) -> None:
    """Make the certificate, or failure sheet, of a unit."""
    from station.cli import acts

    acts.certify(works, serial, run, as_json=as_json)


@app.command()
@door
def resolve(
    serial: Serial,
    ruling: Annotated[
        str | None,
        typer.Argument(metavar="release|reject", help="Without it you are told what would decide the unit."),
    ] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who decides, and signs for it.")] = "",
    why: Annotated[str, typer.Option(metavar="REASON", help="So that others can follow it.")] = "",
    corrects: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="The earlier decision that this one corrects.")
    ] = None,
    works: Works = HERE,
    run: Run = None,
    as_json: AsJson = False,
) -> Exit:
    """Decide an undecided unit as a person, and sign for it."""
    from station.cli.resolve import resolve_unit

    return resolve_unit(works, serial, run, (ruling, by, why, corrects), as_json=as_json)


@app.command()
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


@app.command()
@door
def verify(
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf")],
    works: Works = HERE,
    trust: Annotated[
        list[Path] | None, typer.Option(metavar="SIGNER.pem", help="The certificate of a signer you trust.")
    ] = None,
    as_json: AsJson = False,
) -> Exit:
    """Check whether a certificate is whole and who signed it."""
    from station.cli import acts

    return acts.verify(works, file, tuple(trust or ()), as_json=as_json)


@app.command()
@door
def touchstone(
    serial: Serial,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where to put one .s2p file per hook-up.")],
    works: Works = HERE,
    run: Run = None,
) -> None:
    """Write the sweeps of a run as Touchstone files."""
    from station.cli import acts

    acts.touchstone(works, serial, run, out)


@app.command()
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
        bool, typer.Option("--history", help="Show every check and the drift instead of measuring.")
    ] = False,
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
        return acts.history(works, as_json=as_json)
    return acts.measure(works, operator, temperature, as_json=as_json)


@app.command(name="try-dialect")
@door
def try_dialect(
    works: Works = HERE,
    power: Annotated[
        str, typer.Option(metavar="'-20 dBm'", help="Source power of the trial sweep.")
    ] = "-20 dBm",
    as_json: AsJson = False,
) -> Exit:
    """Try the dialect on the connected analyzer."""
    from station.cli import acts

    return acts.try_dialect(works, power, as_json=as_json)


@app.command()
@door
def simulate(
    seed: Annotated[int, typer.Option(metavar="N")] = 1,
    real_time: Annotated[bool, typer.Option("--real-time", help="Sweeps take their time.")] = False,
    bench: Annotated[
        str, typer.Option(metavar="KIND", help="two-port, three-port, switched or scalar.")
    ] = "two-port",
    imperfect: Annotated[
        bool,
        typer.Option("--imperfect", help="With everything a real bench adds: errors, drift, connectors."),
    ] = False,
    socket_port: Annotated[int, typer.Option(metavar="PORT", help="0 takes a free one.")] = 0,
    hislip_port: Annotated[int, typer.Option(metavar="PORT", help="0 takes a free one.")] = 0,
) -> None:
    """Start the simulated bench alone; Ctrl-C ends it."""
    from station.cli.simulator import run_alone

    run_alone(
        seed,
        real_time=real_time,
        imperfect=imperfect,
        bench=bench,
        socket_port=socket_port,
        hislip_port=hislip_port,
    )


@app.command()
@door
def schema(
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="recipe, limit-table, bench, dialect, kit or known-values")
    ],
) -> None:
    """Print the JSON Schema of a kind of file."""
    from station.cli import acts

    acts.schema(kind)


def main() -> None:
    """What the `station` command runs."""
    app()
