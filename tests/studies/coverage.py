"""Study: how often the true value lies within U, and how often a bad unit passes. Known truth.

    python tests/studies/coverage.py [--days 1000] [--units 2] [--seed 1] [--kind "three ports"] [--processes 2]

Units of both families on random channels, within tolerance and beyond, on benches of every kind with all their
imperfections (`benches`); a bench has its own errors each day, so that many days tell more than many units. Per
kind of bench and characteristic: the share of readings whose true value lies within U, and mean and spread of the
error in units of u. Per limit of the shipped tables under guarded acceptance with w = U: of the units truly
outside, how many pass, and whether one of them is outside by more than U.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from types import ModuleType

import numpy as np

import station
from fixtures_sim.units import build_unit, defect_from
from limits.decide import decide
from limits.quantity import Channels
from limits.reading import Claim, Reading
from limits.rules import rule_named
from limits.table import LimitTable
from limits.table import load as load_table
from limits.verdict import Outcome
from station.instruments.analyzer import Ability
from station.measurements.budget import with_uncertainty
from station.sequencer.plan import make_plan


def _beside(name: str) -> ModuleType:
    """A program in this folder, which is no package."""
    full = f"{name}_study"
    if full in sys.modules:
        return sys.modules[full]
    spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[full] = module
    spec.loader.exec_module(module)
    return module


benches = _beside("benches")
plausibility = _beside("plausibility")
Rng = np.random.Generator
ABILITY = Ability(low_hz=300e3, high_hz=3e9, most_points=1601)
GUARDED = rule_named("guarded acceptance with w = U")
PORT_NAMES = ("TX", "ANT", "RX")


@dataclass
class Tally:
    """Of one characteristic on one kind of bench."""

    inside: int = 0
    normalised: list[float] = field(default_factory=list)
    """Errors of numbers in units of u."""

    bounds: int = 0
    true_bounds: int = 0
    nothing: int = 0
    """Without a value on the bench or in truth."""

    @property
    def numbers(self) -> int:
        return len(self.normalised)

    @property
    def coverage(self) -> float:
        """Share of the numbers that have the truth within U."""
        return self.inside / self.numbers if self.numbers else 1.0

    def add(self, reading: Reading, true: Reading) -> None:
        """One reading and the same without a bench."""
        if reading.value is None or true.value is None:
            self.nothing += 1
            return
        assert reading.u is not None
        if Claim.AT_LEAST in (reading.claim, true.claim):
            self.bounds += 1
            self.true_bounds += true.value >= reading.value - reading.u
            return
        error = reading.value - true.value
        self.inside += abs(error) <= reading.u
        self.normalised.append(2 * error / reading.u if reading.u else 0.0)

    def join(self, other: Tally) -> None:
        """Count what another day found too."""
        self.inside += other.inside
        self.normalised += other.normalised
        self.bounds += other.bounds
        self.true_bounds += other.true_bounds
        self.nothing += other.nothing


@dataclass
class Passed:
    """Of units that are truly outside one limit."""

    outside: int = 0
    passed: int = 0
    passed_far: int = 0
    """Outside by more than U, and passed."""

    def join(self, other: Passed) -> None:
        """Count what another day found too."""
        self.outside += other.outside
        self.passed += other.passed
        self.passed_far += other.passed_far


@dataclass
class Found:
    """What came of one kind of bench."""

    tallies: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    passed: dict[str, Passed] = field(default_factory=lambda: defaultdict(Passed))

    def join(self, other: Found) -> None:
        """Count what another day found too."""
        for name, tally in other.tallies.items():
            self.tallies[name].join(tally)
        for name, passed in other.passed.items():
            self.passed[name].join(passed)


@dataclass(frozen=True)
class Family:
    """A model, its recipe and its limits."""

    base: object
    table: LimitTable

    @property
    def band_hz(self) -> np.ndarray:
        low, high = self.base.low_hz - 8e6, self.base.high_hz + 8e6
        return np.arange(low, high, 250e3 if low < 300e6 else 500e3)


@cache
def families() -> tuple[Family, ...]:
    """The two that the simulator builds."""
    folder = Path(station.__file__).parent.parent / "limits" / "tables"
    return tuple(Family(base, load_table(folder / f"{base.model}.yaml")) for base in plausibility.families())


def draw_unit(family: Family, channels: Channels, rng: Rng) -> object:
    """Half of them as they come, half of them worse than usual, so that limits are met from both sides."""
    entries = [] if rng.random() < 0.5 else [{"kind": "tolerance", "percent": float(rng.uniform(100, 250))}]
    serial = f"S{rng.integers(1 << 40)}"
    defects = tuple(map(defect_from, entries))
    return benches.Known(build_unit(family.base.model, serial, channels.tx_hz, channels.rx_hz, 1, defects))


def study(days: int, units: int, seed: int, kinds: Iterable[str], processes: int = 1) -> Mapping[str, Found]:
    """Every kind of bench, on the same units; the same however many processes share the days."""
    found = {kind: Found() for kind in kinds}
    one = partial(_one_day, units, seed, tuple(found))
    if processes == 1:
        _join(found, map(one, range(days)))
    else:
        with ProcessPoolExecutor(processes) as pool:
            _join(found, pool.map(one, range(days), chunksize=4))
    return found


def _join(found: Mapping[str, Found], days: Iterable[Mapping[str, Found]]) -> None:
    for day in days:
        for kind, one in day.items():
            found[kind].join(one)


def _one_day(units: int, seed: int, kinds: tuple[str, ...], day: int) -> Mapping[str, Found]:
    found = {kind: Found() for kind in kinds}
    family = families()[day % len(families())]
    rng = np.random.default_rng([seed, day])
    stand = {kind: benches.KINDS[kind](int(rng.integers(1 << 40)), family.band_hz) for kind in kinds}
    for _ in range(units):
        _one_unit(family, rng, stand, found)
    return found


def _one_unit(family: Family, rng: Rng, stand: Mapping[str, object], found: Mapping[str, Found]) -> None:
    channels = plausibility.draw_channels(family.base, rng)
    unit = draw_unit(family, channels, rng)
    recipe = family.base.recipe
    items = recipe.bind(channels)
    plan = make_plan(items, recipe.overview(channels), channels, recipe.settings, ABILITY, common_grid=True)
    freq_hz = plan.orders[0].freq_hz
    temperature_c = 23.0 + float(rng.uniform(-1, 1)) * benches.TEMPERATURE_K
    clean = benches.truth(unit, freq_hz, recipe.settings)
    true = {item.name: item.read(clean) for item in items}
    for kind, bench in stand.items():
        sweeps, worth = bench.read(unit, freq_hz, recipe.settings, temperature_c), bench.worth
        for item in items:
            reading = with_uncertainty(item, item.read(sweeps, worth), sweeps, worth)
            found[kind].tallies[item.name].add(reading, true[item.name])
            for count in _passed(family, item.name, reading, true[item.name], channels):
                _count(found[kind].passed[item.name], count)


def _passed(
    family: Family, name: str, reading: Reading, true: Reading, channels: Channels
) -> Iterator[tuple[bool, bool]]:
    """For each limit that the unit is truly outside: whether it passed, and whether it is outside by more than U."""
    row = next(row for row in family.table.rows if row.name == name)
    for level, bound in row.bounds:
        margin = bound.weigh(true, channels).margin
        if margin is None or margin >= 0:
            continue
        passes = decide(reading, level, bound, GUARDED, channels).outcome is Outcome.PASS
        yield passes, passes and reading.u is not None and -margin > reading.u


def _count(passed: Passed, count: tuple[bool, bool]) -> None:
    passed.outside += 1
    passed.passed += count[0]
    passed.passed_far += count[1]


def rows(found: Found) -> Iterator[str]:
    """One line for each characteristic."""
    for name, tally in found.tallies.items():
        z = np.array(tally.normalised) if tally.normalised else np.zeros(1)
        line = f"  {name:20} {tally.coverage:6.1%} of {tally.numbers:5}, error {z.mean():+5.2f} ± {z.std():4.2f} u"
        if tally.bounds:
            line += f"; {tally.true_bounds} of {tally.bounds} bounds true"
        if tally.nothing:
            line += f"; {tally.nothing} without a value"
        passed = found.passed.get(name)
        if passed and passed.outside:
            line += (
                f"; {passed.passed} of {passed.outside} outside passed, {passed.passed_far} by more than U"
            )
        yield line


def main(arguments: list[str]) -> int:
    """The whole study, printed; 0 when all demands are met."""
    parser = argparse.ArgumentParser(description="How often the true value lies within U.")
    for name, default in (("days", 1000), ("units", 2), ("seed", 1), ("processes", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--kind", choices=benches.KINDS, action="append")
    asked = parser.parse_args(arguments)
    met = True
    kinds = asked.kind or benches.KINDS
    for kind, found in study(asked.days, asked.units, asked.seed, kinds, asked.processes).items():
        sys.stdout.write("\n".join([kind, *rows(found)]) + "\n")
        met &= all(0.93 <= tally.coverage <= 0.99 for tally in found.tallies.values())
        outside = sum(each.outside for each in found.passed.values())
        passed = sum(each.passed for each in found.passed.values())
        far = sum(each.passed_far for each in found.passed.values())
        sys.stdout.write(f"  truly outside: {outside}, passed {passed}, by more than U {far}\n")
        met &= passed <= 0.025 * max(1, outside) and far == 0
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
