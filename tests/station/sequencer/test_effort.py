"""The `effort:` of a recipe: what it may say, and what it becomes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from limits.errors import BadInput
from station.measurements.sweep import SweepSettings
from station.sequencer.effort import Effort
from station.sequencer.recipe import Recipe, load

HEAD = """\
recipe: sample
revision: A
model: M
limit_table: T
analyzer: {bandwidth: 300 Hz, averages: 2, power: -5 dBm}
"""
TAIL = """\
overview: {over: low - 2 MHz to high + 2 MHz, step: 25 kHz}
characteristics:
  loss: {measure: loss, path: TX to ANT, at: tx}
"""
GOOD = "effort: {first: {bandwidth: 10 kHz, averages: 1}, within: 2 U, at_most: 4 s}\n"
MakeRecipe = Callable[[str], Recipe]


@pytest.fixture
def recipe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> MakeRecipe:
    """The recipe with this effort, which is kept as `r.yaml`."""
    monkeypatch.chdir(tmp_path)

    def of(effort: str) -> Recipe:
        Path("r.yaml").write_text(HEAD + effort + TAIL, encoding="utf-8")
        return load(Path("r.yaml"))

    return of


def test_without_it_everything_is_swept_once(recipe: MakeRecipe) -> None:
    assert recipe("").effort is None


def test_its_careful_settings_are_those_of_the_analyzer(recipe: MakeRecipe) -> None:
    made = recipe(GOOD)
    careful = SweepSettings(300.0, 2, -5.0)
    assert made.settings == careful
    assert made.effort == Effort(SweepSettings(10e3, 1, -5.0), careful, within=2.0, at_most_s=4.0)


@pytest.mark.parametrize(("text", "factor"), [("U", 1.0), ("1.5 U", 1.5), ("3U", 3.0)])
def test_a_multiple_of_u_is_read_as_people_write_it(recipe: MakeRecipe, text: str, factor: float) -> None:
    effort = recipe(GOOD.replace("2 U", text)).effort
    assert effort is not None and effort.within == factor


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("2 U", "2", "r.yaml:6:59: expected a multiple of U from above 0 to 100, like '2 U', got '2'"),
        ("2 U", "0 U", "r.yaml:6:59: expected a multiple of U"),
        ("4 s", "0 s", "r.yaml:6:73: 'at_most' is more than 0 s"),
        ("4 s", "4", "r.yaml:6:73: '4' has no unit"),
        ("10 kHz", "2 MHz", "r.yaml:6:29: the bandwidth lies from 1 Hz to 1 MHz"),
        ("10 kHz", "100 Hz", "r.yaml:6:10: the first sweep is no faster than the careful one"),
        ("averages: 1}", "averages: 400}", "r.yaml:6:10: the first sweep is no faster than the careful one"),
        ("within", "withn", "r.yaml:6:51: unknown key 'withn'; did you mean 'within'?"),
    ],
)
def test_a_mistake_is_told_at_its_place(recipe: MakeRecipe, old: str, new: str, told: str) -> None:
    with pytest.raises(BadInput) as refused:
        recipe(GOOD.replace(old, new))
    assert any(str(mistake).startswith(told) for mistake in refused.value.mistakes), str(refused.value)


def test_a_recipe_without_limits_has_no_use_for_it(tmp_path: Path) -> None:
    path = tmp_path / "r.yaml"
    text = HEAD.replace("limit_table: T\n", "") + GOOD + TAIL.replace("at: tx}", "at: tx, information: yes}")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match="5:1: without a limit table nothing is near its limit"):
        load(path)
