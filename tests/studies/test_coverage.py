"""The study of coverage, small: on every kind of bench U holds, and no unit passes that is outside by more than U."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def coverage() -> ModuleType:
    """The study beside this file, which is a program of its own."""
    name = "coverage_study"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("coverage.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # Its dataclasses look their module up by name.
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def test_on_every_kind_of_bench_most_true_values_lie_within_u(coverage: ModuleType) -> None:
    """Of 19 characteristics of 12 units on 6 days: 90 to 100 % of all, as so few days tell no better."""
    found = coverage.study(6, 2, seed=5, kinds=coverage.benches.KINDS)
    assert len(found) == len(coverage.benches.KINDS)
    for kind, one in found.items():
        assert len(one.tallies) == 19
        numbers = sum(tally.numbers for tally in one.tallies.values())
        inside = sum(tally.inside for tally in one.tallies.values())
        assert numbers > 150, kind
        assert inside / numbers >= 0.90, kind
        assert sum(passed.passed_far for passed in one.passed.values()) == 0, kind
