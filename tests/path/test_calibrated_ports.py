"""Benches that connect the whole unit at once: calibrated by their hands, they read the unit as it was built."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench, running_bench
from fixtures_sim.units import build_unit, defect_from
from station.desk import open_desk
from station.records import evaluated
from station.sequencer.events import StandardAsked
from station.settings import Works

KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
BENCHES: dict[str, tuple[dict[str, Any], Callable[[Bench], str]]] = {
    "three-port": ({"ports": 3}, lambda bench: "  kind: three-port\n  dialect: list-nine\n"),
    "switched": (
        {"switched": True},
        lambda bench: (
            "  kind: vector\n  dialect: list-all\n"
            f"switch:\n  address: {bench.address_of('switch')}\n  dialect: route-channels\n"
            "  identity: Simulated RF switch\n"
        ),
    ),
}


@pytest.mark.parametrize("kind", BENCHES)
def test_the_unit_is_read_as_it_was_built(works: Works, hands: Any, kind: str) -> None:
    asked, rest = BENCHES[kind]
    careful = (defect_from({"kind": "tolerance", "percent": 30}),)
    with running_bench(seed=1, imperfections=Imperfections.full(1), **asked) as bench:
        (works.folder / "kits" / "works-n.yaml").write_text(KIT)
        works.bench.write_text(
            "calibration: {by: station, kit: works-n, valid_for: 12 h, longest_delay: 15 ns}\n"
            f"bench: {kind}\nanalyzer:\n  address: {bench.socket_address}\n  identity: vector analyzer\n"
            f"  from: 300 kHz\n  to: 3 GHz\n  most_points: 1601\n{rest(bench)}"
        )
        device = build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, careful)
        bench.place(device)
        hands.bench = bench
        with open_desk(works.folder) as desk:
            with desk.bench(hands, hands.events.append) as session:
                session.calibrate(((135e6, 180e6),))
                judged = session.test("SKV-0001", temperature_c=23.0)
            stored = desk.stored_run("SKV-0001", judged.key.run_number)

    worst = 0.0
    for hookup, sweep in evaluated(stored).items():
        used = [("TX", "ANT", "RX").index(port) for port in hookup.ports]
        true = device.s(sweep.freq_hz, 23.0)[:, used][:, :, used]
        worst = max(worst, float(np.abs(sweep.s - true).max()))
    # As with two ports: a load of 46 dB, 0.005, counts twice or thrice, and connectors of 55 dB as often.
    assert worst < 0.03
    assert sum(isinstance(event, StandardAsked) for event in hands.events) < 35
