"""The demo does what the README promises, and the same seed gives the same readings."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fixtures_sim.checkstandard import CheckStandard
from limits.known import KnownValue


@pytest.fixture(scope="module")
def demos(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, Path]:
    """Two demos of one seed: the folder of each, and what the first printed."""
    import subprocess
    import sys

    program = str(Path(sys.executable).with_name("station"))
    folders = []
    for name in ("one", "two"):
        folder = tmp_path_factory.mktemp("demo") / name
        done = subprocess.run(
            [program, "demo", "--folder", str(folder), "--seed", "5"],
            capture_output=True,
            text=True,
            timeout=300,
            check=True,
        )
        folders.append((folder, done.stdout))
    return folders[0][0], folders[0][1], folders[1][0]


def readings(folder: Path, station, serial: str) -> dict[str, float]:
    facts = json.loads(station("show", serial, "--works", folder, "--json").out)
    return {decision["name"]: decision["value"] for decision in facts["readings_of"]["decisions"]}


def test_at_least_twelve_units_are_tested_and_the_wrong_ones_are_found(demos, station) -> None:
    folder, said, _ = demos
    orders = json.loads(station("orders", "--works", folder, "--json").out)
    assert {order["model"] for order in orders} == {"SK-V4", "SK-U4", "SK-L2"}
    assert sum(order["units"] for order in orders) >= 12
    assert all(order["untested"] == 0 for order in orders)
    verdicts = {}
    for serial in ("SKV-0103", "SKV-0106", "SKU-0204", "SKL-0301"):
        facts = json.loads(station("show", serial, "--works", folder, "--json").out)["readings_of"]
        verdicts[serial] = (facts["verdict"], facts["meets_specification"])
    assert verdicts == {
        "SKV-0103": ("fail", False),
        "SKV-0106": ("fail", True),
        "SKU-0204": ("fail", False),
        "SKL-0301": ("pass", True),
    }
    assert "First-pass yield" in said
    assert said.count("--works") == 4


def test_every_unit_has_its_document_and_every_certificate_verifies(demos, station) -> None:
    folder, _, _ = demos
    documents = sorted((folder / "certificates").iterdir())
    assert len(documents) == 14
    for path in documents:
        signed = "failure sheet" not in path.name
        assert station("verify", path, "--works", folder).code == (0 if signed else 3), path.name


def test_the_same_seed_gives_the_same_readings(demos, station) -> None:
    first, _, second = demos
    for serial in ("SKV-0101", "SKU-0206", "SKL-0301"):
        assert readings(first, station, serial) == readings(second, station, serial)


def test_yield_and_failures_of_the_demo_are_those_of_its_verdicts(demos, station) -> None:
    folder, _, _ = demos
    (whole,) = json.loads(station("yield", "--works", folder, "--json").out)
    orders = json.loads(station("orders", "--works", folder, "--json").out)
    assert whole["units"] == sum(order["units"] for order in orders)
    assert whole["passed"] == sum(order["passed"] for order in orders)
    by_model = json.loads(station("yield", "--works", folder, "--by", "model", "--by", "week", "--json").out)
    assert [row["model"] for row in by_model] == ["SK-L2", "SK-U4", "SK-V4"]
    assert sum(row["units"] for row in by_model) == whole["units"]
    failed = json.loads(station("failures", "--works", folder, "--json").out)
    assert max(row["failed"] for row in failed) <= whole["units"] - whole["passed"]
    assert failed[-1]["cumulative"] == 1.0
    told = station("failures", "--works", folder).out
    assert failed[0]["model"] in told


def test_a_characteristic_of_the_demo_is_charted_with_its_units(demos, station) -> None:
    folder, _, _ = demos
    asked = ("chart", "isolation_window", "--model", "SK-U4", "--baseline", "3", "--works", folder)
    facts = json.loads(station(*asked, "--json").out)
    alarms = [alarm for chart in facts["charts"] for alarm in chart["alarms"]]
    assert alarms[0]["rule"] == "WE1"
    assert alarms[0]["units"] == ["SKU-0204"]
    assert "limits from 3 points only" in station(*asked).out
    assert "No rule alarms" in station("chart", "p", "--model", "SK-U4", "--works", folder).out
    assert "10 different values" in station("shift", "tx_loss", "--model", "SK-V4", "--works", folder).out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("tx_lss", "--model", "SK-V4"), "did you mean 'tx_loss'?"),
        (("tx_loss", "--model", "SK-V9"), "did you mean 'SK-V4'?"),
        (("tx_loss", "--model", "SK-V4", "--rule", "WE9"), "--rule: there is no 'WE9'"),
        (("tx_loss", "--model", "SK-V4", "--split", "oder"), "did you mean 'order'?"),
    ],
)
def test_a_chart_of_what_is_not_there_is_refused_with_the_way_out(demos, station, words, told) -> None:
    folder, _, _ = demos
    refused = station("chart", *words, "--works", folder)
    assert refused.code == 2
    assert told in refused.err


def test_a_day_without_runs_has_no_yield(demos, station) -> None:
    folder, _, _ = demos
    (nothing,) = json.loads(station("yield", "--works", folder, "--since", "2099-01-01", "--json").out)
    assert (nothing["units"], nothing["first_pass"]) == (0, None)
    assert "No unit failed" in station("failures", "--works", folder, "--since", "2099-01-01").out


def test_yield_by_an_unknown_word_names_the_nearest(demos, station) -> None:
    folder, _, _ = demos
    told = station("yield", "--works", folder, "--by", "modl")
    assert (told.code, "did you mean 'model'?" in told.err) == (2, True)


def test_every_unit_was_settled_and_its_temperature_taken_twice(demos, station) -> None:
    folder, _, _ = demos
    for serial in ("SKV-0101", "SKU-0206", "SKL-0301"):
        facts = json.loads(station("show", serial, "--works", folder, "--json").out)["readings_of"]
        assert facts["settled_since"] < facts["started"]
        assert all(22.5 < facts[name] < 23.5 for name in ("temperature_c", "temperature_end_c"))


def test_every_hook_up_wore_the_cables(demos, station) -> None:
    folder, _, _ = demos
    first, second = json.loads(station("service", "--works", folder, "--json").out)
    # Each unit takes cable 1 to three ports and cable 2 to two of them.
    assert (first["matings"], second["matings"]) >= (14 * 3, 14 * 2)


def test_the_demo_knows_its_check_standard_as_it_truly_is_and_finds_it_in_control(demos, station) -> None:
    folder, _, _ = demos
    facts = json.loads(station("standard", "--history", "--works", folder, "--json").out)
    assert ([each["verdict"] for each in facts["checks"]], facts["reasons"]) == (["in control"], [])
    assert len(facts["characteristics"]) == 18
    places = {"tx_loss": (1, 0), "rx_loss": (2, 1), "isolation": (2, 0)}
    places |= {f"{port}_return_loss": (place, place) for place, port in enumerate(("tx", "ant", "rx"))}
    for each in facts["characteristics"]:
        name, _, mhz = each["name"].rpartition("_")
        truth = CheckStandard().s(np.array([float(mhz) * 1e6]))[(0, *places[name])]
        known = KnownValue.parse(each["known"])
        assert known.value_db == pytest.approx(-20 * np.log10(np.abs(truth)), abs=known.u_db / 10), each[
            "name"
        ]
