"""The outcome of checking a certificate's signature, on a terminal and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from reports import wording
from station.cli.exits import Exit
from station.cli.tables import print_json

if TYPE_CHECKING:
    from reports.verifying import Verification


def show_verification(file: Path, found: Verification, console: Console, *, as_json: bool) -> Exit:
    """The bottom line first, then what it rests on."""
    if as_json:
        facts = {"file": str(file), "status": found.status.value, "sentence": found.sentence, **asdict(found)}
        print_json(facts, console)
    else:
        console.print(f"{file.name}: {found.sentence}", markup=False, highlight=False, soft_wrap=True)
        if found.signer and found.signed_at:
            console.print(
                f"  signed by {found.signer}, {wording.moment(found.signed_at)}\n"
                f"  certificate {wording.digest(found.fingerprint, 0)}",
                markup=False,
                highlight=False,
                soft_wrap=True,
            )
    return Exit.PASS if found.status == "valid" else Exit.FAIL
