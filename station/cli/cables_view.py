"""The verb `station service`: cables, how worn they are, and what was done about it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from reports import wording
from station.cli.asking import out
from station.cli.signing_in import signed_in
from station.cli.tables import Column, print_json, say, show
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.cables import CableState

CABLES = (
    Column("cable", "Cable"),
    Column("port", "Port"),
    Column("matings", "Matings", right=True),
    Column("service_after", "Service after", right=True),
    Column("last", "Last service"),
)


def service(folder: Path, cable: str | None, person: str | None, why: str, *, as_json: bool) -> None:
    """Note the service of a cable, or list all cables where none is named."""
    from station.desk import open_desk

    if cable is None and (person is not None or why):
        raise UserMistake("say which cable was serviced; `station service` alone lists them")
    with open_desk(folder) as desk:
        if cable is not None:
            signed_in(desk, person or "").service(cable, person or "", why)
        states = desk.cables()
    rows = [_row(state) for state in states if cable in (None, state.name)]
    if as_json:
        print_json(rows, out())
    elif cable is not None:
        say(
            out(),
            f"{cable}: serviced by {rows[0]['services'][-1]['person']}; its matings count from 0 again.",
        )
    else:
        show(rows, CABLES, out(), as_json=False)


def _row(state: CableState) -> dict[str, Any]:
    services = state.count.services
    last = f"{wording.day(services[-1].made)}, {services[-1].person}" if services else None
    return {
        "cable": state.name,
        "port": state.form.port,
        "matings": state.count.matings,
        "service_after": state.form.service_after,
        "last": last,
        "services": [{"made": each.made, "person": each.person, "why": each.why} for each in services],
    }
