"""The works' models as drawn: their materials, how they are tuned to a pair of channels, and their tolerances.

A drawing has no errors; `units` builds from it. Lengths come from the cavities' own reflections as scikit-rf
computes them, never from the closed forms the station uses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fixtures_sim.device import REFERENCE_OHM
from fixtures_sim.duplexer import REFERENCE_TEMPERATURE_C, Cavity, Duplexer, Line, Side, side_network


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Standard deviations of what differs from unit to unit."""

    pass_per_spacing: float
    """Error of a pass frequency, as a part of the channel spacing; see `errors_grow_to_hz`."""

    notch_per_spacing: float
    q: float
    """Relative."""

    coupling: float
    """Relative, of the tank resistance seen through the coupling."""

    length_m: float
    tee_farad: float
    leak_db: float


@dataclass(frozen=True, slots=True)
class Model:
    """A kind of duplexer the works builds."""

    name: str
    band_hz: tuple[float, float]
    spacing_hz: tuple[float, float]
    """Channel spacings it can be tuned to."""

    errors_grow_to_hz: float
    """Tuning errors grow with the spacing up to this one; beyond it the cavities' own width sets them."""

    q: float
    tank_ohm: float
    cable: Line
    """The cable all its lines are cut from."""

    port_m: float
    """From each connector to the first cavity, or to the tee."""

    least_tee_m: float
    """A tee cable shorter than this would not reach; half a wavelength is added until it does."""

    tee_farad: float
    leak_db: float
    """The level of the leak path between TX and RX, at the channel where it shows most."""

    tolerances: Tolerances


NO_LEAK_OHM = 1e18
"""Far beyond what rounding can tell from an open."""

MODELS: tuple[Model, ...] = (
    Model(
        name="SK-V4",
        band_hz=(150e6, 170e6),
        spacing_hz=(0.5e6, 6e6),
        errors_grow_to_hz=0.8e6,
        q=3500.0,
        tank_ohm=350.0,
        cable=Line(0.0, velocity_factor=0.695, loss_db_per_100m=12.0, loss_at_hz=100e6),
        port_m=0.05,
        least_tee_m=0.2,
        tee_farad=1.0e-12,
        leak_db=100.0,
        tolerances=Tolerances(0.013, 0.015, 0.08, 0.06, 0.006, 0.5e-12, 2.0),
    ),
    Model(
        name="SK-U4",
        band_hz=(440e6, 470e6),
        spacing_hz=(4e6, 12e6),
        errors_grow_to_hz=5.5e6,
        q=1050.0,
        tank_ohm=355.0,
        cable=Line(0.0, velocity_factor=0.695, loss_db_per_100m=12.0, loss_at_hz=100e6),
        port_m=0.03,
        least_tee_m=0.2,
        tee_farad=1.0e-12,
        leak_db=100.0,
        tolerances=Tolerances(0.017, 0.018, 0.08, 0.06, 0.003, 0.3e-12, 2.0),
    ),
)


def model_named(name: str) -> Model:
    """The model of that name. Raises ValueError naming the models there are."""
    for model in MODELS:
        if model.name == name:
            return model
    known = ", ".join(model.name for model in MODELS)
    raise ValueError(f"no model `{name}` is built here; there are {known}")


def nominal(model: Model, tx_hz: float, rx_hz: float) -> Duplexer:
    """The unit without any error, tuned to its channels.

    Raises ValueError when the pair is not one the model can be tuned to.
    """
    _check_pair(model, tx_hz, rx_hz)
    tx, rx = _side(model, tx_hz, rx_hz), _side(model, rx_hz, tx_hz)
    bare = Duplexer(tx, rx, model.cable.longer(model.port_m), model.tee_farad, leak_ohm=NO_LEAK_OHM)
    return replace(bare, leak_ohm=_leak_ohm(bare, model.leak_db, (tx_hz, rx_hz)))


def _check_pair(model: Model, tx_hz: float, rx_hz: float) -> None:
    low, high = model.band_hz
    for name, freq_hz in (("TX", tx_hz), ("RX", rx_hz)):
        if not low <= freq_hz <= high:
            raise ValueError(
                f"{model.name} is tuned to {low / 1e6:g} to {high / 1e6:g} MHz; "
                f"{name} at {freq_hz / 1e6:g} MHz lies outside"
            )
    least, most = model.spacing_hz
    if not least <= abs(rx_hz - tx_hz) <= most:
        raise ValueError(
            f"{model.name} is built for channels {least / 1e6:g} to {most / 1e6:g} MHz apart; "
            f"these are {abs(rx_hz - tx_hz) / 1e6:g} MHz"
        )


def _side(model: Model, own_hz: float, other_hz: float) -> Side:
    cavity = Cavity(own_hz, other_hz, model.q, model.tank_ohm)
    quarter_m = model.cable.wavelength_m((own_hz + other_hz) / 2.0) / 4.0
    without = Side(
        model.cable.longer(model.port_m), cavity, model.cable.longer(quarter_m), cavity, model.cable
    )
    return replace(without, tee_cable=model.cable.longer(_tee_cable_m(without, model, own_hz, other_hz)))


def _tee_cable_m(side: Side, model: Model, own_hz: float, other_hz: float) -> float:
    """The tee cable that turns this side's notch into an open, less what the tee's capacitance takes.

    Seen from the tee at the other channel the side shall be an inductance that cancels the tee's stray capacitance.
    """
    seen = side_network(side, np.array([other_hz]), REFERENCE_TEMPERATURE_C).s[0, 1, 1]
    wanted_rad = 2.0 * math.atan(2.0 * math.pi * other_hz * model.tee_farad * REFERENCE_OHM)
    wavelength_m = model.cable.wavelength_m(other_hz)
    length_m = (float(np.angle(seen)) - wanted_rad) / (4.0 * math.pi) * wavelength_m
    half_m = wavelength_m / 2.0
    return length_m + half_m * math.ceil((model.least_tee_m - length_m) / half_m)


def _leak_ohm(bare: Duplexer, leak_db: float, channels_hz: tuple[float, float]) -> float:
    """The resistance whose own share of S31 is `leak_db` down at the channel where it is largest."""
    trial_ohm = 1e8
    freq_hz = np.sort(np.array(channels_hz))
    trial = replace(bare, leak_ohm=trial_ohm)
    share = np.abs(trial.s(freq_hz)[:, 2, 0] - bare.s(freq_hz)[:, 2, 0])
    return float(trial_ohm * share.max() * 10.0 ** (leak_db / 20.0))
