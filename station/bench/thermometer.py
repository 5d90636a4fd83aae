"""The thermometer in a bench file: its sensor lies on the unit, since it is the cavities that drift.

thermometer:
  address: TCPIP::192.0.2.11::5025::SOCKET
  identity: a part of its answer to *IDN?
  ask: "MEAS:TEMP?"          # what it answers in degrees Celsius; this one may be left out
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from pydantic import AfterValidator

from limits.formwords import got
from limits.quantity import Text
from limits.yamlfile import Form
from station.instruments.link import open_link
from station.instruments.thermometer import ROLE, BenchThermometer


def _question(text: str) -> str:
    if not text.endswith("?") or not text.isascii():
        raise ValueError(f"expected a question like 'MEAS:TEMP?', got {got(text)}")
    return text


class ThermometerForm(Form):
    """The thermometer in a bench file."""

    address: Text
    """VISA resource name."""

    identity: Text
    """Text that must occur in its `*IDN?` answer."""

    ask: Annotated[Text, AfterValidator(_question)] = "MEAS:TEMP?"
    """Answered by a temperature in deg C."""

    calibrated: Text = ""
    """When and by whom, as its calibration certificate says; certificates repeat it."""

    visa: Text = "@py"
    """The VISA library, as PyVISA names it."""


@contextmanager
def open_thermometer(form: ThermometerForm | None) -> Iterator[BenchThermometer | None]:
    """The bench's thermometer for as long as the block lasts, None where it has none; nothing is sent yet."""
    if form is None:
        yield None
        return
    with open_link(form.address, role=ROLE, backend=form.visa) as link:
        yield BenchThermometer(link, form.ask, identity=form.identity)
