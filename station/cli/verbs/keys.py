"""The verbs on the keys that sign certificates."""

from __future__ import annotations

from typing import Annotated

import typer

from station.cli.door import HERE, AsJson, By, Works, door

verbs = typer.Typer()


@verbs.command()
@door
def key(
    works: Works = HERE,
    root: Annotated[
        bool, typer.Option("--root", help="The works' root instead, which stands behind stations' keys.")
    ] = False,
    renew: Annotated[
        bool, typer.Option("--renew", help="In place of the one there is; what it signed stays valid.")
    ] = False,
    years: Annotated[
        int | None, typer.Option(min=1, max=30, help="How long it stays valid; 5, a root 20.")
    ] = None,
    by: By = "",
) -> None:
    """Make the key that signs the certificates."""
    from station.cli import key_acts as acts

    if root:
        acts.make_root(works, years, by, renew=renew)
    else:
        acts.make_key(works, years, by, renew=renew)


@verbs.command()
@door
def keys(works: Works = HERE, as_json: AsJson = False) -> None:
    """List the works' keys of all times."""
    from station.cli import key_acts as acts

    acts.list_keys(works, as_json=as_json)


@verbs.command(name="revoke-key")
@door
def revoke_key(
    fingerprint: Annotated[
        str, typer.Argument(metavar="FINGERPRINT", help="Or its beginning: station keys.")
    ],
    why: Annotated[str, typer.Option(metavar="CAUSE", help="stolen, replaced or closed.")],
    works: Works = HERE,
    by: By = "",
) -> None:
    """Put a key on the root's list of those that count no more."""
    from station.cli import key_acts as acts

    acts.revoke_key(works, fingerprint, why, by)
