"""Tables for people and the same rows as JSON for programs: every verb that prints a table uses this."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: where its value is in a row, what stands above it, and how it is said in words."""

    key: str
    heading: str
    words: Callable[[Any], str] = str
    right: bool = False
    least: int | None = None
    """Characters it is never squeezed below."""

    whole: bool = False
    """Never folded, so that room is taken from the others."""

    style: Callable[[Any], str] = lambda value: ""


def there(folder: Path) -> str:
    """What a command that is suggested next needs to find the works; nothing where that is the current folder."""
    return "" if folder.resolve() == Path.cwd() else f" --works {shlex.quote(str(folder))}"


def say(console: Console, text: str, style: str = "", *, wrap: bool = False) -> None:
    """Print a text as it is: never read as markup, never coloured word by word.

    Cut into lines between words only where `wrap` says so: prose for a person, never a path to be copied.
    """
    console.print(Text(text, style=style), soft_wrap=not wrap)


def show(rows: Sequence[Row], columns: Sequence[Column], console: Console, *, as_json: bool) -> None:
    """Print the rows, as a table or as a JSON list; in JSON every value of a row is kept as it is."""
    if as_json:
        print_json(list(rows), console)
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True, padding=(0, 1))
    for column in columns:
        table.add_column(
            column.heading,
            justify="right" if column.right else "left",
            overflow="fold",
            min_width=column.least,
            no_wrap=column.whole,
        )
    for row in rows:
        values = [(column, row[column.key]) for column in columns]
        table.add_row(
            *(
                Text("" if value is None else column.words(value), style=column.style(value))
                for column, value in values
            )
        )
    console.print(table)


def print_json(value: object, console: Console) -> None:
    """Print a value as JSON, dates in ISO 8601; never wrapped or coloured, so that a program can read it."""
    console.print(
        json.dumps(value, indent=2, ensure_ascii=False, default=_plain),
        markup=False,
        highlight=False,
        soft_wrap=True,
    )


def _plain(value: object) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value)


VERDICT_STYLE = {"pass": "green", "fail": "bold red", "undecided": "bold yellow"}


def verdict_style(value: object) -> str:
    """Colour is never the only sign: the word itself is printed."""
    return VERDICT_STYLE.get(str(value), "yellow")
