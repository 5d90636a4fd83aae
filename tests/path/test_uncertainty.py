"""U of a reading from the figures in bench.yaml to the store, the budget on a terminal and the certificate."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.loads import Load
from fixtures_sim.server import running_bench
from limits.verdict import Level, Outcome
from station.budgets import account
from station.desk import open_desk
from station.keyring import open_key
from station.settings import Works

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


@dataclass(frozen=True)
class OneUnit:
    """A works whose bench states its figures, and a unit that was tested there."""

    works: Works
    outcome: Outcome
    u: dict[str, float | None]
    certificate: bytes


@pytest.fixture
def tested(works: Works, hands: Any) -> OneUnit:
    works.bench.write_text(works.bench.read_text() + FIGURES)
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        outcome = session.test("SKV-0001").verdict.outcome
        stored = desk.stored_run("SKV-0001")
        issued = desk.certify("SKV-0001", None, lambda: open_key(works, "salt-water-9", desk.clock()))
    u = {reading.name: reading.u for reading in stored.readings}
    return OneUnit(works, outcome, u, issued.path.read_bytes())


def test_every_reading_has_its_u(tested: OneUnit) -> None:
    assert tested.outcome is Outcome.PASS
    for name, u in tested.u.items():
        assert u is not None, name
        if "notch_frequency" in name or "bandwidth" in name:
            assert 100 < u < 30e3, name
        else:
            assert 0.004 < u < 8, name
    assert tested.u["tx_ripple"] < tested.u["tx_loss"]
    assert tested.u["tx_loss"] == pytest.approx(0.05, abs=0.02)


def test_the_budget_of_a_stored_reading_is_shown_and_adds_up_to_its_u(
    tested: OneUnit, station: Callable[..., Any]
) -> None:
    said = station("show", "SKV-0001", "--budget", "tx_loss", "--works", tested.works.folder)
    assert said.code == 0
    for word in (
        "noise floor",
        "trace noise",
        "connectors",
        "drift",
        "source match",
        "load match",
        "U-shaped",
    ):
        assert word in said.out
    told = station(
        "show", "SKV-0001", "--budget", "isolation_at_tx", "--json", "--works", tested.works.folder
    )
    facts = json.loads(told.out)
    assert facts["u"] == pytest.approx(tested.u["isolation_at_tx"], rel=1e-4)
    assert facts["u"] == pytest.approx(facts["k"] * sum(line["share"] ** 2 for line in facts["lines"]) ** 0.5)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("tx_los", "has no reading 'tx_los'; did you mean 'tx_loss'?"),
    ],
)
def test_what_has_no_budget_says_why(
    tested: OneUnit, station: Callable[..., Any], name: str, words: str
) -> None:
    said = station("show", "SKV-0001", "--budget", name, "--works", tested.works.folder)
    assert (said.code, words in said.err) == (2, True)


def test_a_bench_without_figures_states_no_u_and_says_what_to_do(
    works: Works, hands: Any, station: Callable[..., Any]
) -> None:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        session.test("SKV-0001")
        assert {reading.u for reading in desk.stored_run("SKV-0001").readings} == {None}
    said = station("show", "SKV-0001", "--budget", "tx_loss", "--works", works.folder)
    assert said.code == 2
    assert "give them under 'uncertainty' in bench.yaml" in said.err


def test_the_certificate_shows_u_where_it_was_evaluated(
    tested: OneUnit, need: Callable[[str], str], tmp_path: Any
) -> None:
    path = tmp_path / "certificate.pdf"
    path.write_bytes(tested.certificate)
    done = subprocess.run([need("pdftotext"), "-layout", path, "-"], check=True, capture_output=True)
    text = done.stdout.decode().replace("\u202f", " ")
    assert "Reading U Limit" in " ".join(text.split())
    assert "Where no U is given" not in " ".join(text.split())


def test_a_guarded_specification_decides_every_row_of_a_good_unit(works: Works, hands: Any) -> None:
    works.bench.write_text(works.bench.read_text() + FIGURES)
    table = works.limits / "SK-V4.yaml"
    rule = "decision_rule: {specification: guarded acceptance with w = U, works: simple acceptance}"
    table.write_text(table.read_text().replace("decision_rule: simple acceptance", rule))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        verdict = session.test("SKV-0001").verdict
    promised = verdict.at(Level.SPECIFICATION)
    assert len(promised) == 19
    assert [d.reading.name for d in promised if d.outcome is not Outcome.PASS] == []
    for decision in promised:
        assert decision.reading.u is not None and decision.margin is not None
        assert decision.margin >= decision.reading.u


def test_the_budget_shown_is_that_of_the_judged_sweeps_where_loads_were_taken_out(
    works: Works, hands: Any, point_bench: Callable[[Works, str, str], None]
) -> None:
    """With loads of 20 dB the sweeps as stored differ from the judged ones, and so would their budgets."""
    poor = Load(return_loss_db=20.0, phase_rad=0.7, delay_s=0.5e-9)
    with running_bench(
        device=hands.bench.fixture.cabling.device,
        imperfections=Imperfections(loads=dict.fromkeys(("TX", "ANT", "RX"), poor)),
    ) as bench:
        point_bench(works, bench.socket_address, "linear-single")
        (works.folder / "load.s1p").write_text(poor.touchstone(np.linspace(150e6, 165e6, 301)))
        loads = "loads: {TX: load.s1p, ANT: load.s1p, RX: load.s1p}\n"
        works.bench.write_text(works.bench.read_text() + loads + FIGURES)
        hands.bench = bench
        with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
            session.test("SKV-0001")
            stored = desk.stored_run("SKV-0001")
    evaluated = [reading for reading in stored.readings if reading.u is not None]
    assert len(evaluated) == 19
    for reading in evaluated:
        again = account(stored, reading.name).budget.stated
        assert again == pytest.approx(reading.u, rel=1e-6), reading.name
