"""The uncertainty budget of a stored reading, worked out again from what the store keeps of its run.

Nothing of it is stored beside U itself: the sweeps, the recipe and the bench file say it all.
"""

from __future__ import annotations

from dataclasses import dataclass

from limits.formwords import suggest
from limits.quantity import Channels
from limits.reading import Reading
from limits.yamlfile import parse
from station.bench.form import BenchForm
from station.database.entries import StoredRun
from station.errors import UserMistake
from station.measurements.budget import budget_of
from station.measurements.uncertainty import Budget
from station.records import evaluated
from station.sequencer.prepare import known_figures
from station.sequencer.recipe import Recipe, RecipeForm


@dataclass(frozen=True, slots=True)
class Accounted:
    """A reading and why it is uncertain."""

    reading: Reading
    budget: Budget


def account(stored: StoredRun, name: str) -> Accounted:
    """The budget of one characteristic of a run.

    Raises UserMistake where there is no such reading, or its uncertainty was not evaluated; BadInput where the
    run's recipe or bench file, as they stood then, cannot be read any more.
    """
    run = f"run {stored.run_number} of {stored.head.serial}"
    reading = next((reading for reading in stored.readings if reading.name == name), None)
    if reading is None:
        names = dict.fromkeys(reading.name for reading in stored.readings)
        raise UserMistake(f"{run} has no reading '{name}'{suggest(name, names)}")
    bench = parse(stored.head.bench.text, BenchForm, f"bench file of {run}").value
    figures = known_figures(bench, stored.calibration, stored.head.started)
    if figures is None:
        what = "its bench file stated no figures; give them under 'uncertainty' in bench.yaml and test again"
        raise UserMistake(f"the uncertainty of {run} was not evaluated: {what}")
    recipe = Recipe(parse(stored.head.recipe.text, RecipeForm, f"recipe of {run}"))
    channels = Channels(stored.order.tx_hz, stored.order.rx_hz)
    item = next(item for item in recipe.bind(channels) if item.name == name)
    budget = budget_of(item, reading, evaluated(stored), figures)
    if budget is None:
        raise UserMistake(f"'{name}' has no value in {run} ({reading.note}), and so no uncertainty")
    return Accounted(reading, budget)
