"""Loads that are not perfect: taken out where they were measured, and nothing but an error where they were not."""

from __future__ import annotations

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.loads import Load
from fixtures_sim.server import running_bench
from fixtures_sim.units import build_unit, defect_from
from limits.reading import Reading
from station.desk import open_desk
from station.errors import DoubtfulMeasurement
from station.measurements.sweep import PORTS
from station.records import evaluated
from station.sequencer import recipe as recipes
from station.sequencer.events import LoadsTakenOut, ReadingMade
from station.settings import Works

POOR = Load(return_loss_db=20.0, phase_rad=0.7, delay_s=0.5e-9)
FILES = "loads: {TX: load.s1p, ANT: load.s1p, RX: load.s1p}\n"


def readings_of(
    works: Works, hands, point_bench, load: Load | None, stated: Load | None
) -> dict[str, Reading]:
    """The readings in dB of one unit on a quiet bench with these loads, when the bench file states those."""
    unit = build_unit(
        "SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, (defect_from({"kind": "tolerance", "percent": 30}),)
    )
    loads = dict.fromkeys(PORTS, load) if load else {}
    with running_bench(device=unit, imperfections=Imperfections(noise=None, loads=loads)) as bench:
        point_bench(works, bench.socket_address, "linear-single")
        if stated:
            (works.folder / "load.s1p").write_text(stated.touchstone(np.linspace(150e6, 165e6, 301)))
            works.bench.write_text(works.bench.read_text() + FILES)
        hands.bench = bench
        hands.events.clear()
        with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
            session.test("SKV-0001", because="sampling")
    found = (event.reading for event in hands.events if isinstance(event, ReadingMade))
    return {each.name: each for each in found if isinstance(each, Reading) and each.unit == "dB"}


def test_a_measured_load_of_20_db_leaves_no_trace_and_an_unknown_one_does(works, hands, point_bench) -> None:
    ideal = readings_of(works, hands, point_bench, None, None)
    unknown = readings_of(works, hands, point_bench, POOR, None)
    known = readings_of(works, hands, point_bench, POOR, POOR)
    (told,) = [event for event in hands.events if isinstance(event, LoadsTakenOut)]
    assert told.consistency.largest < 1e-4
    off = {name: abs(unknown[name].value - ideal[name].value) for name in ideal}
    assert max(off.values()) > 0.3
    for name, reading in known.items():
        assert reading.value == pytest.approx(ideal[name].value, abs=0.02), name
    with open_desk(works.folder) as desk:
        run = desk.stored_run("SKV-0001")
    assert [each.port for each in run.head.loads] == list(PORTS)
    (works.folder / "load.s1p").unlink()
    again = evaluated(run)
    bound = recipes.load(works.recipes / "SK-V4.yaml").bind(recipes.Channels(156.6e6, 157.4e6))
    for item in bound:
        if item.name in known:
            assert item.read(again).value == pytest.approx(known[item.name].value, abs=1e-4), item.name


def test_a_load_stated_wrongly_is_a_doubt_and_no_failed_unit(works, hands, point_bench) -> None:
    with pytest.raises(DoubtfulMeasurement, match="reflects differently in hook-ups"):
        readings_of(works, hands, point_bench, None, POOR)
