"""The study of connectors on a terminal."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path

from station.cli.asking import aside, celsius_of, out
from station.cli.exits import Exit
from station.cli.signing_in import at_bench
from station.cli.tables import print_json, say


def repeat(folder: Path, times: int, operator: str, temperature: str | None, *, as_json: bool) -> Exit:
    """Have the check standard connected again and again by a person at the bench."""
    from station.cli.terminal import RunTeller, TerminalOperator
    from station.desk import open_desk

    temperature_c = celsius_of(temperature)
    console = aside() if as_json else out()
    with open_desk(folder) as desk:
        desk, name = at_bench(desk, operator)
        with desk.bench(TerminalOperator(name, console), RunTeller(console)) as bench:
            found = bench.repeatability(times, temperature_c=temperature_c)
    stated_db = math.ceil(found.deviation_db * 1000) / 1000
    if as_json:
        print_json({**asdict(found), "known_to": found.known_to}, out())
        return Exit.PASS
    say(
        out(),
        f"\nFrom one connection to the next a loss differs by {stated_db:.3f} dB (standard deviation; from "
        f"{found.connections} connections, so known to {found.known_to:.0%}). Two sweeps of one connection differ by "
        f"{found.noise_db:.4f} dB, which was taken out.\nIn bench.yaml, under 'uncertainty':",
        wrap=True,
    )
    say(out(), f"  connector_repeatability: {max(stated_db, 0.001):.3f} dB")
    return Exit.PASS
