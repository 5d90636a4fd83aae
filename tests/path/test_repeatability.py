"""How well connectors repeat, found at a simulated bench whose connectors repeat as well as somebody says."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from fixtures_sim.checkstandard import CheckStandard
from fixtures_sim.connections import Connectors
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench, running_bench
from station.desk import open_desk
from station.measurements.repeatability import Repeatability
from station.settings import Works

TIMES = 12
KNOWN = (
    "standard: SKC-001\ncertificate: Holm Calibration 2026-117\nknown:\n  tx_loss_160: 6.43 dB ± 0.03 dB\n"
)


@pytest.fixture(params=[0.0, 0.02])
def loss_db(request: pytest.FixtureRequest) -> float:
    return float(request.param)


@pytest.fixture
def simulated(loss_db: float) -> Iterator[Bench]:
    connectors = Connectors(loss_db=loss_db, flex_db=0.0, flex_s=0.0) if loss_db else None
    with running_bench(seed=3, imperfections=Imperfections(connectors=connectors)) as bench:
        bench.place(CheckStandard())
        yield bench


def study(works: Works, hands) -> Repeatability:
    works.bench.write_text(works.bench.read_text() + "check_standard: {serial: SKC-001, every: 12 h}\n")
    (works.standards / "SKC-001.yaml").write_text(KNOWN)
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        return bench.repeatability(TIMES)


def test_what_connectors_do_is_found_and_nothing_else(works: Works, hands, simulated, loss_db: float) -> None:
    """Two connectors are put on again, each with its own deviation: 99.8 % of studies of twelve lie in here."""
    found = study(works, hands)
    both_db = loss_db * 2**0.5
    assert found.connections == TIMES
    assert 0.41 * both_db <= found.deviation_db <= 1.7 * both_db + 0.001


def test_a_person_is_asked_for_every_connection_and_told_the_line_for_the_bench_file(
    works: Works, hands, simulated, station, loss_db: float
) -> None:
    study(works, hands)
    asked = ("repeatability", "--works", works.folder, "--times", "3", "--operator", "Signe")
    told = station(*asked, stdin="\n\n\n")
    assert told.code == 0, told.err
    assert "Connection 3 of 3: take every cable off SKC-001 and put it on again" in told.out
    assert "connector_repeatability: 0.0" in told.out
    assert "points swept in" in told.out and "stored" not in told.out
    found = json.loads(station(*asked, "--json", stdin="\n\n\n").out)
    assert set(found) == {"deviation_db", "noise_db", "connections", "known_to"}


def test_fewer_than_three_connections_are_refused(works: Works, station) -> None:
    assert station("repeatability", "--works", works.folder, "--times", "2").code == 2
