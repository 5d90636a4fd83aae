"""The outcome of checking a certificate's signature, on a terminal and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from reports import wording
from station.cli.exits import Exit
from station.cli.tables import print_json, say

if TYPE_CHECKING:
    from reports.verification import Verification


def show_verification(file: Path, found: Verification, console: Console, *, as_json: bool) -> Exit:
    """The bottom line first, then what it rests on."""
    if as_json:
        facts = {"file": str(file), "status": found.status.value, "sentence": found.sentence, **asdict(found)}
        print_json(facts, console)
    else:
        say(console, f"{file.name}: {found.sentence}")
        if found.time_sentence:
            say(console, f"  {found.time_sentence}")
        for note in (found.twin_note, found.records_note):
            if note:
                say(console, f"  {note}")
        if found.fingerprint:
            say(console, f"  fingerprint of the signer's certificate: {wording.digest(found.fingerprint, 0)}")
    return Exit.PASS if found.status == "valid" else Exit.FAIL
