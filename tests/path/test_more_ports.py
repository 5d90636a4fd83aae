"""More ports, fewer hands: the same unit over the three kinds of vector bench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench, running_bench
from fixtures_sim.units import build_unit, defect_from
from limits.quantity import Channels
from limits.reading import Reading
from limits.yamlfile import parse
from station.desk import open_desk
from station.measurements.sweep import HOOKUPS, WHOLE, Hookup
from station.records import evaluated
from station.sequencer.events import HookupAsked, ReadingMade, SweepStored
from station.sequencer.recipe import Recipe, RecipeForm
from station.settings import Works

NOISE_DB = 0.03
"""As in test_main_job; of an isolation it would be more, which is left out here."""

KINDS: dict[str, tuple[str, str, dict[str, object]]] = {
    "vector": ("vector", "linear-single", {}),
    "three-port": ("three-port", "list-nine", {"ports": 3}),
    "switched": ("vector", "list-all", {"switched": True}),
}
"""Kind of analyzer, its dialect, and how the bench is asked for."""


def bench_file(kind: str, bench: Bench) -> str:
    analyzer, dialect, _ = KINDS[kind]
    text = (
        f"bench: {kind}\nanalyzer:\n  kind: {analyzer}\n  address: {bench.socket_address}\n"
        f"  dialect: {dialect}\n  identity: vector analyzer\n  from: 300 kHz\n  to: 3 GHz\n"
        "  most_points: 1601\n"
    )
    if bench.switch:
        text += f"switch:\n  address: {bench.address_of('switch')}\n  dialect: route-channels\n"
        text += "  identity: Simulated RF switch\n"
    return text


FIGURES = """\
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
"""

KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
CALIBRATED = """\
calibration: {by: station, kit: works-n, valid_for: 12 h}
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.03 dB
  drift: 0.03 dB
  directivity: 42 dB
  port_match: 40 dB
  load_match: 40 dB
"""
"""What the full imperfections come to: a load of 46 dB and connectors of 55 dB that are met several times."""

Run = Callable[..., tuple[list[Hookup], list[Hookup], dict[str, Reading]]]


@pytest.fixture
def run(works: Works, hands) -> Run:
    """Tests one unit on a bench of a kind; the hook-ups asked for, the sweeps made, and the readings."""

    def run(kind: str, stated: str = "") -> tuple[list[Hookup], list[Hookup], dict[str, Reading]]:
        careful = (defect_from({"kind": "tolerance", "percent": 30}),)
        events = hands.events
        events.clear()
        with running_bench(seed=1, **KINDS[kind][2]) as bench:
            works.bench.write_text(bench_file(kind, bench) + stated)
            bench.place(build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, careful))
            hands.bench = bench
            with open_desk(works.folder) as desk, desk.bench(hands, events.append) as session:
                session.test("SKV-0001", temperature_c=23.0, because="sampling")
        readings = [event.reading for event in events if isinstance(event, ReadingMade)]
        return (
            [event.hookup for event in events if isinstance(event, HookupAsked)],
            [event.sweep.hookup for event in events if isinstance(event, SweepStored)],
            {reading.name: reading for reading in readings if isinstance(reading, Reading)},
        )

    return run


def test_the_more_ports_the_fewer_hook_ups(run: Run) -> None:
    """A pair at a time; the whole unit in one sweep; every pair over a switch, cabled once."""
    assert run("vector")[:2] == (list(HOOKUPS), list(HOOKUPS))
    assert run("three-port")[:2] == ([WHOLE], [WHOLE])
    assert run("switched")[:2] == ([WHOLE], list(HOOKUPS))


@pytest.mark.parametrize("kind", ["three-port", "switched"])
def test_a_unit_reads_the_same_as_pair_by_pair(run: Run, kind: str) -> None:
    """Every loss and return loss, but for noise."""
    by_pairs, other = run("vector")[2], run(kind)[2]
    assert by_pairs.keys() == other.keys()
    compared = [
        name
        for name, reading in by_pairs.items()
        if reading.unit == "dB" and reading.value is not None and reading.value < 45.0
    ]
    assert len(compared) >= 8
    for name in compared:
        assert other[name].value == pytest.approx(by_pairs[name].value, abs=NOISE_DB), name


@pytest.mark.parametrize(("kind", "cabled"), [("three-port", [WHOLE]), ("switched", [WHOLE])])
def test_what_counts_is_swept_again_without_another_hook_up(
    run: Run, kind: str, cabled: list[Hookup]
) -> None:
    """With stated figures the recipe's effort applies: an isolation near the floor of the fast sweep."""
    careful = run(kind)
    asked, swept, readings = run(kind, FIGURES)
    assert asked == cabled
    assert len(swept) > len(careful[1])
    assert set(swept) == set(careful[1])
    u = readings["isolation_at_rx"].u
    assert u is not None
    assert readings["isolation_at_rx"].value == pytest.approx(careful[2]["isolation_at_rx"].value, abs=2 * u)


@pytest.mark.parametrize("kind", KINDS)
def test_a_unit_on_an_imperfect_bench_reads_within_u_of_the_truth(works: Works, hands, kind: str) -> None:
    """Everything a real bench adds, calibrated by the hands: of some twenty readings at most one is beyond its U."""
    careful = (defect_from({"kind": "tolerance", "percent": 30}),)
    unit = build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, careful)
    (works.folder / "kits" / "works-n.yaml").write_text(KIT)
    with running_bench(seed=3, imperfections=Imperfections.full(3), **KINDS[kind][2]) as bench:
        works.bench.write_text(bench_file(kind, bench) + CALIBRATED)
        bench.place(unit)
        hands.bench = bench
        with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
            session.calibrate(temperature_c=23.0)
            judged = session.test("SKV-0001", temperature_c=23.0, because="sampling")
            stored = desk.stored_run("SKV-0001", judged.key.run_number)
    pairs = evaluated(stored)
    assert set(pairs) == set(HOOKUPS)
    recipe = Recipe(parse(stored.head.recipe.text, RecipeForm, "recipe"))
    truth = {
        pair: replace(sweep, s=unit.s(sweep.freq_hz, 23.0)[:, _used(pair)][:, :, _used(pair)])
        for pair, sweep in pairs.items()
    }
    beyond = []
    read = {reading.name: reading for reading in stored.readings}
    for item in recipe.bind(Channels(156.6e6, 157.4e6)):
        reading, true = read.get(item.name), item.read(truth)
        if reading is None or reading.u is None or reading.value is None or true.value is None:
            continue
        if abs(reading.value - true.value) > reading.u:
            beyond.append((item.name, reading.value, true.value, reading.u))
    assert len(read) >= 15
    assert len(beyond) <= 1, beyond


def _used(pair: Hookup) -> list[int]:
    return [WHOLE.ports.index(port) for port in pair.ports]


def test_a_dialect_that_sweeps_four_of_nine_is_refused_before_the_bench_is_touched(
    works: Works, station: Callable[..., Any]
) -> None:
    text = works.bench.read_text()
    text = text.replace("kind: vector", "kind: three-port").replace("linear-single", "list-all")
    works.bench.write_text(text)
    for verb in ("check", "ready"):
        told = station(verb, "--works", works.folder)
        assert told.code == 2
        assert (
            "bench.yaml:5:12: dialect 'list-all' sweeps no XFR:POW:S31, XFR:POW:S32," in told.out + told.err
        )
    works.bench.write_text(text.replace("list-all", "list-nine"))
    assert station("check", "--works", works.folder).code == 0
