"""The study of a scalar bench, small: each mistake is recognised and no sound run is doubted."""

from __future__ import annotations

from types import ModuleType

import numpy as np


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
