"""Study: how surely a cabling mistake is recognised, and how seldom a unit is taken for one. Known truth.

    python tests/studies/plausibility.py [--mistakes 500] [--sound 2000] [--seed 1]

Units of both families on random channels, half of them with a defect out of the simulator's table; loads of 26 to
45 dB on the idle port, residual test-port errors, noise, and a unit that warms between hook-ups. The sweeps are made
straight from the simulator, without instruments, as the shipped recipes sweep first.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

import station
from fixtures_sim.cabling import Cabling, Slip, between_cables
from fixtures_sim.keys import key_of
from fixtures_sim.noise import Care, Noise, with_noise
from fixtures_sim.port_errors import TestPorts, seen_through
from fixtures_sim.units import Unit, build_unit, defect_from
from limits.quantity import Channels
from station.instruments.analyzer import Ability
from station.measurements.doubt import Doubt
from station.measurements.plausibility import doubt_about
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Sweep
from station.sequencer import recipe as recipes
from station.sequencer.plan import Plan, make_plan

RESIDUAL = TestPorts(directivity_db=44.0, source_match_db=38.0, load_match_db=38.0, tracking_db=0.03)
"""What a calibration leaves at the end of a cable (common practice, no source)."""

ABILITY = Ability(low_hz=300e3, high_hz=3e9, most_points=1601)
WARMING_K = 0.3
STARTED = datetime(2026, 9, 1, tzinfo=UTC)
Rng = np.random.Generator


@dataclass(frozen=True)
class Family:
    """Where a model is built, as far as the study goes."""

    model: str
    recipe: recipes.Recipe
    low_hz: float
    high_hz: float
    spacing_hz: tuple[float, float]
    tuning_khz: float
    """How far a badly tuned cavity may be off."""


def families() -> tuple[Family, ...]:
    """The two families whose units the simulator builds."""
    folder = Path(station.__file__).parent / "recipes"
    return (
        Family("SK-V4", recipes.load(folder / "SK-V4.yaml"), 152e6, 168e6, (0.6e6, 1.6e6), 200.0),
        Family("SK-U4", recipes.load(folder / "SK-U4.yaml"), 445e6, 465e6, (4.5e6, 7e6), 1000.0),
    )


@dataclass(frozen=True)
class Bench:
    """What this run's bench does to every sweep."""

    load: complex
    warming_k: float
    key: int

    def sweep(self, cabling: Cabling, hookup: Hookup, freq_hz: np.ndarray, plan: Plan, place: int) -> Sweep:
        """The sweep of a hook-up that the operator was told, over the cabling that came of it."""
        settings = plan.orders[0].settings
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        loads = dict.fromkeys(PORTS, self.load)
        at_cables = between_cables(cabling, loads, freq_hz, 23.0 + place * self.warming_k)
        clean = seen_through(at_cables, RESIDUAL.terms(freq_hz, 2))
        takes = np.zeros(len(freq_hz), dtype=np.uint64)
        s = np.empty_like(clean)
        for to in (0, 1):
            for source in (0, 1):
                key = key_of(self.key, place, to, source)
                s[:, to, source] = with_noise(clean[:, to, source], Noise(), care, key, freq_hz, takes)
        return Sweep(hookup, freq_hz, s, settings, STARTED, 0.3)


def draw_bench(rng: Rng) -> Bench:
    """A bench in good order."""
    size = 10 ** (-rng.uniform(26, 45) / 20)
    load = complex(size * np.exp(2j * np.pi * rng.random()))
    return Bench(load, float(rng.uniform(-WARMING_K, WARMING_K)) / 2, int(rng.integers(1 << 40)))


def draw_channels(family: Family, rng: Rng) -> Channels:
    """TX below or above RX."""
    spacing_hz = round(rng.uniform(*family.spacing_hz) / 25e3) * 25e3
    low_hz = round(rng.uniform(family.low_hz, family.high_hz - spacing_hz) / 12.5e3) * 12.5e3
    pair = (low_hz, low_hz + spacing_hz)
    tx_hz, rx_hz = pair if rng.random() < 0.5 else pair[::-1]
    return Channels(tx_hz=tx_hz, rx_hz=rx_hz)


def draw_defect(family: Family, channels: Channels, rng: Rng) -> dict[str, object]:
    """One entry of the simulator's table of defects, but for ports swapped inside the unit."""
    side, cavity = str(rng.choice(["TX", "RX"])), int(rng.integers(1, 5))
    most_khz = min(family.tuning_khz, 0.25e-3 * abs(channels.rx_hz - channels.tx_hz))
    off_khz = float(rng.choice([-1, 1]) * rng.uniform(0.1, 1.0) * most_khz)
    kinds: tuple[dict[str, object], ...] = (
        {"kind": "pass off", "cavity": cavity, "khz": off_khz},
        {"kind": "notch off", "cavity": cavity, "khz": off_khz},
        {"kind": "low Q", "cavity": cavity, "percent": float(rng.uniform(10, 80))},
        {"kind": "wrong jumper", "side": side, "mm": float(rng.choice([-1, 1]) * rng.uniform(20, 70))},
        {
            "kind": "loose connector", "port": str(rng.choice(PORTS)),
            "ohm": float(rng.uniform(1, 30)), "nh": float(rng.uniform(1, 30)),
        },
        {"kind": "tolerance", "percent": float(rng.uniform(150, 300))},
    )  # fmt: skip
    return kinds[int(rng.integers(len(kinds)))]


def draw_unit(family: Family, channels: Channels, rng: Rng) -> tuple[Unit, str]:
    """A unit and what is wrong with it."""
    entries = [draw_defect(family, channels, rng)] if rng.random() < 0.5 else []
    serial, defects = f"S{rng.integers(1 << 40)}", tuple(map(defect_from, entries))
    unit = build_unit(family.model, serial, channels.tx_hz, channels.rx_hz, 1, defects)
    return unit, str(entries[0]["kind"]) if entries else "no defect"


def doubts_of(
    unit: Unit | None, slips: dict[int, Slip], plan: Plan, channels: Channels, bench: Bench
) -> list[Doubt]:
    """What a run says of its three hook-ups; it ends at the first doubt, as the operator is asked then."""
    earlier: list[Sweep] = []
    cabling = Cabling(unit)
    for place, order in enumerate(plan.orders):
        meant = Cabling(unit, (order.hookup.first, order.hookup.second))
        cabling = slips[place].done_to(cabling, meant) if place in slips else meant
        freq_hz = np.concatenate([np.linspace(x.start_hz, x.stop_hz, x.points) for x in order.segments])
        sweep = bench.sweep(cabling, order.hookup, freq_hz, plan, place)
        if found := doubt_about(sweep, earlier, channels):
            return [found]
        earlier.append(sweep)
    return []


def _any_place(rng: Rng) -> int:
    return int(rng.integers(len(HOOKUPS)))


def _swapped_all(rng: Rng) -> dict[int, Slip]:
    return dict.fromkeys(range(3), Slip("swapped", "TX", "RX"))


def _swapped(rng: Rng) -> dict[int, Slip]:
    return {_any_place(rng): Slip("swapped", "TX", "RX")}


def _exchanged(rng: Rng) -> dict[int, Slip]:
    place = _any_place(rng)
    return {place: Slip("swapped", HOOKUPS[place].first, HOOKUPS[place].second)}


def _with_load(rng: Rng) -> dict[int, Slip]:
    place = _any_place(rng)
    hookup = HOOKUPS[place]
    return {place: Slip("swapped", str(rng.choice([hookup.first, hookup.second])), hookup.idle)}


def _not_recabled(rng: Rng) -> dict[int, Slip]:
    return {int(rng.integers(1, 3)): Slip("not re-cabled")}


def _bare(rng: Rng) -> dict[int, Slip]:
    place = _any_place(rng)
    return {place: Slip("left bare", str(rng.choice([HOOKUPS[place].first, HOOKUPS[place].second])))}


def _no_load(rng: Rng) -> dict[int, Slip]:
    return {_any_place(rng): Slip("no load")}


def _not_tight(low_ohm: float, high_ohm: float, most_nh: float) -> Callable[[Rng], dict[int, Slip]]:
    def draw(rng: Rng) -> dict[int, Slip]:
        place = _any_place(rng)
        port = str(rng.choice([HOOKUPS[place].first, HOOKUPS[place].second]))
        ohm = float(np.exp(rng.uniform(np.log(low_ohm), np.log(high_ohm))))
        return {place: Slip("not tight", port, ohm=ohm, nh=float(rng.uniform(0, most_nh)))}

    return draw


MISTAKES: dict[str, Callable[[Rng], dict[int, Slip]]] = {
    "TX and RX swapped in all hook-ups": _swapped_all,
    "TX and RX swapped in one hook-up": _swapped,
    "the two cables exchanged": _exchanged,
    "a cable and the load exchanged": _with_load,
    "not re-cabled": _not_recabled,
    "a cable not on": _bare,
    "no load on the idle port": _no_load,
    "a cable not tight, 40 to 200 ohm": _not_tight(40, 200, 30),
    "a unit of another order": lambda rng: {},
    "no unit": lambda rng: {},
}
"""Each as often as the others."""

FAINT: dict[str, Callable[[Rng], dict[int, Slip]]] = {
    "a cable not tight, 20 to 40 ohm": _not_tight(20, 40, 2),
    "a cable not tight, 10 to 20 ohm": _not_tight(10, 20, 2),
    "a cable not tight, 2 to 10 ohm": _not_tight(2, 10, 2),
}
"""Not counted among the mistakes: a contact so good is within what a sound bench does; shown for honesty."""


def mistaken_run(mistake: str, family: Family, rng: Rng) -> Doubt | None:
    """One run with a mistake; what was said of it."""
    channels, bench = draw_channels(family, rng), draw_bench(rng)
    unit, _ = draw_unit(family, channels, rng)
    slips = {**MISTAKES, **FAINT}[mistake](rng)
    asked = channels
    if mistake == "a unit of another order":
        asked = another_order(family, channels, rng)
    placed = None if mistake == "no unit" else unit
    found = doubts_of(placed, slips, _plan(family, asked), asked, bench)
    return found[0] if found else None


def another_order(family: Family, channels: Channels, rng: Rng) -> Channels:
    """Another pair of the same spacing, a quarter of it away or more, or simply another pair."""
    if rng.random() < 0.5:
        other = draw_channels(family, rng)
        spacing_hz = abs(channels.rx_hz - channels.tx_hz)
        if abs(other.tx_hz - channels.tx_hz) > 0.25 * spacing_hz:
            return other
    shift_hz = rng.choice([-1, 1]) * rng.uniform(0.25, 3.0) * abs(channels.rx_hz - channels.tx_hz)
    return replace(channels, tx_hz=channels.tx_hz + shift_hz, rx_hz=channels.rx_hz + shift_hz)


def sound_run(family: Family, rng: Rng) -> tuple[str, Doubt | None]:
    """One run cabled as told; the unit's defect, and what was said wrongly."""
    channels, bench = draw_channels(family, rng), draw_bench(rng)
    unit, defect = draw_unit(family, channels, rng)
    found = doubts_of(unit, {}, _plan(family, channels), channels, bench)
    return defect, found[0] if found else None


def _plan(family: Family, channels: Channels) -> Plan:
    recipe = family.recipe
    # a hook-up is doubted by its first sweep, which is the fast one
    settings = recipe.effort.first if recipe.effort else recipe.settings
    return make_plan(recipe.bind(channels), recipe.overview(channels), channels, settings, ABILITY)


@dataclass(frozen=True)
class Tally:
    """How often something was tried, and how often a doubt was raised."""

    tried: Counter[str]
    doubted: Counter[str]
    words: tuple[str, ...]
    """Of what went against expectation."""

    def share(self) -> float:
        """Of all."""
        return sum(self.doubted.values()) / sum(self.tried.values())

    def rows(self) -> list[str]:
        """One line each."""
        return [f"  {name:36} {self.doubted[name]:5} of {self.tried[name]:5}" for name in sorted(self.tried)]


def study_mistakes(number: int, seed: int, mistakes: tuple[str, ...] = tuple(MISTAKES)) -> Tally:
    """Runs with a random mistake each."""
    rng = np.random.default_rng([seed, 1])
    tried: Counter[str] = Counter()
    doubted: Counter[str] = Counter()
    kinds = families()
    for count in range(number):
        mistake = mistakes[int(rng.integers(len(mistakes)))]
        found = mistaken_run(mistake, kinds[count % len(kinds)], rng)
        tried[mistake] += 1
        doubted[mistake] += found is not None
    return Tally(tried, doubted, ())


def study_sound(number: int, seed: int) -> Tally:
    """Runs without any mistake."""
    rng = np.random.default_rng([seed, 2])
    tried: Counter[str] = Counter()
    doubted: Counter[str] = Counter()
    words: list[str] = []
    kinds = families()
    for count in range(number):
        defect, found = sound_run(kinds[count % len(kinds)], rng)
        tried[defect] += 1
        doubted[defect] += found is not None
        words += [f"{defect}: {found.words}"] if found else []
    return Tally(tried, doubted, tuple(words))


def main(arguments: list[str]) -> int:
    """The whole study, printed; 0 when both demands are met."""
    parser = argparse.ArgumentParser(description="How surely a cabling mistake is recognised.")
    for name, default in (("mistakes", 500), ("sound", 2000), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args(arguments)
    wrong = study_mistakes(asked.mistakes, asked.seed)
    faint = study_mistakes(max(20, asked.mistakes // 5), asked.seed, tuple(FAINT))
    sound = study_sound(asked.sound, asked.seed)
    lines = [
        f"mistakes recognised: {wrong.share():.1%}",
        *wrong.rows(),
        "too faint to ask for:",
        *faint.rows(),
    ]
    lines += [f"sound runs doubted: {sound.share():.2%}", *sound.rows(), *sound.words]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0 if wrong.share() >= 0.99 and sound.share() <= 0.002 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
