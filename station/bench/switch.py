"""The RF switch in a bench file: it leads a two-port analyzer to every pair of a unit that is hooked up once.

switch:
  address: TCPIP::127.0.0.1::5026::SOCKET
  dialect: route-channels
  identity: Skerry Works,Simulated RF switch
  ports: {TX: 1, ANT: 2, RX: 3}   # optional: the switch's port for each of the unit's, as its dialect writes it
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from limits.quantity import Text
from limits.yamlfile import Form
from station.measurements.sweep import Port


class SwitchPorts(Form):
    """The port of the switch that leads to each port of the unit."""

    tx: Annotated[Text, Field(alias="TX")] = "1"
    ant: Annotated[Text, Field(alias="ANT")] = "2"
    rx: Annotated[Text, Field(alias="RX")] = "3"

    @property
    def by_port(self) -> dict[Port, str]:
        """All three."""
        return {"TX": self.tx, "ANT": self.ant, "RX": self.rx}

    @model_validator(mode="after")
    def _all_different(self) -> SwitchPorts:
        if len(set(self.by_port.values())) < len(self.by_port):
            raise ValueError("two ports of the unit cannot be on one port of the switch")
        return self


class SwitchForm(Form):
    """The switch in a bench file."""

    address: Text
    """VISA resource name."""

    dialect: Text
    identity: Text
    """Text that must occur in its `*IDN?` answer."""

    ports: SwitchPorts = Field(default_factory=SwitchPorts)
    visa: Text = "@py"
