"""Built units: a serial and a seed become one piece of a model with its own errors and defects.

The same seed, model, serial and channels give the same unit on every machine. A unit's defects come from one
table, DEFECTS, as plain data: to rehearse another one, add a row there. What a model is like stands in
`drawings`, the physics in `duplexer`.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from skrf.frequency import Frequency
from skrf.media import DefinedGammaZ0
from skrf.network import connect

from fixtures_sim.device import PORT_NAMES, REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.drawings import Tolerances, model_named, nominal
from fixtures_sim.duplexer import REFERENCE_TEMPERATURE_C, Cavity, Duplexer, Line, Side, network


@dataclass(frozen=True, slots=True)
class Contact:
    """A connector that does not sit tight: a small impedance in series with its port."""

    port: int
    ohm: float
    henry: float


@dataclass(frozen=True, slots=True)
class Unit:
    """One built piece: a device for the fixture."""

    label: str
    duplexer: Duplexer
    contacts: tuple[Contact, ...] = ()
    ports: tuple[int, int, int] = (0, 1, 2)
    """Which inner port stands behind each connector TX, ANT, RX."""

    def s(self, freq_hz: FloatArray, temperature_c: float = REFERENCE_TEMPERATURE_C) -> ComplexArray:
        """S-parameters in 50 ohm, shape (n, 3, 3), ports TX, ANT, RX; the frequencies in any order."""
        rising, where = np.unique(freq_hz, return_inverse=True)
        whole = network(self.duplexer, rising, temperature_c)
        for contact in self.contacts:
            media = DefinedGammaZ0(Frequency.from_f(rising, unit="hz"), z0=REFERENCE_OHM)
            series = media.resistor(contact.ohm) ** media.inductor(contact.henry)
            whole = connect(whole, contact.port, series, 0)
        order = np.array(self.ports)
        return np.asarray(whole.s[where][:, order[:, np.newaxis], order], dtype=np.complex128)


def build_unit(
    model: str, serial: str, tx_hz: float, rx_hz: float, seed: int, defects: tuple[Defect, ...] = ()
) -> Unit:
    """The unit of that serial, with its own errors and the defects it was given.

    Raises ValueError for an unknown model, or a pair of channels the model is not built for.
    """
    kind = model_named(model)
    scale = math.prod(defect.percent / 100.0 for defect in defects if defect.kind == TOLERANCE)
    drawn = nominal(kind, tx_hz, rx_hz)
    rng = _rng(seed, model, serial)
    spacing_hz = min(abs(rx_hz - tx_hz), kind.errors_grow_to_hz)
    unit = Unit(f"{model} {serial}", _with_errors(drawn, kind.tolerances, spacing_hz, scale, rng))
    for defect in defects:
        unit = _KINDS[defect.kind].apply(unit, defect)
    return unit


def _rng(seed: int, model: str, serial: str) -> np.random.Generator:
    # Python's own hash differs from process to process.
    digest = hashlib.sha256(f"{seed}\n{model}\n{serial}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:16], "big"))


def _with_errors(
    drawn: Duplexer, tolerances: Tolerances, spacing_hz: float, scale: float, rng: np.random.Generator
) -> Duplexer:
    def error(sigma: float) -> float:
        # Nothing leaves the bench further off than three sigma.
        return sigma * scale * float(np.clip(rng.standard_normal(), -3.0, 3.0))

    def cavity(was: Cavity) -> Cavity:
        q = 1.0 + error(tolerances.q)
        return Cavity(
            pass_hz=was.pass_hz + error(tolerances.pass_per_spacing * spacing_hz),
            notch_hz=was.notch_hz + error(tolerances.notch_per_spacing * spacing_hz),
            q=was.q * q,
            tank_ohm=was.tank_ohm * q * (1.0 + error(tolerances.coupling)),
        )

    def line(was: Line) -> Line:
        return was.longer(error(tolerances.length_m))

    def side(was: Side) -> Side:
        return replace(
            was,
            outer=cavity(was.outer),
            jumper=line(was.jumper),
            inner=cavity(was.inner),
            tee_cable=line(was.tee_cable),
        )

    return replace(
        drawn,
        tx=side(drawn.tx),
        rx=side(drawn.rx),
        tee_farad=max(0.0, drawn.tee_farad + error(tolerances.tee_farad)),
        leak_ohm=drawn.leak_ohm * 10.0 ** (error(tolerances.leak_db) / 20.0),
    )


@dataclass(frozen=True, slots=True)
class Defect:
    """Something wrong with a unit. Only the fields its kind uses mean anything; see DEFECTS."""

    kind: str
    cavity: int = 1
    """1 and 2 on the TX side, 3 and 4 on the RX side, from the radio's port inwards."""

    side: str = "TX"
    port: str = "ANT"
    other: str = "RX"
    khz: float = 0.0
    mm: float = 0.0
    percent: float = 100.0
    ohm: float = 0.0
    nh: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in _KINDS:
            raise ValueError(f"no defect is called `{self.kind}`; `kind` is one of {', '.join(_KINDS)}")
        _check_fields(self)


@dataclass(frozen=True, slots=True)
class DefectKind:
    """One row of the table of defects."""

    name: str
    uses: tuple[str, ...]
    """The fields of a Defect it needs."""

    apply: Callable[[Unit, Defect], Unit]


def defect_from(entry: Mapping[str, Any]) -> Defect:
    """A defect from plain data, e.g. `{"kind": "pass off", "cavity": 2, "khz": -60}`.

    Raises ValueError naming the kinds there are, or the fields the kind needs.
    """
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in _KINDS:
        raise ValueError(f"no defect is called `{kind}`; `kind` is one of {', '.join(_KINDS)}")
    uses = _KINDS[kind].uses
    if set(entry) != {"kind", *uses}:
        got = ", ".join(f"`{name}`" for name in entry if name != "kind") or "nothing"
        raise ValueError(f"defect `{kind}` needs {', '.join(f'`{name}`' for name in uses)} and got {got}")
    wanted: dict[str, type] = {field.name: type(field.default) for field in fields(Defect)}
    values: dict[str, Any] = {}
    for name in uses:
        value = entry[name]
        values[name] = float(value) if wanted[name] is float and type(value) is int else value
        if type(values[name]) is not wanted[name]:
            raise ValueError(f"defect `{kind}`: `{name}` is {value!r}, which is no {wanted[name].__name__}")
    return Defect(kind, **values)


def _check_fields(defect: Defect) -> None:
    choices = {"cavity": (1, 2, 3, 4), "side": ("TX", "RX"), "port": PORT_NAMES, "other": PORT_NAMES}
    for name, allowed in choices.items():
        if (value := getattr(defect, name)) not in allowed:
            known = ", ".join(map(str, allowed))
            raise ValueError(f"defect `{defect.kind}`: `{name}` is {value!r}; it is one of {known}")
    for name in ("khz", "mm", "percent", "ohm", "nh"):
        if not math.isfinite(getattr(defect, name)):
            raise ValueError(
                f"defect `{defect.kind}`: `{name}` is {getattr(defect, name)}; it is a finite number"
            )
    for name in ("percent", "ohm", "nh"):
        if getattr(defect, name) < 0.0:
            raise ValueError(f"defect `{defect.kind}`: `{name}` is {getattr(defect, name)}; it is at least 0")
    if defect.kind == "swapped ports" and defect.port == defect.other:
        raise ValueError("defect `swapped ports`: `port` and `other` are two different ports")
    if defect.kind == "low Q" and defect.percent == 0.0:
        raise ValueError("defect `low Q`: a cavity keeps some of its Q; `percent` is more than 0")


def _change_side(unit: Unit, name: str, change: Callable[[Side], Side]) -> Unit:
    was = unit.duplexer
    changed = replace(was, tx=change(was.tx)) if name == "TX" else replace(was, rx=change(was.rx))
    return replace(unit, duplexer=changed)


def _change_cavity(unit: Unit, number: int, change: Callable[[Cavity], Cavity]) -> Unit:
    def in_side(side: Side) -> Side:
        if number in (1, 3):
            return replace(side, outer=change(side.outer))
        return replace(side, inner=change(side.inner))

    return _change_side(unit, "TX" if number in (1, 2) else "RX", in_side)


def _pass_off(unit: Unit, defect: Defect) -> Unit:
    return _change_cavity(
        unit, defect.cavity, lambda cavity: replace(cavity, pass_hz=cavity.pass_hz + defect.khz * 1e3)
    )


def _notch_off(unit: Unit, defect: Defect) -> Unit:
    return _change_cavity(
        unit, defect.cavity, lambda cavity: replace(cavity, notch_hz=cavity.notch_hz + defect.khz * 1e3)
    )


def _low_q(unit: Unit, defect: Defect) -> Unit:
    left = defect.percent / 100.0
    return _change_cavity(
        unit,
        defect.cavity,
        lambda cavity: replace(cavity, q=cavity.q * left, tank_ohm=cavity.tank_ohm * left),
    )


def _wrong_jumper(unit: Unit, defect: Defect) -> Unit:
    def in_side(side: Side) -> Side:
        jumper = side.jumper.longer(defect.mm * 1e-3)
        if jumper.length_m <= 0.0:
            raise ValueError(
                f"defect `wrong jumper`: the {defect.side} jumper is {side.jumper.length_m * 1e3:.0f} mm long; "
                f"it cannot be {-defect.mm:g} mm shorter"
            )
        return replace(side, jumper=jumper)

    return _change_side(unit, defect.side, in_side)


def _loose_connector(unit: Unit, defect: Defect) -> Unit:
    contact = Contact(PORT_NAMES.index(defect.port), defect.ohm, defect.nh * 1e-9)
    return replace(unit, contacts=(*unit.contacts, contact))


def _swapped_ports(unit: Unit, defect: Defect) -> Unit:
    one, two = PORT_NAMES.index(defect.port), PORT_NAMES.index(defect.other)
    ports = list(unit.ports)
    ports[one], ports[two] = ports[two], ports[one]
    return replace(unit, ports=(ports[0], ports[1], ports[2]))


def _as_built(unit: Unit, defect: Defect) -> Unit:
    return unit


TOLERANCE = "tolerance"

DEFECTS: tuple[DefectKind, ...] = (
    DefectKind("pass off", ("cavity", "khz"), _pass_off),
    DefectKind("notch off", ("cavity", "khz"), _notch_off),
    # `percent` is what is left of the cavity's Q.
    DefectKind("low Q", ("cavity", "percent"), _low_q),
    DefectKind("wrong jumper", ("side", "mm"), _wrong_jumper),
    DefectKind("loose connector", ("port", "ohm", "nh"), _loose_connector),
    DefectKind("swapped ports", ("port", "other"), _swapped_ports),
    # No defect but a wish: the unit's own errors at so many percent of the usual, so that another defect
    # shows the same at any seed. It acts when the unit is built.
    DefectKind(TOLERANCE, ("percent",), _as_built),
)

_KINDS: dict[str, DefectKind] = {row.name: row for row in DEFECTS}
