"""The connectors of a bench that wear: what is screwed on at each hook-up, and how often it may be.

cables:
  cable 1: {port: 1, service_after: 500 matings}
  saver 2: {port: 2, service_after: 250 matings}     # on the end of cable 2, so that this one wears instead
  bridge:  {port: bridge, service_after: 500 matings}
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated

from pydantic import AfterValidator

from limits.formwords import suggest
from limits.quantity import Matings, Text
from limits.yamlfile import Form
from limits.yamltree import Loc

BRIDGE = "bridge"
ENDS: tuple[str, ...] = ("1", "2", "3", BRIDGE)
"""An analyzer's ports by their numbers, and the test port of a return-loss bridge."""


def _end(text: str) -> str:
    if text not in ENDS:
        raise ValueError(f"unknown port '{text}'{suggest(text, ENDS)}")
    return text


class CableForm(Form):
    """What is screwed on at one port of the analyzer: a cable, or the adapter or saver at its end."""

    port: Annotated[Text, AfterValidator(_end)]
    service_after: Matings
    """It is to be gauged, or replaced, after so many."""


Cables = Mapping[str, CableForm]
"""By name."""


def cable_mistakes(cables: Cables) -> Iterator[tuple[Loc, str]]:
    """Of several at one port only the outermost is ever screwed on."""
    first: dict[str, str] = {}
    for name, form in cables.items():
        if form.port in first:
            what = (
                f"port {form.port} has '{first[form.port]}' already; name only what is screwed on, which is the "
                "saver where a cable carries one"
            )
            yield ("cables", name, "port"), what
        first.setdefault(form.port, name)
