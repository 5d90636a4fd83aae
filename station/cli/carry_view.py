"""Carrying records to the database of the works, at a terminal."""

from __future__ import annotations

import time
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from reports import wording
from station.cli.asking import aside, out
from station.cli.tables import print_json, say
from station.errors import StoreFault, UserMistake

if TYPE_CHECKING:
    from station.database.carrying import Carried


def carry(folder: Path, *, stay: bool, status: bool, as_json: bool) -> None:
    """Carry what is there, or go on for ever, or only tell how much there is to carry."""
    from station import carrier
    from station.desk import open_desk

    if stay and status:
        raise UserMistake("--stay goes on for ever and --status only tells; ask for one of them")
    with open_desk(folder) as desk:
        if stay:
            carrier.stay(desk.works, desk.store, _tell, time.sleep)
        if not status:
            for page in carrier.carry_all(desk.works, desk.store):
                _tell_only_what_matters(page)
        backlog = carrier.how_far(desk.works, desk.store)
    if as_json:
        print_json({**asdict(backlog), "lines": backlog.lines}, out())
        return
    left = wording.count(backlog.lines, "line", "lines")
    say(out(), f"{backlog.station}: {backlog.there} of {backlog.here} lines are there, {left} to carry.")
    if backlog.aside:
        records = wording.count(backlog.aside, "record was", "records were")
        say(aside(), f"{records} put aside there: another one has the same name. Nothing was overwritten.")


def _tell(news: Carried | StoreFault) -> None:
    if isinstance(news, StoreFault):
        say(aside(), f"{news}; trying again")
        return
    say(out(), f"{wording.count(news.lines, 'line', 'lines')} carried.")
    _tell_only_what_matters(news)


def _tell_only_what_matters(page: Carried) -> None:
    for each in page.told:
        say(aside(), f"{each}.", "yellow")
