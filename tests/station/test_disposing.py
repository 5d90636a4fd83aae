"""Release, rework and scrap of a unit at a terminal, and what is shown of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from station.cli.main import app
from station.desk import make_works
from station.settings import Works

BENCH = "bench: final test 1\n"


@pytest.fixture
def works(tmp_path: Path, fill: Callable[[Works], None]) -> Works:
    """A works with three units that passed."""
    made = make_works(tmp_path / "works", "Skerry Works", ("Net Loft Quay 3",), BENCH)
    fill(made)
    return made


def test_a_disposition_is_noted_shown_and_put_right(works):
    def run(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(app, [*words, "--works", str(works.folder)], env={"COLUMNS": "150"})
        return told.exit_code, told.output

    by = ("--by", "Olaf Berg")
    assert run("dispose", "SKV-0101", "scrapped", *by, "--why", "dropped")[0] == 2
    assert "say why, or what was done: --why TEXT" in run("dispose", "SKV-0101", "scrap", *by)[1]
    assert "say who decides: --by NAME" in run("dispose", "SKV-0101", "scrap", "--why", "dropped")[1]
    code, told = run("dispose", "SKV-0101", "scrap", *by, "--why", "dropped")
    assert (code, "SKV-0101 scrapped by Olaf Berg" in told) == (0, True)
    code, told = run("dispose", "SKV-0101", "rework", *by, "--why", "new lid", "--corrects", "1")
    assert (code, "correcting disposition 1: new lid" in told) == (0, True)
    code, told = run("show", "SKV-0101", "--json")
    assert [(each["fate"], each["corrects"]) for each in json.loads(told)["dispositions"]] == [
        ("scrap", None), ("rework", 1),
    ]  # fmt: skip
    assert "Disposition 2: reworked by Olaf Berg" in run("show", "SKV-0101")[1]
