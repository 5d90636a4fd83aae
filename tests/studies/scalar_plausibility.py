"""Study: how surely a scalar bench recognises cabling mistakes, and how seldom it takes a unit for one. Known truth.

    python tests/studies/scalar_plausibility.py [--mistakes 500] [--sound 1000] [--seed 1]

As in plausibility.py, whose units, channels and defects it takes: here six hook-ups, three pairs and three single
ports behind a bridge, magnitudes alone, set against references swept before. Not asked for are mistakes that change
no magnitude: cables exchanged on one and the same path, a load missing where nothing comes through, a contact that
is a little loose.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import plausibility as vector

from fixtures_sim.cabling import Cabling, Slip, between_cables
from fixtures_sim.keys import key_of
from fixtures_sim.noise import mean_power
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.standards import Connection, true_kit
from fixtures_sim.units import Unit
from limits.quantity import Channels
from station.instruments.analyzer import Ability
from station.instruments.catalog import kind_named
from station.measurements.doubt import Doubt
from station.measurements.evaluation import BenchData, pairs_of
from station.measurements.magnitude_checks import MAGNITUDE_CHECKS
from station.measurements.normalisation import reference_terms
from station.measurements.plausibility import doubt_about
from station.measurements.sweep import HOOKUPS, PORTS, SINGLES, Hookup, Sweep, SweepSettings
from station.sequencer.plan import Plan, make_plan

ABILITY = Ability(300e3, 3e9, 1601, hookups=kind_named("scalar").hookups, phase=False)
Rng = np.random.Generator


@dataclass(frozen=True)
class Bench:
    """A scalar bench in good order on one day."""

    errors: ScalarErrors
    load: complex
    warming_k: float
    key: int

    def raw(
        self, cabling: Cabling, hookup: Hookup, freq_hz: np.ndarray, settings: SweepSettings, place: int
    ) -> Sweep:
        """What the driver gives of a hook-up that was told, over the cabling that came of it."""
        loads = dict.fromkeys(PORTS, self.load)
        s = between_cables(cabling, loads, freq_hz, 23.0 + max(place, 0) * self.warming_k)
        bridged = cabling.test_ports == 1
        wave = self.errors.bridged(s[:, 0, 0], freq_hz) if bridged else self.errors.through(s, freq_hz)
        level = 10 ** ((settings.power_dbm + self.errors.flatness(freq_hz)) / 20)
        floor = 10 ** (self.errors.floor_dbm / 20) * np.sqrt(settings.bandwidth_hz / 1e3)
        takes = np.zeros(len(freq_hz), dtype=np.uint64)
        key = key_of(self.key, place, cabling.name)
        power = mean_power(wave * level, floor, self.errors.trace_db, settings.averages, key, freq_hz, takes)
        dbm = 10 * np.log10(power)
        size = 10 ** ((dbm + self.errors.linearity(dbm) - settings.power_dbm) / 20)
        ports = len(hookup.ports)
        found = np.full((len(freq_hz), ports, ports), complex(np.nan, np.nan))
        if ports == 1:
            found[:, 0, 0] = size
        else:
            found[:, 1, 0] = found[:, 0, 1] = size
        return Sweep(hookup, freq_hz, found, settings, vector.STARTED, 0.3, phase=False)

    def data(self, freq_hz: np.ndarray, settings: SweepSettings) -> BenchData:
        """The references, swept before."""
        kit = true_kit(np.random.default_rng(self.key))
        swept = [
            self.raw(Cabling(standard=Connection(kit, name, ports)), hookup, freq_hz, settings, -1)
            for name, ports, hookup in (
                ("through", (1, 2), HOOKUPS[0]),
                ("open", (1,), SINGLES[0]),
                ("short", (1,), SINGLES[0]),
            )
        ]
        return BenchData(terms=reference_terms(*swept, largest_step_hz=1e6))


def draw_bench(rng: Rng) -> Bench:
    """Matches, directivity and phases of a plain bench, each as it happens to be."""
    errors = ScalarErrors(
        source_match_db=float(rng.uniform(19, 24)),
        receiver_match_db=float(rng.uniform(19, 24)),
        bridge_directivity_db=float(rng.uniform(33, 40)),
        bridge_match_db=float(rng.uniform(23, 30)),
        delay_s=float(rng.uniform(0.5e-9, 3e-9)),
    )
    size = 10 ** (-rng.uniform(26, 45) / 20)
    load = complex(size * np.exp(2j * np.pi * rng.random()))
    return Bench(errors, load, float(rng.uniform(-0.15, 0.15)), int(rng.integers(1 << 40)))


def plan_of(family: vector.Family, channels: Channels) -> Plan:
    """Six hook-ups on one grid."""
    recipe = family.recipe
    return make_plan(recipe.bind(channels), recipe.overview(channels), channels, recipe.settings, ABILITY)


def sweeps_of(unit: Unit | None, slips: dict[int, Slip], plan: Plan, bench: Bench) -> list[Sweep]:
    """Every hook-up of a run, set against the references."""
    freq_hz, settings = plan.orders[0].freq_hz, plan.orders[0].settings
    data = bench.data(freq_hz, settings)
    swept, cabling = [], Cabling(unit)
    for place, order in enumerate(plan.orders):
        meant = Cabling(unit, order.hookup.ports)
        cabling = slips[place].done_to(cabling, meant) if place in slips else meant
        raw = bench.raw(cabling, order.hookup, freq_hz, settings, place)
        swept += pairs_of([raw], data)
    return swept


def first_doubt(swept: Sequence[Sweep], channels: Channels) -> Doubt | None:
    """What a run says of its hook-ups; it ends at the first doubt."""
    for place, sweep in enumerate(swept):
        if found := doubt_about(sweep, swept[:place], channels, MAGNITUDE_CHECKS):
            return found
    return None


_PLACE: dict[Hookup, int] = {hookup: place for place, hookup in enumerate((*HOOKUPS, *SINGLES))}


def _single(rng: Rng) -> Hookup:
    return SINGLES[int(rng.integers(3))]


def _pair(rng: Rng) -> Hookup:
    return HOOKUPS[int(rng.integers(3))]


def _swapped_all(rng: Rng) -> dict[int, Slip]:
    return dict.fromkeys(range(6), Slip("swapped", "TX", "RX"))


def _swapped_pair(rng: Rng) -> dict[int, Slip]:
    return {int(rng.integers(2)): Slip("swapped", "TX", "RX")}


def _cable_with_load(rng: Rng) -> dict[int, Slip]:
    hookup = _pair(rng)
    return {_PLACE[hookup]: Slip("swapped", str(rng.choice(hookup.ports)), hookup.idle)}


def _bridge_with_load(rng: Rng) -> dict[int, Slip]:
    hookup = _single(rng)
    return {_PLACE[hookup]: Slip("swapped", hookup.ports[0], str(rng.choice(hookup.loaded)))}


def _not_recabled(rng: Rng) -> dict[int, Slip]:
    return {int(rng.integers(1, 6)): Slip("not re-cabled")}


def _cable_bare(rng: Rng) -> dict[int, Slip]:
    hookup = _pair(rng)
    return {_PLACE[hookup]: Slip("left bare", str(rng.choice(hookup.ports)))}


def _bridge_bare(rng: Rng) -> dict[int, Slip]:
    hookup = _single(rng)
    return {_PLACE[hookup]: Slip("left bare", hookup.ports[0])}


MISTAKES: dict[str, Callable[[Rng], dict[int, Slip]]] = {
    "TX and RX swapped in all hook-ups": _swapped_all,
    "TX and RX swapped in a path to ANT": _swapped_pair,
    "a cable and the load exchanged": _cable_with_load,
    "the bridge and a load exchanged": _bridge_with_load,
    "not re-cabled": _not_recabled,
    "a cable not on": _cable_bare,
    "the bridge not on": _bridge_bare,
    "no load on ANT, TX to RX": lambda rng: {_PLACE[HOOKUPS[2]]: Slip("no load")},
    "no loads, one port on the bridge": lambda rng: {_PLACE[_single(rng)]: Slip("no load")},
    "a unit of another order": lambda rng: {},
    "no unit": lambda rng: {},
}


FAINT: dict[str, Callable[[Rng], dict[int, Slip]]] = {
    "no load, a path to ANT": lambda rng: {int(rng.integers(2)): Slip("no load")},
}
"""Not counted among the mistakes: hardly anything comes through to the idle port, so that its load hardly matters."""

ON_A_GOOD_UNIT = ("no load on ANT, TX to RX", *FAINT)
"""Asked of units without defect only: where three magnitudes do not fit, a bad unit may as well be the cause."""


def mistaken_run(mistake: str, family: vector.Family, rng: Rng) -> Doubt | None:
    """One run with a mistake; what was said of it."""
    channels, bench = vector.draw_channels(family, rng), draw_bench(rng)
    unit, defect = vector.draw_unit(family, channels, rng)
    while mistake in ON_A_GOOD_UNIT and defect != "no defect":
        unit, defect = vector.draw_unit(family, channels, rng)
    slips = {**MISTAKES, **FAINT}[mistake](rng)
    asked = vector.another_order(family, channels, rng) if mistake == "a unit of another order" else channels
    placed = None if mistake == "no unit" else unit
    return first_doubt(sweeps_of(placed, slips, plan_of(family, asked), bench), asked)


def sound_run(family: vector.Family, rng: Rng) -> tuple[str, Doubt | None]:
    """One run cabled as told; the unit's defect, and what was said wrongly."""
    channels, bench = vector.draw_channels(family, rng), draw_bench(rng)
    unit, defect = vector.draw_unit(family, channels, rng)
    return defect, first_doubt(sweeps_of(unit, {}, plan_of(family, channels), bench), channels)


def study_mistakes(number: int, seed: int, mistakes: Sequence[str] = tuple(MISTAKES)) -> vector.Tally:
    """Runs of all mistakes in turn."""
    rng = np.random.default_rng([seed, 3])
    tried: Counter[str] = Counter()
    doubted: Counter[str] = Counter()
    kinds = vector.families()
    for count in range(number):
        mistake = mistakes[count // 2 % len(mistakes)]
        tried[mistake] += 1
        doubted[mistake] += mistaken_run(mistake, kinds[count % len(kinds)], rng) is not None
    return vector.Tally(tried, doubted, ())


def study_sound(number: int, seed: int) -> vector.Tally:
    """Runs without any mistake."""
    rng = np.random.default_rng([seed, 4])
    tried: Counter[str] = Counter()
    doubted: Counter[str] = Counter()
    words: list[str] = []
    kinds = vector.families()
    for count in range(number):
        defect, found = sound_run(kinds[count % len(kinds)], rng)
        tried[defect] += 1
        doubted[defect] += found is not None
        words += [f"{defect}: {found.words}"] if found else []
    return vector.Tally(tried, doubted, tuple(words))


def main(arguments: list[str]) -> int:
    """The whole study, printed; 0 when both demands are met."""
    parser = argparse.ArgumentParser(description="How surely a scalar bench recognises a cabling mistake.")
    for name, default in (("mistakes", 484), ("sound", 1000), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args(arguments)
    wrong = study_mistakes(asked.mistakes, asked.seed)
    faint = study_mistakes(max(4, asked.mistakes // 10), asked.seed, tuple(FAINT))
    sound = study_sound(asked.sound, asked.seed)
    lines = [f"mistakes recognised: {wrong.share():.1%}", *wrong.rows()]
    lines += ["too faint to ask for:", *faint.rows()]
    lines += [f"sound runs doubted: {sound.share():.2%}", *sound.rows(), *sound.words]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0 if wrong.share() >= 0.97 and sound.share() <= 0.002 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
