"""The options that many verbs share, and the door each goes through: how it ends, and what its errors say."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from station.cli.exits import carry_out

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
By = Annotated[
    str,
    typer.Option(
        "--by",
        metavar="NAME",
        help="You, by name or badge, where people are registered.",
    ),
]
HERE = Path()


def door(act: Act) -> Act:
    """Turn what an act returns or raises into an exit code and, for an error, one clear message."""

    @functools.wraps(act)
    def opened(*args: Any, **options: Any) -> None:
        raise typer.Exit(carry_out(functools.partial(act, *args, **options)))

    return opened  # type: ignore[return-value]
