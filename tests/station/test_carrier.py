"""The worker that carries records to the works' database, with the works folder that names it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from station import settings
from station.carrier import FIRST_WAIT_S, LONGEST_WAIT_S, stay
from station.cli.main import app
from station.database.matings import Service
from station.desk import make_works, open_desk
from station.errors import StoreFault

BENCH = "bench: final test 7\nanalyzer:\n  kind: vector\n"
NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


class EnoughError(Exception):
    """Ends a worker that would go on for ever."""


@pytest.fixture
def works(tmp_path, postgresql_url):
    made = make_works(tmp_path / "works", "Skerry Works", ("Holmsund",), BENCH)
    file = made.folder / settings.FILE
    file.write_text(f"{file.read_text()}\nworks_database: {postgresql_url}\n")
    serve(made, 3)
    return settings.load(made.folder)


def serve(works, times: int) -> None:
    with open_desk(works.folder) as desk:
        for n in range(times):
            desk.store.keep_service("final test 7", f"cable {n}", Service(NOW, "Signe", "cleaned"))


def run(*arguments: object):
    return CliRunner().invoke(app, ["carry", *map(str, arguments)])


def test_what_there_is_to_carry_is_told_and_carried(works):
    assert run("--status", "--works", works.folder).stdout == (
        "final test 7: 0 of 3 lines are there, 3 lines to carry.\n"
    )
    for _ in range(2):
        assert run("--works", works.folder).stdout == (
            "final test 7: 3 of 3 lines are there, 0 lines to carry.\n"
        )


def test_a_works_without_such_a_database_is_told_where_to_name_it(tmp_path):
    made = make_works(tmp_path / "works", "Skerry Works", ("Holmsund",), BENCH)
    said = run("--works", made.folder)
    assert (said.exit_code, "write its URL there as 'works_database'" in said.stderr) == (2, True)


def test_a_file_is_no_database_of_a_works(tmp_path):
    made = make_works(tmp_path / "works", "Skerry Works", ("Holmsund",), BENCH)
    file = made.folder / settings.FILE
    file.write_text(f"{file.read_text()}\nworks_database: sqlite:///all.sqlite\n")
    said = run("--works", made.folder)
    assert (said.exit_code, "expected a database of a server" in said.stderr) == (2, True)


def test_the_worker_goes_on_over_an_outage_and_waits_longer_each_time(works, server):
    news: list[object] = []
    waits: list[float] = []

    def wait(seconds: float) -> None:
        waits.append(seconds)
        if len(waits) == 8:
            server.start()
            serve(works, 2)
        if len(waits) == 9:
            raise EnoughError

    with open_desk(works.folder) as desk:
        server.stop()
        with pytest.raises(EnoughError):
            stay(works, desk.store, news.append, wait)
    assert [isinstance(each, StoreFault) for each in news] == [True] * 8 + [False]
    assert news[-1].lines == 5
    assert waits[:8] == [min(FIRST_WAIT_S * 2**n, LONGEST_WAIT_S) for n in range(8)]
    assert waits[8] == FIRST_WAIT_S
    assert timedelta(seconds=sum(waits)) > timedelta(minutes=2)
