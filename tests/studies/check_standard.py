"""Study: how often a check standard raises a false alarm, and how surely it finds a real fault. Known truth.

    python tests/studies/check_standard.py [--checks 200] [--trials 40] [--seed 1]

The simulated check standard is measured at every shift: residual test-port errors, connectors that are put on anew,
cables that are bent, slow drift, noise. Its known values are those of a laboratory that put it on thirty times. The
sweeps are made straight from the simulator, without instruments, and go through the station's own
evaluation, uncertainty and judgement, by the shipped recipe. A check that alarms is measured again once, as the
operator is told to. A fault comes after thirty good checks; it is caught when the check and its repetition alarm.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

import station
from fixtures_sim.cabling import between_cables
from fixtures_sim.checkstandard import CheckStandard
from fixtures_sim.connections import Connectors
from fixtures_sim.drift import Drift
from fixtures_sim.fixture import Fixture
from fixtures_sim.keys import key_of
from fixtures_sim.noise import Care, Noise, with_noise
from fixtures_sim.port_errors import DrawnPorts, Terms, TestPorts, seen_through
from limits.check import History, judge_check
from limits.known import KnownValue
from limits.quantity import Channels
from limits.reading import Reading
from limits.verdict import Outcome, Verdict
from limits.yamlfile import parse
from station.bench.form import BenchForm
from station.instruments.analyzer import Ability
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.sweep import Hookup, Sweep
from station.sequencer import recipe as recipes
from station.sequencer.plan import Plan
from station.sequencer.prepare import plan_recipe
from station.sequencer.run import read

ABILITY = Ability(low_hz=300e3, high_hz=3e9, most_points=1601)
STARTED = datetime(2026, 9, 1, tzinfo=UTC)
BETWEEN_CHECKS_H = 8.0
BEFORE_A_FAULT = 30
LABORATORY_TIMES = 30
ENOUGH = 10
RESIDUAL = TestPorts(directivity_db=46.0, source_match_db=42.0, load_match_db=42.0, tracking_db=0.0)
"""What a calibration leaves at the end of a cable (common practice, no source)."""

BENCH = """\
bench: study
analyzer: {kind: vector, address: "TCPIP::127.0.0.1::5025::SOCKET", dialect: linear-single, identity: any,
  from: 300 kHz, to: 3 GHz, most_points: 1601}
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.025 dB
  drift: 0.03 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
"""


@dataclass(frozen=True)
class Ports:
    """Residual errors that wander, and what a fault adds: a loss on every path and a mismatch of both ports."""

    seed: int
    lost_db: float = 0.0
    mismatch: complex = 0.0

    def terms(self, freq_hz: np.ndarray, count: int, hours: float) -> Terms:
        found, drift = RESIDUAL.terms(freq_hz, count), Drift()

        def gain(*what: int) -> complex:
            return 10 ** (-self.lost_db / 20) * drift.tracking(key_of(self.seed, *what), hours)

        pairs = np.array([[gain(i, j) for j in range(count)] for i in range(count)])
        ports = np.array([gain(i) for i in range(count)])
        match = np.array([drift.match(key_of(self.seed, "match", i), hours) for i in range(count)])
        return replace(
            found,
            source_match=found.source_match + match + self.mismatch,
            load_match=found.load_match + match + self.mismatch,
            reflection_tracking=found.reflection_tracking * ports,
            transmission_tracking=found.transmission_tracking * pairs,
        )


def plan() -> Plan:
    """By the recipe that ships."""
    recipe = recipes.load(Path(station.__file__).parent / "recipes" / "CHECK.yaml")
    return plan_recipe(recipe, Channels(150e6, 170e6), ABILITY)


@dataclass
class Bench:
    """A bench that measures the standard again and again."""

    seed: int
    ports: object
    plan: Plan
    data: BenchData = field(
        default_factory=lambda: BenchData(parse(BENCH, BenchForm, "study").value.uncertainty)
    )
    hours: float = 0.0
    measured: int = 0

    def __post_init__(self) -> None:
        self.fixture = Fixture(23.0, connectors=Connectors(), seed=self.seed)

    def readings(self) -> tuple[Reading, ...]:
        """One measurement of the standard, taken out of its box and put back."""
        self.fixture.place(CheckStandard())
        sweeps = [self._sweep(order.hookup, order.freq_hz, order.settings) for order in self.plan.orders]
        self.measured += 1
        found = read(self.plan, evaluate(sweeps, self.data).sweeps, self.data.figures)
        return tuple(each for each in found if isinstance(each, Reading))

    def _sweep(self, hookup: Hookup, freq_hz: np.ndarray, settings: object) -> Sweep:
        self.fixture.hook_up(*hookup.ports)
        s = between_cables(self.fixture.cabling, {}, freq_hz, 23.0)
        s = seen_through(s, self.ports.terms(freq_hz, 2, self.hours))
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        takes = np.zeros(len(freq_hz), dtype=np.uint64)
        for to in (0, 1):
            for source in (0, 1):
                key = key_of(self.seed, self.measured, hookup.name, to, source)
                s[:, to, source] = with_noise(s[:, to, source], Noise(), care, key, freq_hz, takes)
        return Sweep(hookup, freq_hz, s, settings, STARTED, 0.1)


class PerfectPorts:
    """Of the laboratory."""

    def terms(self, freq_hz: np.ndarray, count: int, hours: float) -> Terms:
        return TestPorts(200.0, 200.0, 200.0, 0.0).terms(freq_hz, count)


def laboratory(of: Plan) -> dict[str, KnownValue]:
    """What a laboratory with the same kind of connectors states."""
    bench = Bench(key_of("laboratory"), PerfectPorts(), of)
    every = [bench.readings() for _ in range(LABORATORY_TIMES)]
    known = {}
    for each in zip(*every, strict=True):
        u_db = 0.03 if "return" not in each[0].name else 0.5
        known[each[0].name] = KnownValue.parse(f"{np.mean([one.value for one in each]):.3f} dB ± {u_db} dB")
    return known


@dataclass
class Season:
    """Checks in a row at one bench."""

    bench: Bench
    known: dict[str, KnownValue]
    values: dict[str, list[float]] = field(default_factory=dict)

    def check(self) -> tuple[Outcome, Outcome]:
        """At the next shift: the first verdict, and the last one, after a second measurement where needed."""
        self.bench.hours += BETWEEN_CHECKS_H
        first = last = self._judged()
        if first.outcome is not Outcome.PASS:
            last = self._judged()
        return first.outcome, last.outcome

    def _judged(self) -> Verdict:
        readings = self.bench.readings()
        verdict = judge_check(self.known, readings, History(self.values, ENOUGH, len(self.known)))
        if verdict.outcome is Outcome.PASS:
            for each in readings:
                self.values.setdefault(each.name, []).append(each.value)
        return verdict


def false_alarms(checks: int, seed: int, of: Plan, known: dict[str, KnownValue]) -> tuple[int, int]:
    """Of so many checks at one sound bench: first measurements that alarmed, and those that alarmed again."""
    season = Season(Bench(seed, Ports(seed), of), known)
    found = [season.check() for _ in range(checks)]
    return sum(each[0] is not Outcome.PASS for each in found), sum(
        each[1] is not Outcome.PASS for each in found
    )


FAULTS: dict[str, Callable[[np.random.Generator, int], object]] = {
    "tracking drifted by 0.15 dB": lambda rng, seed: Ports(seed, lost_db=0.15 * rng.choice([-1, 1])),
    "a worn cable: 0.1 dB lost, 26 dB match": lambda rng, seed: Ports(
        seed, 0.1, 0.05 * np.exp(2j * np.pi * rng.random())
    ),
    "another bench's calibration": lambda rng, seed: DrawnPorts(seed),
    "tracking drifted by 0.08 dB": lambda rng, seed: Ports(seed, lost_db=0.08 * rng.choice([-1, 1])),
    "tracking drifted by 0.05 dB": lambda rng, seed: Ports(seed, lost_db=0.05 * rng.choice([-1, 1])),
}
"""What becomes of the test ports."""


def caught(fault: str, seed: int, of: Plan, known: dict[str, KnownValue]) -> bool:
    """Whether the first check after a fault, and its repetition, both alarm."""
    season = Season(Bench(seed, Ports(seed), of), known)
    for _ in range(BEFORE_A_FAULT):
        season.check()
    season.bench.ports = FAULTS[fault](np.random.default_rng(seed), seed)
    return season.check()[1] is not Outcome.PASS


def main() -> None:
    """The study at full size."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--checks", type=int, default=200)
    parser.add_argument("--benches", type=int, default=5)
    parser.add_argument("--trials", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    of = plan()
    known = laboratory(of)
    for bench in range(given.benches):
        first, again = false_alarms(given.checks, key_of(given.seed, bench), of, known)
        sys.stdout.write(
            f"bench {bench}: {first} of {given.checks} checks alarmed, {again} also when repeated\n"
        )
    for fault in FAULTS:
        found = sum(caught(fault, key_of(given.seed, fault, n), of, known) for n in range(given.trials))
        sys.stdout.write(f"{fault}: caught at once in {found} of {given.trials}\n")


if __name__ == "__main__":
    main()
