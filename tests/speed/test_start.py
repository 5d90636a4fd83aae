"""How long a person waits for `station --help`: an import of a heavy room that nobody needs there would show."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROUNDS = 10
WANTED_S = 0.4
GENEROUS = 2.0
"""A slow machine is not the station's fault; an import of everything takes more than this."""


def test_help_comes_at_once() -> None:
    program = str(Path(sys.executable).with_name("station"))
    taken = []
    for _ in range(ROUNDS + 1):
        begun = time.perf_counter()
        subprocess.run([program, "--help"], check=True, capture_output=True)
        taken.append(time.perf_counter() - begun)
    # the first one may still compile
    warm = sorted(taken[1:])
    print(  # noqa: T201
        f"\nstation --help: {1e3 * statistics.median(warm):.0f} ms ({1e3 * warm[0]:.0f} to {1e3 * warm[-1]:.0f}), "
        f"wanted below {1e3 * WANTED_S:.0f}"
    )
    assert statistics.median(warm) < GENEROUS * WANTED_S
