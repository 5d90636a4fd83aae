"""What the verbs that keep things do: one call, then the showing of what came back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from station.cli.asking import out
from station.cli.exits import Exit
from station.cli.tables import print_json, say
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.backup import Backup
    from station.desk import Desk
    from station.restoring import Restored

_TOLD = {
    "work_order": "order",
    "unit": "unit",
    "run": "run",
    "reading": "reading",
    "certificate": "certificate",
}
"""The tables whose rows are told, and what one row is called."""


def backup(folder: Path, to: Path, *, with_keys: bool, as_json: bool) -> None:
    """Make a backup."""
    from station.backup import back_up
    from station.desk import open_desk

    with open_desk(folder) as desk:
        made = back_up(desk.works, desk.store, to, desk.clock(), with_keys=with_keys)
        old = _too_old(desk)
    if as_json:
        print_json({"path": str(made.path), "sha256": made.sha256, **asdict(made.manifest), **old}, out())
    else:
        _show_backup(made)
        _show_too_old(old)


def _show_backup(made: Backup) -> None:
    manifest = made.manifest
    say(out(), f"Backup of {manifest.works}: {made.path}")
    say(out(), f"  records: {_counted(made.rows)}")
    say(out(), f"  {len(manifest.files)} files, {_megabytes(manifest.size)}; SHA-256 of its manifest:")
    say(out(), f"  {made.sha256}")
    if made.keys:
        say(out(), f"Keep it as safe as a key, for it holds {', '.join(made.keys)}.", "bold yellow")
    if manifest.left_out:
        say(out(), f"Not in it, to be kept apart: {', '.join(manifest.left_out)}.")


def restore(source: Path, to: Path | None, database: str | None, *, as_json: bool) -> Exit:
    """Prove a backup, and restore it, also when its ledger says that records were changed before."""
    from station.restoring import restore as put_back

    if to is None and database is not None:
        raise UserMistake("--database says where a restored works keeps its records; give --to DIR too")
    restored = put_back(source, to, database)
    if as_json:
        print_json({"works": None if to is None else str(to), **asdict(restored)}, out())
    else:
        _show_restored(restored, to)
    return Exit.FAIL if restored.findings else Exit.PASS


def _show_restored(restored: Restored, to: Path | None) -> None:
    manifest = restored.manifest
    what = f"the backup of {manifest.works}, made {manifest.made[:16].replace('T', ' ')} UTC"
    say(out(), f"Restored into {to}: {what}." if to else f"Nothing was restored; {what}, is sound.")
    say(out(), "Proved:")
    say(
        out(),
        f"  {len(manifest.files)} files, {_megabytes(manifest.size)}: each has the size and SHA-256 of the manifest",
    )
    say(out(), f"  SHA-256 of the manifest itself: {restored.sha256}")
    say(out(), f"  records: pages and indexes are sound; {_counted(restored.rows)}")
    say(out(), f"  certificates and failure sheets: {restored.certificates} are what was issued, to the byte")
    tally = restored.ledger
    seen = f"{tally.lines:,} lines and {tally.records:,} records looked at, {tally.signed:,} signatures"
    say(out(), f"  ledger: {'not whole' if restored.findings else 'whole'}; {seen}")
    for sentence in restored.findings:
        say(out(), f"    {sentence}", "bold red")
    if (more := restored.finding_count - len(restored.findings)) > 0:
        say(out(), f"    and {more:,} more: station ledger tells all", "bold red")
    if restored.other_certificates:
        numbers = ", ".join(restored.other_certificates)
        say(
            out(),
            f"Not in the backup as they were issued, though the records name them: {numbers}.",
            "yellow",
        )
    if manifest.left_out:
        say(out(), f"Not in the backup, put them back by hand: {', '.join(manifest.left_out)}.", "yellow")


def export(
    folder: Path,
    to: Path,
    chosen: tuple[str | None, datetime | None, datetime | None],
    forms: Sequence[str],
    *,
    as_json: bool,
) -> None:
    """Give records away; `chosen` is an order, and the first and last day."""
    from limits.formwords import nearest
    from station.database.outflow import Choice
    from station.desk import open_desk
    from station.exporting import FORMS
    from station.exporting import export as give_away

    for form in forms:
        if form not in FORMS:
            raise UserMistake(
                f"--form: there is no '{form}'{nearest(form, FORMS) or '; ' + ', '.join(FORMS)}"
            )
    order, since, until = chosen
    choice = Choice(order, since and since.date(), until and until.date())
    with open_desk(folder) as desk:
        done = give_away(desk.works, desk.store, to, choice, forms)
        old = _too_old(desk)
    if as_json:
        print_json({**asdict(done), **old}, out())
        return
    say(out(), f"Exported: {done.path}")
    say(out(), f"  {_counted(done.rows)}")
    say(out(), "  dictionary.md tells what everything means")
    for name in done.damaged:
        say(out(), f"  {name}: not what was once stored; `station ledger` tells more", "bold yellow")
    _show_too_old(old)


def _too_old(desk: Desk) -> dict[str, int]:
    """The runs that are older than records are kept, where the works sets a term."""
    from station.retention import first_kept

    years = desk.works.keep_years
    if years is None:
        return {}
    return {"keep_years": years, "older_runs": desk.store.runs_before(first_kept(years, desk.clock()))}


def _show_too_old(old: Mapping[str, int]) -> None:
    from station.retention import sentence

    if old.get("older_runs"):
        say(out(), sentence(old["older_runs"], old["keep_years"]), "yellow")


def _counted(rows: Mapping[str, int]) -> str:
    told = [(rows[table], word) for table, word in _TOLD.items()]
    return ", ".join(f"{count:,} {word}{'' if count == 1 else 's'}" for count, word in told)


def _megabytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB"
