"""A person decides an undecided unit at a terminal; or is told first what would decide it."""

from __future__ import annotations

from pathlib import Path

from limits.formwords import nearest
from reports import wording
from reports.resolution import Ruling
from station.cli.asking import out, passphrase
from station.cli.exits import Exit
from station.cli.resolution_view import show_resolutions, show_way_out, way_out_facts
from station.cli.signing_in import signed_in
from station.cli.tables import print_json, say, there
from station.errors import UserMistake

Said = tuple[str | None, str, str, int | None]
"""The decision, by whom, why, and the number of an earlier one that it corrects."""


def resolve_unit(folder: Path, serial: str, run_number: int | None, said: Said, *, as_json: bool) -> Exit:
    """Record the decision; without one, tell what is undecided and the way out."""
    from station.desk import open_desk
    from station.keyring import open_key
    from station.resolving import Wish

    word, by, why, corrects = said
    if word is None and (by or why):
        raise UserMistake("say what is decided: station resolve SERIAL release|reject --by NAME --why REASON")
    ruling = None if word is None else _ruling(word)
    with open_desk(folder) as desk:
        if ruling is None:
            stored = desk.undecided(serial, run_number, corrects)
        else:
            desk = signed_in(desk, by)
            wish = Wish(ruling, by, why, corrects)
            ask = passphrase(desk.works)
            stored = desk.resolve(serial, run_number, wish, lambda: open_key(desk.works, ask(), desk.clock()))
        way_out = desk.way_out(stored)
        earlier = [each for each in desk.store.certificates(serial) if each.run_id == stored.run_id]
    name, number = stored.head.serial, stored.run_number
    if as_json:
        print_json({"serial": name, "run": number, **way_out_facts(way_out)}, out())
    elif word is None:
        show_way_out(name, number, way_out.points, out())
    else:
        show_resolutions(way_out.resolutions[-1:], out())
        for entry in earlier:
            what = f"{entry.kind.capitalize()} {entry.number} of {wording.day(entry.issued)} holds no more"
            back = "; call it back from the customer" if entry.kind == "certificate" else ""
            say(out(), f"{what}{back}.", "yellow")
        say(out(), f"\nNext: station certify {name} --run {number}{there(folder)}")
    return Exit.UNDECIDED if word is None else Exit.PASS


def _ruling(word: str) -> Ruling:
    """Raises UserMistake that names the two there are."""
    known = [ruling.value for ruling in Ruling]
    if word not in known:
        raise UserMistake(f"a person decides {' or '.join(known)}, not '{word}'{nearest(word, known)}")
    return Ruling(word)
