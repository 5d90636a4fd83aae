"""Study: whether sweeping again only what is close decides as well as sweeping everything with care. Known truth.

    python tests/studies/effort.py [--units 3000] [--seed 1] [--processes 1]

A season of units of both families with the works' tolerances, one in twelve with a defect; a bench with residual
test-port errors, loads that are not perfect, connectors that repeat, and noise, all of the sizes that its figures
state. Each unit is tested twice: by the shipped recipe as it is, and by the same recipe without its `effort:`, which
sweeps everything by the careful settings. Both meet the same errors of the bench, and the same noise where their
settings are the same. The truth is read from the unit's own S. Time is the simulated analyzer's own.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path

import numpy as np

import limits
import station
from fixtures_sim.analyzers import sweep_count
from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.keys import key_of
from fixtures_sim.noise import NEPER_DB, Noise, with_noise
from fixtures_sim.noise import Care as NoiseSettings
from fixtures_sim.port_errors import TestPorts, seen_through
from fixtures_sim.sweeper import sweep_time_s
from fixtures_sim.units import Unit, build_unit, defect_from
from limits.decide import judge
from limits.quantity import Channels
from limits.rules import Rule
from limits.table import LimitTable
from limits.table import load as load_table
from limits.verdict import Level, Outcome
from limits.yamlfile import parse
from station.instruments.analyzer import Ability, SweepOrder
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.figures import Figures
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Sweep
from station.sequencer import recipe as recipes
from station.sequencer.care import Care
from station.sequencer.plan import Plan, make_plan
from station.sequencer.run import read
from station.sequencer.second_look import second_look

FIGURES = parse(
    """\
noise_floor: -115 dBm at 1 kHz
trace_noise: 0.002 dB
connector_repeatability: 0.02 dB
drift: 0.02 dB
directivity: 44 dB
port_match: 40 dB
load_match: 44 dB
""",
    Figures,
    "bench.yaml",
).value
ABILITY = Ability(low_hz=300e3, high_hz=3e9, most_points=1601)
RULES = ("simple acceptance", "guarded acceptance with w = U", "guarded rejection with w = U")
STARTED = datetime(2026, 9, 1, tzinfo=UTC)
DEFECTIVE = 1 / 12
Rng = np.random.Generator

MOST_TIME = 1 / 3
"""Of the careful recipe's."""

NO_WORSE = 0.002
"""The decisions are taken for equally good where with 95 % confidence fewer than two units in a thousand more are
decided wrongly."""

FEW_UNDECIDED = 0.005
"""And where fewer than five in a thousand more are left undecided: no wrong decision, but each asks for a person, and
a recipe that decides nothing would decide nothing wrongly."""


@dataclass(frozen=True)
class Family:
    """A model and where the season's orders lie."""

    recipe: recipes.Recipe
    table: LimitTable
    low_hz: float
    high_hz: float
    spacing_hz: tuple[float, float]
    tuning_khz: float
    """How far a badly tuned cavity may be off."""


@cache
def families() -> tuple[Family, ...]:
    """The two families whose units the simulator builds."""
    recipe_folder = Path(station.__file__).parent / "recipes"
    table_folder = Path(limits.__file__).parent / "tables"

    def of(model: str, low_hz: float, high_hz: float, spacing_hz: tuple[float, float], khz: float) -> Family:
        recipe = recipes.load(recipe_folder / f"{model}.yaml")
        return Family(recipe, load_table(table_folder / f"{model}.yaml"), low_hz, high_hz, spacing_hz, khz)

    return (
        of("SK-V4", 152e6, 168e6, (0.6e6, 1.0e6), 100.0),
        of("SK-U4", 442e6, 468e6, (5e6, 6e6), 600.0),
    )


@dataclass(frozen=True)
class Known:
    """A unit whose S is worked out once, on all frequencies of a plan: a device for the cables."""

    label: str
    freq_hz: np.ndarray
    known: np.ndarray
    """Shape (n, 3, 3)."""

    def s(self, freq_hz: np.ndarray, temperature_c: float = 23.0) -> np.ndarray:
        """At some of these frequencies."""
        return self.known[np.searchsorted(self.freq_hz, freq_hz)]


@dataclass(frozen=True)
class Bench:
    """What one run's bench does to every sweep, drawn from what its figures state."""

    ports: TestPorts
    loads: Mapping[str, complex]
    mated: Mapping[Hookup, np.ndarray]
    """Factor on each S-parameter, shape (2, 2)."""

    key: int

    def clean(self, unit: Known, hookup: Hookup, freq_hz: np.ndarray) -> np.ndarray:
        """A hook-up without noise."""
        seen = between_cables(Cabling(unit, (hookup.first, hookup.second)), self.loads, freq_hz, 23.0)
        return seen_through(seen, self.ports.terms(freq_hz, 2)) * self.mated[hookup]

    def sweep(self, clean: np.ndarray, order: SweepOrder) -> Sweep:
        """The same points with the same settings have the same noise, whoever asks for them."""
        settings, freq_hz = order.settings, order.freq_hz
        care = NoiseSettings(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        takes, s = np.zeros(len(clean), dtype=np.uint64), np.empty_like(clean)
        for to in (0, 1):
            for source in (0, 1):
                key = key_of(self.key, order.hookup.name, to, source, care)
                s[:, to, source] = with_noise(clean[:, to, source], Noise(), care, key, freq_hz, takes)
        return Sweep(order.hookup, freq_hz, s, settings, STARTED, 0.0)


def draw_bench(rng: Rng) -> Bench:
    """A bench in good order, as FIGURES states it."""

    def load() -> complex:
        return complex(10 ** (-FIGURES.load_match / 20) * np.exp(2j * np.pi * rng.random()))

    ports = TestPorts(
        directivity_db=FIGURES.directivity,
        source_match_db=FIGURES.port_match,
        load_match_db=FIGURES.port_match,
        tracking_db=float(rng.uniform(-FIGURES.drift, FIGURES.drift)),
        # turns the phases of all of them
        delay_s=float(rng.uniform(0, 20e-9)),
    )
    scatter = FIGURES.connector_repeatability / NEPER_DB
    mated = {
        hookup: 1 + scatter * (rng.normal(size=(2, 2)) + 1j * rng.normal(size=(2, 2))) for hookup in HOOKUPS
    }
    return Bench(ports, {port: load() for port in PORTS}, mated, int(rng.integers(1 << 40)))


def draw_unit(family: Family, rng: Rng) -> tuple[Unit, Channels]:
    """A unit of some order; TX below or above RX."""
    spacing_hz = round(rng.uniform(*family.spacing_hz) / 25e3) * 25e3
    low_hz = round(rng.uniform(family.low_hz, family.high_hz - spacing_hz) / 12.5e3) * 12.5e3
    pair = (low_hz, low_hz + spacing_hz)
    tx_hz, rx_hz = pair if rng.random() < 0.5 else pair[::-1]
    cavity, off_khz = int(rng.integers(1, 5)), rng.choice([-1, 1]) * rng.uniform(0.2, 1) * family.tuning_khz
    kinds = (
        {"kind": "pass off", "cavity": cavity, "khz": float(off_khz)},
        {"kind": "notch off", "cavity": cavity, "khz": float(off_khz)},
        {"kind": "low Q", "cavity": cavity, "percent": float(rng.uniform(40, 90))},
    )
    entries = [kinds[int(rng.integers(len(kinds)))]] if rng.random() < DEFECTIVE else []
    serial, defects = f"S{rng.integers(1 << 40)}", tuple(map(defect_from, entries))
    unit = build_unit(family.recipe.form.model, serial, tx_hz, rx_hz, 1, defects)
    return unit, Channels(tx_hz, rx_hz)


def seconds(order: SweepOrder) -> np.ndarray:
    """What an order takes: with a list and all S-parameters a sweep; by stretches, with one S-parameter a sweep."""
    names, settings = ("S11", "S21", "S12", "S22"), order.settings
    listed = sweep_count(settings.averages, names) * sweep_time_s(len(order.freq_hz), settings.bandwidth_hz)
    single = sum(
        len(names)
        * sweep_count(settings.averages, names[:1])
        * sweep_time_s(part.points, settings.bandwidth_hz)
        for part in order.segments
    )
    return np.array([listed, single])


@dataclass(frozen=True)
class Test:
    """One unit on one bench; everything that both recipes share."""

    # not a test class, whatever its name begins with
    __test__ = False

    family: Family
    channels: Channels
    plan: Plan
    unit: Known
    bench: Bench

    def clean(self, order: SweepOrder) -> np.ndarray:
        """A hook-up without noise, on the whole of the plan's grid."""
        return self.bench.clean(self.unit, order.hookup, order.freq_hz)

    def outcome(self, sweeps: Iterable[Sweep], rule: str) -> Outcome:
        """The verdict under a rule."""
        pairs = evaluate(sweeps, BenchData()).sweeps
        return judge(self.under(rule), read(self.plan, pairs, FIGURES), self.channels).outcome

    def under(self, rule: str) -> LimitTable:
        """The limits under a rule."""
        return replace(self.family.table, rules=dict.fromkeys(Level, Rule.parse(rule)))

    def truth(self) -> Outcome:
        """Of the unit's own S."""
        sweeps = []
        for order in self.plan.orders:
            used = [PORTS.index(port) for port in order.hookup.ports]
            s = self.unit.s(order.freq_hz)[:, used][:, :, used]
            sweeps.append(Sweep(order.hookup, order.freq_hz, s, order.settings, STARTED, 0.0))
        pairs = evaluate(sweeps, BenchData()).sweeps
        return judge(self.under(RULES[0]), read(self.plan, pairs), self.channels).outcome

    def with_effort(self, clean: Mapping[Hookup, np.ndarray], rule: str) -> tuple[list[Sweep], np.ndarray]:
        """The sweeps by the recipe as it is, and what they take."""
        effort = self.family.recipe.effort
        assert effort is not None, "the shipped recipe has no effort"
        care = Care(effort, self.under(rule), self.channels, FIGURES)
        sweeps: list[Sweep] = []
        total_s, left_s = np.zeros(2), effort.at_most_s
        for order in self.plan.orders:
            first = care.first(order)
            sweeps.append(self.bench.sweep(clean[order.hookup], first))
            total_s += seconds(first)
            pairs = evaluate(sweeps, BenchData()).sweeps
            wishes = care.wishes(self.plan.shown_by(order), pairs)
            look = second_look(order, wishes, left_s, ABILITY.passes)
            if look.order is not None:
                places = np.searchsorted(order.freq_hz, look.order.freq_hz - 1e-3)
                sweeps.append(self.bench.sweep(clean[order.hookup][places], look.order))
                total_s += seconds(look.order)
                left_s -= look.takes_s
        return sweeps, total_s


def draw_test(family: Family, rng: Rng) -> Test:
    """One unit of the season on the bench of its day."""
    device, channels = draw_unit(family, rng)
    recipe = family.recipe
    plan = make_plan(recipe.bind(channels), recipe.overview(channels), channels, recipe.settings, ABILITY)
    freq_hz = np.unique(np.concatenate([order.freq_hz for order in plan.orders]))
    return Test(
        family, channels, plan, Known(device.label, freq_hz, device.s(freq_hz, 23.0)), draw_bench(rng)
    )


@dataclass(frozen=True)
class Compared:
    """One unit by both recipes under one rule."""

    rule: str
    truth: Outcome
    careful: Outcome
    effort: Outcome
    careful_s: np.ndarray
    """See `seconds`."""

    effort_s: np.ndarray


def compare(seed: int, number: int) -> tuple[Compared, ...]:
    """One unit of the season under every rule."""
    kinds = families()
    test = draw_test(kinds[number % len(kinds)], np.random.default_rng([seed, 9, number]))
    clean = {order.hookup: test.clean(order) for order in test.plan.orders}
    careful = [test.bench.sweep(clean[order.hookup], order) for order in test.plan.orders]
    careful_s, truth = sum(map(seconds, test.plan.orders)), test.truth()
    found = []
    for rule in RULES:
        sweeps, effort_s = test.with_effort(clean, rule)
        outcomes = test.outcome(careful, rule), test.outcome(sweeps, rule)
        found.append(Compared(rule, truth, *outcomes, careful_s, effort_s))
    return tuple(found)


WRONG = {"false pass": (Outcome.FAIL, Outcome.PASS), "false fail": (Outcome.PASS, Outcome.FAIL)}
"""What the truth is and what is decided; undecided is no wrong decision, but is counted too."""


@dataclass
class Tally:
    """What came of a season under one rule."""

    units: int = 0
    truly: Counter[str] = field(default_factory=Counter)
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    """By what happened and to whom: `careful`, `effort`, or `careful only`, `effort only`."""

    careful_s: np.ndarray = field(default_factory=lambda: np.zeros(2))
    effort_s: np.ndarray = field(default_factory=lambda: np.zeros(2))

    def add(self, unit: Compared) -> None:
        """One more unit."""
        self.units += 1
        self.truly[unit.truth.value] += 1
        self.careful_s += unit.careful_s
        self.effort_s += unit.effort_s
        happened = {
            name: [(unit.truth, each) == what for each in (unit.careful, unit.effort)]
            for name, what in WRONG.items()
        }
        happened["undecided"] = [each is Outcome.UNDECIDED for each in (unit.careful, unit.effort)]
        for name, (careful, effort) in happened.items():
            self.counts[name, "careful"] += careful
            self.counts[name, "effort"] += effort
            self.counts[name, "careful only"] += careful and not effort
            self.counts[name, "effort only"] += effort and not careful

    def difference(self, name: str) -> tuple[float, float]:
        """How much more often it happens with effort, as a share of all units, and the half-width of its 95 %.

        Of paired shares: (b - c) / n with the standard error sqrt(b + c - (b - c)^2 / n) / n (common practice).
        Where the two never differ, no more than 3 / n is known with that confidence.
        """
        more, less = self.counts[name, "effort only"], self.counts[name, "careful only"]
        gap = more - less
        spread = math.sqrt(more + less - gap**2 / self.units)
        return gap / self.units, max(1.96 * spread, 3.0) / self.units

    def time(self) -> np.ndarray:
        """Share of the careful recipe's time; see `seconds`."""
        return self.effort_s / self.careful_s

    def is_good(self) -> bool:
        """Whether the demands are met."""
        most = {**dict.fromkeys(WRONG, NO_WORSE), "undecided": FEW_UNDECIDED}
        is_as_sure = all(sum(self.difference(name)) <= more for name, more in most.items())
        return bool((self.time() <= MOST_TIME).all()) and is_as_sure

    def lines(self) -> Iterator[str]:
        """For printing."""
        yield f"  {self.units} units, of which {self.truly['fail']} are truly outside a limit"
        careful_s, effort_s = self.careful_s / self.units, self.effort_s / self.units
        for place, what in enumerate(("list-all", "linear-single")):
            yield (
                f"  sweep time a unit, {what}: careful {careful_s[place]:.2f} s, effort {effort_s[place]:.2f} s, "
                f"{self.time()[place]:.1%}"
            )
        for name in (*WRONG, "undecided"):
            gap, half = self.difference(name)
            both = [
                f"{who} {self.counts[name, who]}"
                for who in ("careful", "effort", "careful only", "effort only")
            ]
            yield f"  {name}: {', '.join(both)}; difference {gap:+.3%} +- {half:.3%} of all units"


def study(units: int, seed: int, processes: int = 1) -> dict[str, Tally]:
    """A season, by rule."""
    tallies = {rule: Tally() for rule in RULES}
    one = partial(compare, seed)
    if processes == 1:
        for compared in map(one, range(units)):
            _count(tallies, compared)
        return tallies
    with ProcessPoolExecutor(processes) as pool:
        for compared in pool.map(one, range(units), chunksize=20):
            _count(tallies, compared)
    return tallies


def _count(tallies: Mapping[str, Tally], compared: Iterable[Compared]) -> None:
    for each in compared:
        tallies[each.rule].add(each)


def main(arguments: list[str]) -> int:
    """The whole study, printed; 0 when the demands are met."""
    parser = argparse.ArgumentParser(
        description="Whether effort where it matters decides as well as care everywhere."
    )
    for name, default in (("units", 3000), ("seed", 1), ("processes", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args(arguments)
    tallies = study(asked.units, asked.seed, asked.processes)
    for rule, tally in tallies.items():
        sys.stdout.write("\n".join([f"{rule}:", *tally.lines()]) + "\n")
    return 0 if all(tally.is_good() for tally in tallies.values()) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
