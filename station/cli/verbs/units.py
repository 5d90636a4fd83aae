"""The verbs on what was tested: show it, decide it, certify it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, By, Run, Serial, Works, door
from station.cli.exits import Exit

verbs = typer.Typer()


@verbs.command()
@door
def show(
    serial: Serial,
    works: Works = HERE,
    run: Run = None,
    budget: Annotated[
        str | None, typer.Option(metavar="NAME", help="Why this reading is as uncertain as it is.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show a unit's runs, and the readings of one."""
    from station.cli import unit_acts as acts

    if budget is not None:
        acts.show_budget_of(works, serial, run, budget, as_json=as_json)
    else:
        acts.show_unit(works, serial, run, as_json=as_json)


@verbs.command()
@door
def certify(
    serial: Serial, works: Works = HERE, run: Run = None, by: By = "", as_json: AsJson = False
) -> None:
    """Make the certificate, or failure sheet, of a unit."""
    from station.cli import unit_acts as acts

    acts.certify(works, serial, run, by, as_json=as_json)


OrderNumber = Annotated[str, typer.Argument(metavar="ORDER")]


@verbs.command()
@door
def certify_order(order: OrderNumber, works: Works = HERE, by: By = "", as_json: AsJson = False) -> None:
    """Make the certificates of all units of an order that passed."""
    from station.cli import packing_acts as acts

    acts.certify_order(works, order, by, as_json=as_json)


@verbs.command()
@door
def pack(
    order: OrderNumber,
    to: Annotated[Path, typer.Option(metavar="FILE.zip", help="Where to put it.")],
    works: Works = HERE,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Put an order's certificates and data into one file for its customer."""
    from station.cli import packing_acts as acts

    acts.pack(works, order, to, by, as_json=as_json)


@verbs.command()
@door
def verify(
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf")],
    works: Works = HERE,
    trust: Annotated[
        list[Path] | None, typer.Option(metavar="SIGNER.pem", help="The certificate of a signer you trust.")
    ] = None,
    revoked: Annotated[
        list[Path] | None,
        typer.Option(metavar="REVOKED.crl", help="The list of revoked keys of that signer."),
    ] = None,
    trust_time: Annotated[
        list[Path] | None, typer.Option(metavar="TIME.pem", help="The certificate of a timestamp service.")
    ] = None,
    as_json: AsJson = False,
) -> Exit:
    """Check whether a certificate is whole, who signed it, and whether the works' records agree."""
    from station.cli import unit_acts as acts

    return acts.verify(
        works, file, (tuple(trust or ()), tuple(revoked or ()), tuple(trust_time or ())), as_json=as_json
    )


@verbs.command()
@door
def touchstone(
    serial: Serial,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where to put one .s2p file per hook-up.")],
    works: Works = HERE,
    run: Run = None,
) -> None:
    """Write the sweeps of a run as Touchstone files."""
    from station.cli import unit_acts as acts

    acts.touchstone(works, serial, run, out)


@verbs.command()
@door
def resolve(
    serial: Serial,
    ruling: Annotated[
        str | None,
        typer.Argument(metavar="release|reject", help="Without it you are told what would decide the unit."),
    ] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who decides, and signs for it.")] = "",
    why: Annotated[str, typer.Option(metavar="REASON", help="So that others can follow it.")] = "",
    corrects: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="The earlier decision that this one corrects.")
    ] = None,
    works: Works = HERE,
    run: Run = None,
    as_json: AsJson = False,
) -> Exit:
    """Decide an undecided unit as a person, and sign for it."""
    from station.cli.resolve import resolve_unit

    return resolve_unit(works, serial, run, (ruling, by, why, corrects), as_json=as_json)


@verbs.command()
@door
def dispose(
    serial: Serial,
    fate: Annotated[str, typer.Argument(metavar="release|rework|scrap")],
    by: Annotated[str, typer.Option(metavar="NAME", help="Who decides.")] = "",
    why: Annotated[str, typer.Option(metavar="TEXT", help="The reason; of a rework what was done.")] = "",
    corrects: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="The earlier disposition that was a mistake.")
    ] = None,
    works: Works = HERE,
    as_json: AsJson = False,
) -> None:
    """Release a unit that passed, or record its rework or scrapping."""
    from station.cli import dispose_acts as acts

    acts.dispose(works, serial, fate, by, why, corrects, as_json=as_json)
