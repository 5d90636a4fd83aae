"""Approval on a terminal: what differs from what was approved last, and whether it shall hold."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reports import wording
from station.cli.asking import aside, out
from station.cli.signing_in import signed_in
from station.cli.tables import Column, print_json, say, show
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.approving import Paper

PAPERS = (
    Column("kind", "Kind"),
    Column("name", "Name"),
    Column("revision", "Revision"),
    Column("stands", "Stands", least=12),
    Column("file", "File"),
)


def list_papers(folder: Path, *, as_json: bool) -> None:
    """Every recipe and limit table, and whether it is approved as it stands."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        papers = desk.papers()
        is_anybody = desk.people.is_anybody
    if as_json:
        print_json([_facts(paper) for paper in papers], out())
        return
    rows = [{**_facts(paper), "stands": _stands(paper), "file": paper.path.name} for paper in papers]
    show(rows, PAPERS, out(), as_json=False)
    if not is_anybody:
        say(out(), "Nobody is registered (station people), so units are tested by drafts too.")


def approve(folder: Path, what: Sequence[str], by: str, why: str, *, yes: bool, as_json: bool) -> None:
    """Tell what differs, ask, and record the approval."""
    from station.desk import open_desk

    console = aside() if as_json else out()
    with open_desk(folder) as desk:
        if not desk.people.is_anybody:
            raise UserMistake(
                "nobody is registered, so nothing needs approval; to turn rights on: "
                "station people --add NAME --role administrator"
            )
        papers = [paper for each in what for paper in desk.papers(each)]
        drafts = [paper for paper in papers if not paper.is_approved]
        for paper in papers:
            say(console, f"{paper.title}: {_stands(paper)}", "bold")
            for line in paper.differences():
                say(console, f"  {line}", wrap=True)
        if drafts:
            _ask(yes=yes)
            desk = signed_in(desk, by)
        for paper in drafts:
            desk.approve(paper, why)
        again = [paper for each in what for paper in desk.papers(each)]
    if as_json:
        print_json([_facts(paper) for paper in again], out())
    elif drafts:
        say(console, f"Approved: {', '.join(paper.title for paper in drafts)}.", "green")


def _ask(*, yes: bool) -> None:
    import typer

    if not yes and not typer.confirm("Shall production run by it?", err=True):
        raise UserMistake("nothing was approved")


def _stands(paper: Paper) -> str:
    last = paper.approval
    if last is None:
        return "draft, never approved"
    by = f"{last.person} on {wording.day(last.made)}"
    return (
        f"approved by {by}"
        if paper.is_approved
        else f"draft, changed since revision {last.text.revision} of {by}"
    )


def _facts(paper: Paper) -> dict[str, Any]:
    last = paper.approval
    return {
        "kind": paper.text.kind.value,
        "name": paper.text.name,
        "revision": paper.text.revision,
        "digest": paper.text.digest,
        "file": str(paper.path),
        "approved": paper.is_approved,
        "differences": list(paper.differences()),
        "last": last
        and {
            "revision": last.text.revision,
            "digest": last.text.digest,
            "by": last.person,
            "made": last.made,
            "why": last.why,
        },
    }
