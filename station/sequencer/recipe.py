"""Recipes: which characteristics of a model are measured, how they are swept, and which limit table judges them.

A recipe speaks of frequencies relative to a unit's own channels; `Recipe.bind` turns it into characteristics in
Hz for one pair. Every mistake of a file is reported at once, with its place.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, WithJsonSchema, model_validator

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.quantity import Channels, Dbm, Decibel, FileName, Flag, Frequency, Hertz, Span, Text, Whole
from limits.table import LimitTable, misfits
from limits.units import hertz_text, in_one_unit
from limits.yamlfile import Form, YamlFile, editor_schema, parse, read
from limits.yamltree import Loc
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.measure import Look, Measure, Place
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Port, SweepSettings
from station.sequencer.conditions import NONE_ASKED, ConditionsForm
from station.sequencer.effort import Averages, Bandwidth, Effort, EffortForm, no_gain, within
from station.sequencer.plan import Zone

PATHS: dict[str, tuple[Hookup, Port, Port]] = {
    f"{source} to {to}": (hookup, to, source)
    for hookup in HOOKUPS
    for source, to in ((hookup.first, hookup.second), (hookup.second, hookup.first))
}
"""Hook-up, port it goes to and port it comes from, by the words a recipe uses."""


_POWER = (
    "the power lies from -60 to +10 dBm: a stronger source can hurt receivers, a weaker one is lost in noise"
)


_RETESTS = "a recipe allows 0 to 100 retests without a reason"


class AnalyzerForm(Form):
    """How the recipe is swept; with an `effort`, how what is close is swept again."""

    bandwidth: Bandwidth
    averages: Averages
    power: Annotated[Dbm, within(-60.0, 10.0, _POWER)]


class OverviewForm(Form):
    """What is swept on every hook-up, beside what the characteristics need."""

    over: Span
    step: Hertz


MEASURE_NAMES = tuple(measure.name for measure in MEASURES)
HOOKUP_NAMES = tuple(hookup.name for hookup in HOOKUPS)


def _known(kind: str, words: Iterable[str]) -> AfterValidator:
    """Takes one of these words, and says the nearest to one it does not take."""
    valid = tuple(words)

    def check(word: str) -> str:
        if word not in valid:
            raise ValueError(f"unknown {kind} '{word}'{suggest(word, valid)}")
        return word

    return AfterValidator(check)


def _offered(words: Iterable[str]) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "enum": list(words)})


MeasureName = Annotated[Text, _known("measure", MEASURE_NAMES), _offered(MEASURE_NAMES)]
PathName = Annotated[Text, _known("path", PATHS), _offered(PATHS)]
PortName = Annotated[Text, _known("port", PORTS), _offered(PORTS)]
HookupName = Annotated[Text, _known("hook-up", HOOKUP_NAMES), _offered(HOOKUP_NAMES)]


class CharacteristicForm(Form):
    """One characteristic; which of the words it needs depends on its measure."""

    measure: MeasureName
    path: PathName | None = None
    port: PortName | None = None
    hookup: HookupName | None = None
    at: Frequency | None = None
    over: Span | None = None
    step: Hertz | None = None
    level: Decibel | None = None
    title: Text | None = None
    information: Flag = False
    """Measured without a limit, on purpose."""

    @model_validator(mode="after")
    def _fits_its_measure(self) -> CharacteristicForm:
        if mistakes := list(_mistakes(self)):
            raise ValueError("; ".join(mistakes))
        return self


class RecipeForm(Form):
    """A recipe file."""

    recipe: Text
    revision: Text
    model: FileName
    limit_table: FileName | None = None
    """None where nothing has a limit: a check standard is judged by what is known of it."""

    analyzer: AnalyzerForm
    effort: EffortForm | None = None
    overview: OverviewForm
    conditions: ConditionsForm | None = None
    """Of the unit, for a run to be begun and to count."""

    retests: Annotated[Whole, within(0, 100, _RETESTS)] = 1
    """How often a unit may be tested again without a reason, since final assembly or its last rework."""

    characteristics: dict[Text, CharacteristicForm] = Field(min_length=1)

    @model_validator(mode="after")
    def _limits_where_they_are_meant(self) -> RecipeForm:
        lost = [name for name, item in self.characteristics.items() if not item.information]
        if self.limit_table is None and lost:
            raise ValueError(
                f"'limit_table' is missing, but {', '.join(lost)} would need limits; name the table, or write "
                "'information: yes' for each that is to have none"
            )
        return self


@dataclass(frozen=True, slots=True)
class Recipe:
    """A recipe without mistakes."""

    source: YamlFile[RecipeForm]

    @property
    def form(self) -> RecipeForm:
        """What the file says."""
        return self.source.value

    @property
    def conditions(self) -> ConditionsForm:
        """Under which a unit may be measured."""
        return self.form.conditions or NONE_ASKED

    @property
    def settings(self) -> SweepSettings:
        """How what counts is swept: all of it, or with an effort what is close."""
        analyzer = self.form.analyzer
        return SweepSettings(analyzer.bandwidth, analyzer.averages, analyzer.power)

    @property
    def limit_table(self) -> str:
        """Name of the table that judges it. Raises limits.errors.BadInput where the recipe is without."""
        if self.form.limit_table is None:
            what = "names no limit table, so that no unit can be judged by it; take the recipe of a model"
            raise BadInput((self.source.mistake(("recipe",), what),))
        return self.form.limit_table

    @property
    def effort(self) -> Effort | None:
        """What is swept again; None where everything is swept once."""
        form, careful = self.form.effort, self.settings
        if form is None:
            return None
        first = SweepSettings(form.first.bandwidth, form.first.averages, careful.power_dbm)
        return Effort(first, careful, form.within.factor, form.at_most)

    def overview(self, channels: Channels) -> Zone:
        """What is swept on every hook-up, in Hz."""
        low_hz, high_hz = self.form.overview.over.at(channels)
        return Zone(low_hz, high_hz, self.form.overview.step)

    def bind(self, channels: Channels) -> tuple[Characteristic, ...]:
        """The characteristics for one pair of channels, in the file's order.

        Raises ValueError where `mistakes` has something to tell.
        """
        coarsest_hz = self.form.overview.step
        return tuple(
            _bind(name, form, channels, form.step or coarsest_hz)
            for name, form in self.form.characteristics.items()
        )

    def mistakes(self, channels: Channels) -> tuple[Mistake, ...]:
        """What keeps the recipe from being bound to these channels, in the file's order."""
        found = [self.source.mistake(loc, what) for loc, what in _unbindable(self.form, channels)]
        return tuple(sorted(found, key=lambda mistake: (mistake.line, mistake.column)))


def load(path: Path) -> Recipe:
    """Read a recipe. Raises limits.errors.BadInput with every mistake of the file."""
    source = read(path, RecipeForm)
    mistaken = [
        source.mistake((*loc, "step"), what)
        for loc, over, step_hz in _stretches(source.value)
        if (what := _too_coarse(step_hz, over.width_hz))
    ]
    analyzer, effort = source.value.analyzer, source.value.effort
    if effort is not None and (what := no_gain(effort.first, analyzer.bandwidth, analyzer.averages)):
        mistaken.append(source.mistake(("effort", "first"), what))
    if effort is not None and source.value.limit_table is None:
        what = "without a limit table nothing is near its limit; leave 'effort' out"
        mistaken.append(source.mistake(("effort",), what))
    if mistaken:
        raise BadInput(tuple(mistaken))
    return Recipe(source)


def of_text(text: str, file: str) -> Recipe:
    """The recipe that a text is, whatever `file` it once stood in. Raises limits.errors.BadInput."""
    return Recipe(parse(text, RecipeForm, file))


def check_fit(recipe: Recipe, table: LimitTable) -> None:
    """Refuse a recipe and a limit table that do not belong together.

    Raises limits.errors.BadInput with every reason.
    """
    measures = {name: _measure(form) for name, form in recipe.form.characteristics.items()}
    mistakes = list(misfits(table, measures))
    mistakes += _unlimited(recipe, table)
    if table.name != recipe.form.limit_table:
        what = f"is to be judged by limit table '{recipe.form.limit_table}', but got '{table.name}'"
        mistakes.insert(0, recipe.source.mistake(("limit_table",), what))
    if table.model != recipe.form.model:
        what = (
            f"is for model {recipe.form.model}, but its limit table {table.name} is for model {table.model}"
        )
        mistakes.insert(0, recipe.source.mistake(("model",), what))
    if mistakes:
        raise BadInput(tuple(mistakes))


def _unlimited(recipe: Recipe, table: LimitTable) -> Iterator[Mistake]:
    """A characteristic without a limit is meant to have none, or its limit was lost."""
    limited = {row.name for row in table.rows}
    for name, form in recipe.form.characteristics.items():
        if form.information and name in limited:
            what = f"is for information, but limit table {table.name} has a limit for it; take one of the two out"
            yield recipe.source.mistake(("characteristics", name, "information"), what)
        if not form.information and name not in limited:
            what = f"has no limit in limit table {table.name}; give it one there, or write 'information: yes' here"
            yield recipe.source.mistake(("characteristics", name), what)


def schema() -> dict[str, object]:
    """JSON Schema of a recipe file, for editors."""
    return editor_schema(RecipeForm, "Recipe")


def _mistakes(form: CharacteristicForm) -> Iterator[str]:
    """What is wrong with one characteristic whose words are all known."""
    measure = _measure(form)
    needed = set(measure.takes) | ({"path"} if measure.look is Look.TRANSMISSION else {"port", "hookup"})
    given = {
        key for key in ("path", "port", "hookup", "at", "over", "level") if getattr(form, key) is not None
    }
    for key in sorted(needed - given):
        yield f"measure '{measure.name}' needs '{key}'"
    for key in sorted(given - needed):
        yield f"measure '{measure.name}' does not take '{key}'"
    if form.step is not None and form.over is None:
        yield "a 'step' says how finely a span is swept, so it needs 'over'"
    if form.hookup and form.port and form.port == _hookup(form.hookup).idle:
        yield f"port {form.port} carries the load in hook-up {form.hookup}, so it cannot be measured there"


def _measure(form: CharacteristicForm) -> Measure:
    return next(measure for measure in MEASURES if measure.name == form.measure)


def _hookup(name: str | None) -> Hookup:
    return next(hookup for hookup in HOOKUPS if hookup.name == name)


def _stretches(form: RecipeForm) -> Iterator[tuple[Loc, Span, float]]:
    """Every span that is swept: where it stands, its ends and its step."""
    yield ("overview",), form.overview.over, form.overview.step
    for name, item in form.characteristics.items():
        if item.over is not None:
            yield ("characteristics", name), item.over, item.step or form.overview.step


def _too_coarse(step_hz: float, width_hz: float | None) -> str:
    """What to tell of a step that leaves nothing of its span; empty where all is well or not yet known."""
    if width_hz is None or step_hz < width_hz:
        return ""
    step, width = hertz_text(step_hz), hertz_text(width_hz)
    return f"a step of {step} is not smaller than what it sweeps, which is {width} wide"


def _unbindable(form: RecipeForm, channels: Channels) -> Iterator[tuple[Loc, str]]:
    """Spans that cross or are too narrow for these channels, and frequencies outside the span they belong to."""
    for loc, over, step_hz in _stretches(form):
        if crossed := over.crossed(channels):
            yield (*loc, "over"), crossed
            continue
        low_hz, high_hz = over.at(channels)
        if coarse := _too_coarse(step_hz, high_hz - low_hz):
            yield (*loc, "step"), coarse
        at = form.characteristics[str(loc[1])].at if len(loc) > 1 else None
        if at is not None and not low_hz <= at.at(channels) <= high_hz:
            span = " to ".join(in_one_unit(hertz_text(low_hz), hertz_text(high_hz)))
            here = f"'{at}' is {hertz_text(at.at(channels))} for this order"
            yield (*loc, "at"), f"{here}, which is not in {span}, where it is looked for"


def _bind(name: str, form: CharacteristicForm, channels: Channels, step_hz: float) -> Characteristic:
    measure = _measure(form)
    if form.path is not None:
        hookup, to, source = PATHS[form.path]
    else:
        hookup = _hookup(form.hookup)
        to = source = next(port for port in PORTS if port == form.port)
    return Characteristic(
        name=name,
        title=form.title or _title(form, measure, source, to),
        measure=measure,
        hookup=hookup,
        to=to,
        source=source,
        place=Place(
            at_hz=form.at.at(channels) if form.at else None,
            span_hz=form.over.at(channels) if form.over else None,
            level_db=form.level,
        ),
        step_hz=step_hz,
    )


def _title(form: CharacteristicForm, measure: Measure, source: Port, to: Port) -> str:
    return measure.title.format(
        subject=to if to == source else f"{source} to {to}",
        at=_spoken(str(form.at)),
        over=_spoken(str(form.over)),
        level=f"{form.level:g} dB" if form.level is not None else "",
    )


def _spoken(place: str) -> str:
    """`tx ± 12.5 kHz` as a customer reads it: `TX ± 12.5 kHz`."""
    words = {"tx": "TX", "rx": "RX", "low": "lower channel", "high": "upper channel"}
    return re.sub(r"\b(tx|rx|low|high)\b", lambda found: words[found[0]], place).replace(" - ", " \u2212 ")
