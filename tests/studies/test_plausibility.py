"""The study of plausibility, small: a mistake of each kind is recognised and no sound run is doubted."""

from __future__ import annotations

from types import ModuleType

import numpy as np


def test_three_runs_with_each_mistake_are_all_recognised(study: ModuleType) -> None:
    missed = [
        (mistake, count)
        for mistake in study.MISTAKES
        for count in range(3)
        if study.mistaken_run(
            mistake, study.families()[count % 2], np.random.default_rng([3, count, len(mistake)])
        )
        is None
    ]
    assert missed == []


def test_sound_runs_of_good_and_of_bad_units_are_not_doubted(study: ModuleType) -> None:
    sound = study.study_sound(60, seed=3)
    assert sound.words == ()
    assert sum(sound.tried.values()) == 60
    assert len(sound.tried) == 7, "not every defect was drawn"
