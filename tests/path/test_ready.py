"""`station ready`: what speaks against testing, each reason with its way out."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from station.settings import Works


def test_a_bench_in_order_is_ready(station: Callable[..., Any], works: Works) -> None:
    ran = station("ready", "--works", works.folder)

    assert ran.code == 0, ran.err
    assert "Ready to test with" in ran.out


def test_every_reason_is_told_with_its_way_out(station: Callable[..., Any], works: Works) -> None:
    works.key.unlink()
    text = works.bench.read_text()
    works.bench.write_text(text.replace("Simulated vector analyzer", "Another analyzer"))

    ran = station("ready", "--works", works.folder, "--json")

    told = json.loads(ran.out)
    assert ran.code == 5
    assert told["ready"] is False
    assert [bool(reason["way_out"]) for reason in told["reasons"]] == [True, True]
    assert "Another analyzer" in told["reasons"][0]["what"]
    assert told["reasons"][1]["way_out"] == "run `station key`"
