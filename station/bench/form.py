"""The bench file: which instruments stand at this station, and how to open them.

bench: final test 1
analyzer:
  kind: vector
  address: TCPIP::127.0.0.1::5025::SOCKET
  dialect: linear-single
  identity: Skerry Works,Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
uncertainty:                 # optional: without it readings have no U; see station/measurements/figures.py
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
switch: ...                  # optional: an RF switch in front of a two-port analyzer; see station/bench/switch.py
loads:                       # optional: what the idle port carries
  TX: load-1.s1p             # a measured reflection of each, beside this file; all three may be one
  ANT: load-2.s1p
  RX: load-3.s1p
  # or, where only a size is known:  return_loss: 40 dB   # then instead of load_match
thermometer:                 # optional; see station/bench/thermometer.py
  address: TCPIP::127.0.0.1::5026::SOCKET
  identity: Skerry Works,Simulated thermometer
cables:                      # optional; see station/bench/cables.py
  cable 1: {port: 1, service_after: 500 matings}
calibration: ...             # optional: who corrects for the test ports; see station/bench/calibration.py
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from limits.quantity import Decibel, Hertz, Text, Whole
from limits.yamlfile import Form, editor_schema
from station.bench.cables import CableForm
from station.bench.calibration import CalibrationForm
from station.bench.standard import CheckStandardForm
from station.bench.switch import SwitchForm
from station.bench.thermometer import ThermometerForm
from station.measurements.figures import Figures
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import PORTS, Port

IDENTITY_IS = (
    "a part of the analyzer's answer to *IDN?, e.g. its maker and model; "
    "write any word here and `station try-dialect` shows it"
)


def _not_empty(value: object) -> object:
    if isinstance(value, str) and not value.strip():
        raise ValueError(f"expected {IDENTITY_IS}")
    return value


class AnalyzerForm(Form):
    """The analyzer in a bench file."""

    kind: Text
    address: Text
    """VISA resource name."""

    dialect: Text
    identity: Annotated[Text, BeforeValidator(_not_empty)]
    """Text that must occur in its `*IDN?` answer."""

    from_hz: Annotated[Hertz, Field(alias="from")]
    to_hz: Annotated[Hertz, Field(alias="to")]
    most_points: Annotated[Whole, Field(ge=2)]
    """In one sweep."""

    calibrated: Text = ""
    """When and by whom, as its calibration certificate says; certificates repeat it."""

    visa: Text = "@py"
    """The VISA library, as PyVISA names it: `@py`, `@ivi`, or a path."""


class LoadsForm(Form):
    """The loads: a Touchstone file for each port's, or the least return loss of all."""

    tx: Annotated[Text | None, Field(alias="TX")] = None
    ant: Annotated[Text | None, Field(alias="ANT")] = None
    rx: Annotated[Text | None, Field(alias="RX")] = None
    return_loss: Annotated[Decibel, Field(gt=0)] | None = None
    """Known by its size alone, so nothing can be corrected."""

    @property
    def files(self) -> dict[Port, str]:
        """The file of each port's load, as far as there are any."""
        named: dict[Port, str | None] = {"TX": self.tx, "ANT": self.ant, "RX": self.rx}
        return {port: file for port, file in named.items() if file is not None}

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> LoadsForm:
        if (self.return_loss is None) == (not self.files) or 0 < len(self.files) < len(PORTS):
            raise ValueError(
                "give a Touchstone file for each of TX, ANT and RX, since only all three can be corrected for; "
                "or 'return_loss' alone"
            )
        return self


def _figures_of(value: object) -> str:
    """Which kind of bench the figures are of: one of a scalar bench has some that no other has."""
    named = set(value) if isinstance(value, dict) else set()
    own = set(ScalarFigures.model_fields) - set(Figures.model_fields)
    return "scalar" if isinstance(value, ScalarFigures) or named & own else "vector"


AnyFigures = Annotated[
    Annotated[Figures, Tag("vector")] | Annotated[ScalarFigures, Tag("scalar")], Discriminator(_figures_of)
]


class BenchForm(Form):
    """The form of a bench file."""

    bench: Text
    analyzer: AnalyzerForm
    uncertainty: AnyFigures | None = None
    """What the uncertainty of readings is worked out from; without it none is stated."""
    loads: LoadsForm | None = None
    check_standard: CheckStandardForm | None = None
    """What is measured before units are; without it nothing is checked."""
    thermometer: ThermometerForm | None = None
    """What tells the temperature of the unit; without it, it is typed."""
    switch: SwitchForm | None = None
    """Between a two-port analyzer and the unit."""
    cables: dict[Text, CableForm] = Field(default={})
    """What is screwed on at each hook-up; without them nothing is counted."""
    calibration: CalibrationForm | None = None
    """Who corrects for the test ports; without it nothing is known of that."""

    @property
    def figures(self) -> Figures | None:
        """What the bench is worth; loads that are known by their size alone are not corrected for."""
        if self.uncertainty is None or self.loads is None or self.loads.return_loss is None:
            return self.uncertainty
        return self.uncertainty.model_copy(update={"load_match": self.loads.return_loss})


def bench_schema() -> dict[str, object]:
    """JSON Schema of a bench file."""
    return editor_schema(BenchForm, "Bench: the instruments at one station")
