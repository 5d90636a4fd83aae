"""The command line: each verb parses, makes one call on the desk and shows what came back.

Heavy rooms are imported where a verb needs them, so that `station --help` is instant.
"""

from __future__ import annotations

import typer

from station.cli.verbs import bench, capability, keeping, keys, production, trying, units, works

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

# In the order in which the help lists them.
for group in (trying, works, keys, bench, units, production, capability, keeping):
    app.add_typer(group.verbs)


def main() -> None:
    """What the `station` command runs."""
    app()
