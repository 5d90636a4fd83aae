"""How the device is cabled at one moment, and what can go wrong when somebody cables it.

The mistakes come from one table, SLIPS, as plain data: to rehearse another one, add a row there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fixtures_sim.connections import Joint
from fixtures_sim.device import PORT_NAMES, REFERENCE_OHM, ComplexArray, Device, FloatArray
from fixtures_sim.joining import joined, open_ports
from fixtures_sim.standards import Connection

Reflection = complex | ComplexArray


@dataclass(frozen=True, slots=True)
class LooseEnd:
    """A cable that is not tight: a small impedance in series with the device's port."""

    port: str
    ohm: float
    nh: float


@dataclass(frozen=True, slots=True, eq=False)
class Cabling:
    """The fixture at one moment."""

    device: Device | None = None
    ports: tuple[str, ...] = ()
    """The device's port on test port 1, 2, ...; empty when the cables hang open or go to a standard."""

    repeat: int = 0
    """How many times the same was connected in this way before."""

    bare: tuple[str, ...] = ()
    """Ports on which nothing sits, though a cable or the load belongs there."""

    loose: tuple[LooseEnd, ...] = ()
    standard: Connection | None = None
    """A calibration standard on the test ports, in place of the device."""

    joints: Mapping[str, Joint] = field(default_factory=dict)
    """How each connection was made, by the device's port; by the test port (`1`) with a standard."""

    @property
    def connected(self) -> bool:
        """Whether the device is."""
        return self.device is not None and bool(self.ports)

    @property
    def name(self) -> str:
        """Of the hook-up, e.g. `TX-ANT`, and what is wrong with it; or of the standard."""
        if self.standard is not None:
            return self.standard.name
        if not self.connected:
            return "open"
        bare = [f", nothing on {port}" for port in self.bare]
        return "-".join(self.ports) + "".join(bare + [f", {end}" for end in self.loose])

    @property
    def test_ports(self) -> int:
        """How many test ports lead to something."""
        return len(self.standard.test_ports if self.standard is not None else self.ports)

    @property
    def on_ports(self) -> dict[str, str]:
        """What sits on each of the device's ports: `cable 1`, or the `load`."""
        cables = {port: f"cable {place}" for place, port in enumerate(self.ports, start=1)}
        return {port: cables.get(port, "load") for port in PORT_NAMES}

    @property
    def idle(self) -> tuple[str, ...]:
        """The ports a load belongs on."""
        return tuple(port for port in PORT_NAMES if port not in self.ports)


@dataclass(frozen=True, slots=True)
class Slip:
    """One mistake in cabling. Only the fields its kind uses mean anything; see SLIPS."""

    kind: str
    port: str = "TX"
    other: str = "RX"
    ohm: float = 0.0
    nh: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in _KINDS:
            raise ValueError(f"no slip is called `{self.kind}`; there are {', '.join(_KINDS)}")
        for port in (self.port, self.other):
            if port not in PORT_NAMES:
                raise ValueError(f"there is no port {port!r}; the ports are {', '.join(PORT_NAMES)}")
        if "other" in _KINDS[self.kind].uses and self.port == self.other:
            raise ValueError(f"slip `{self.kind}`: `port` and `other` are two different ports")
        for name, value in (("ohm", self.ohm), ("nh", self.nh)):
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(
                    f"slip `{self.kind}`: `{name}` is {value}; it is a finite number, at least 0"
                )

    def done_to(self, before: Cabling, meant: Cabling) -> Cabling:
        """What comes of a hook-up that was meant to be `meant`, after `before`."""
        return _KINDS[self.kind].apply(before, meant, self)


@dataclass(frozen=True, slots=True)
class SlipKind:
    """One row of the table of slips."""

    name: str
    uses: tuple[str, ...]
    """The fields of a Slip it needs."""

    apply: Callable[[Cabling, Cabling, Slip], Cabling]


def slip_from(entry: Mapping[str, Any]) -> Slip:
    """A slip from plain data, e.g. `{"kind": "left bare", "port": "ANT"}`. Raises ValueError naming what it needs."""
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in _KINDS:
        raise ValueError(f"no slip is called `{kind}`; there are {', '.join(_KINDS)}")
    uses = _KINDS[kind].uses
    if set(entry) != {"kind", *uses}:
        raise ValueError(f"slip `{kind}` needs {', '.join(f'`{name}`' for name in uses) or 'nothing more'}")
    for name in uses:
        wanted = (int, float) if name in ("ohm", "nh") else str
        if isinstance(entry[name], bool) or not isinstance(entry[name], wanted):
            raise ValueError(f"slip `{kind}`: `{name}` is {entry[name]!r}, which cannot be")
    return Slip(**dict(entry))


def _swapped(before: Cabling, meant: Cabling, slip: Slip) -> Cabling:
    other = {slip.port: slip.other, slip.other: slip.port}
    return replace(meant, ports=tuple(other.get(port, port) for port in meant.ports))


def _not_recabled(before: Cabling, meant: Cabling, slip: Slip) -> Cabling:
    return replace(before, repeat=meant.repeat)


def _bare(before: Cabling, meant: Cabling, slip: Slip) -> Cabling:
    return replace(meant, bare=(*meant.bare, slip.port))


def _no_load(before: Cabling, meant: Cabling, slip: Slip) -> Cabling:
    return replace(meant, bare=(*meant.bare, *meant.idle))


def _not_tight(before: Cabling, meant: Cabling, slip: Slip) -> Cabling:
    return replace(meant, loose=(*meant.loose, LooseEnd(slip.port, slip.ohm, slip.nh)))


SLIPS: tuple[SlipKind, ...] = (
    # Whatever belongs on `port` goes to `other`, and the other way round: two cables, or a cable and the load.
    SlipKind("swapped", ("port", "other"), _swapped),
    SlipKind("not re-cabled", (), _not_recabled),
    # Nothing sits on `port`: the cable hangs open beside it, or the load was forgotten.
    SlipKind("left bare", ("port",), _bare),
    SlipKind("no load", (), _no_load),
    SlipKind("not tight", ("port", "ohm", "nh"), _not_tight),
)

_KINDS: dict[str, SlipKind] = {row.name: row for row in SLIPS}


def between_cables(
    cabling: Cabling, loads: Mapping[str, Reflection], freq_hz: FloatArray, temp_c: float, count: int = 2
) -> ComplexArray:
    """S between the ends of `count` cables, shape (n, count, count); `loads` on the ports that idle.

    A port without a load in `loads` carries a perfect one; a cable that goes nowhere sees its own open end.
    Raises ValueError when the device is not known at a frequency.
    """
    if cabling.standard is not None:
        s = cabling.standard.s(freq_hz, count)
        for port, joint in cabling.joints.items():
            s = joint.on(s, int(port) - 1, freq_hz)
        return s
    device = cabling.device
    if device is None or not cabling.connected:
        return open_ports(freq_hz, count)
    s = device.s(freq_hz, temp_c)
    for end in cabling.loose:
        s = joined(s, PORT_NAMES.index(end.port), *_series(end, freq_hz))
    for port, joint in cabling.joints.items():
        if port not in cabling.bare:
            s = joint.on(s, PORT_NAMES.index(port), freq_hz)
    nothing = np.zeros(len(freq_hz), dtype=np.complex128)
    for port in cabling.bare:
        # An open on the device's port, an open at the cable's own end, and no way through.
        s = joined(s, PORT_NAMES.index(port), nothing + 1.0, nothing)
    for port in cabling.idle:
        if port not in cabling.bare and port in loads:
            s = joined(s, PORT_NAMES.index(port), nothing + loads[port], nothing)
    used = [PORT_NAMES.index(port) for port in cabling.ports]
    between = s[:, used][:, :, used]
    if len(used) == count:
        return between
    seen = open_ports(freq_hz, count).copy()
    seen[:, : len(used), : len(used)] = between
    return seen


def _series(end: LooseEnd, freq_hz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Reflection and transmission of an impedance in series with the line."""
    ohm = end.ohm + 2j * np.pi * freq_hz * end.nh * 1e-9
    through = np.asarray(2.0 * REFERENCE_OHM / (ohm + 2.0 * REFERENCE_OHM), dtype=np.complex128)
    return 1.0 - through, through
