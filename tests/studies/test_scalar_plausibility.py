"""The study of a scalar bench, small: each mistake is recognised and no sound run is doubted."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest


@pytest.fixture(scope="module")
def study() -> ModuleType:
    """The study beside this file, which is a program of its own."""
    name = "scalar_plausibility_study"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("scalar_plausibility.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def test_a_run_with_each_mistake_is_recognised(study: ModuleType) -> None:
    families = study.vector.families()
    missed = [
        (mistake, family.model)
        for mistake in study.MISTAKES
        for family in families
        if study.mistaken_run(mistake, family, np.random.default_rng([5, len(mistake)])) is None
    ]
    assert missed == []


def test_sound_runs_of_good_and_of_bad_units_are_not_doubted(study: ModuleType) -> None:
    sound = study.study_sound(24, seed=3)
    assert sound.words == ()
    assert sum(sound.tried.values()) == 24
