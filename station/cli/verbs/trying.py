"""The verbs that need no bench: the demo and the simulated bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from station.cli.door import AsJson, door
from station.cli.exits import Exit

verbs = typer.Typer()


@verbs.command()
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


@verbs.command()
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
