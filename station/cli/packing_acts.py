"""What the verbs on whole orders do: their certificates in one go, and the data pack for the customer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from rich.progress import track

from reports import wording
from station.cli.asking import aside, out, passphrase
from station.cli.signing_in import signed_in
from station.cli.tables import print_json, say


def certify_order(folder: Path, number: str, by: str, *, as_json: bool) -> None:
    """Make the certificates of an order's units that passed, and tell how far it is on a terminal."""
    from station.desk import open_desk
    from station.keyring import open_key

    with open_desk(folder) as desk:
        desk = signed_in(desk, by)
        ask = passphrase(desk.works)
        found, made = desk.certify_order(number, lambda: open_key(desk.works, ask(), desk.clock()))
        shown = aside()
        issued = list(
            track(made, "Certificates", len(found.good), console=shown, disable=not shown.is_terminal)
        )
    if as_json:
        entries = [{**asdict(each.entry), "path": str(each.path), "is_new": each.is_new} for each in issued]
        print_json({"certificates": entries, "without": dict(found.others)}, out())
        return
    new = sum(each.is_new for each in issued)
    say(
        out(), f"{wording.count(new, 'certificate', 'certificates')} made, {len(issued) - new} there already."
    )
    _say_others(found.others)


def pack(folder: Path, number: str, path: Path, by: str, *, as_json: bool) -> None:
    """Write the data pack of an order."""
    from station.desk import open_desk
    from station.keyring import open_key

    with open_desk(folder) as desk:
        desk = signed_in(desk, by)
        ask = passphrase(desk.works)
        made = desk.pack(number, path, lambda: open_key(desk.works, ask(), desk.clock()))
    if as_json:
        told = {"path": str(path), "certificates": made.certificates, "without": dict(made.left_out)}
        print_json(told, out())
        return
    count = wording.count(made.certificates, "certificate", "certificates")
    say(out(), f"Data pack: {path}, {count}, {len(made.data) / 1e6:.1f} MB")
    _say_others(made.left_out)


def _say_others(others: Sequence[tuple[str, str]]) -> None:
    for serial, why in others:
        say(out(), f"Without a certificate: {serial}, {why}")
