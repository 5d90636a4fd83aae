"""The demo does what the README promises, and the same seed gives the same readings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest


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
    assert said.count("--works") == 3


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
