"""Reads a bench file, with everything it names, and tells every mistake in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.yamlfile import YamlFile, read, read_bytes
from station.bench.cables import cable_mistakes
from station.bench.calibration import CalibrationForm, kit_of
from station.bench.form import IDENTITY_IS, BenchForm
from station.instruments.analyzer import Ability
from station.instruments.catalog import ANALYZERS, AnalyzerKind, kind_named
from station.instruments.visa import address_mistake
from station.measurements.kit import Kit
from station.measurements.load import Load, Loads, read_load
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import WHOLE, Port

MOST_REFLECTED = 0.5
"""Of a load, 6 dB return loss: what reflects more is an open, a short, or another device's file."""


@dataclass(frozen=True, slots=True)
class LoadFile:
    """A load and the text it was read from."""

    port: Port
    name: str
    """As the bench file names it."""

    text: str
    load: Load


@dataclass(frozen=True, slots=True)
class Bench:
    """A bench file that was found in order."""

    source: YamlFile[BenchForm]
    load_files: tuple[LoadFile, ...] = ()
    """One for each port, or none."""

    kit: Kit | None = None
    """What the station calibrates with, where it does."""

    own_loads: Loads | None = None
    """Its own terminations, where idle ports carry those and a calibration has read them."""

    @property
    def calibration(self) -> CalibrationForm | None:
        """Who corrects for the test ports; None where the file does not say."""
        return self.source.value.calibration

    @property
    def loads(self) -> Loads | None:
        """The measured loads that readings are corrected for; None where there are none, or no phases to do it by."""
        return {each.port: each.load for each in self.load_files if self.kind.phase} or self.own_loads

    @property
    def name(self) -> str:
        return self.source.value.bench

    @property
    def ability(self) -> Ability:
        """What the analyzer can do."""
        analyzer, kind = self.source.value.analyzer, self.kind
        return Ability(
            analyzer.from_hz,
            analyzer.to_hz,
            analyzer.most_points,
            hookups=kind.hookups,
            cabled=WHOLE if self.source.value.switch else None,
            phase=kind.phase,
        )

    @property
    def kind(self) -> AnalyzerKind:
        """Of the analyzer."""
        kind = kind_named(self.source.value.analyzer.kind)
        if kind is None:
            raise LookupError("a bench file with an unknown kind of analyzer is refused when it is read")
        return kind


def load(path: Path) -> Bench:
    """The bench in a file, with the loads it names. Raises BadInput with every mistake found."""
    try:
        source = read(path, BenchForm)
    except BadInput as bad:
        raise BadInput(tuple(_with_help(mistake) for mistake in bad.mistakes)) from bad
    mistakes = list(_mistakes(source))
    load_files = _load_files(source, path.parent, mistakes)
    kit = None
    try:
        kit = kit_of(source.value.calibration, source, path.parent)
    except BadInput as bad:
        mistakes += bad.mistakes
    mistakes += _better_than_its_kit(source, kit)
    if mistakes:
        raise BadInput(tuple(dict.fromkeys(mistakes)))
    return Bench(source, load_files, kit)


def _better_than_its_kit(source: YamlFile[BenchForm], kit: Kit | None) -> Iterator[Mistake]:
    """No reflection is read better than the load is known that it was calibrated by."""
    figures, calibration = source.value.uncertainty, source.value.calibration
    if kit is None or calibration is None or figures is None or figures.load_standard is not None:
        return
    if figures.directivity > kit.load_return_loss_db:
        what = (
            f"{figures.directivity:g} dB is better than the load of kit {calibration.kit} itself, which is "
            f"trusted to {kit.load_return_loss_db:g} dB; state at most that, or the load's error as 'load_standard'"
        )
        yield source.mistake(("uncertainty", "directivity"), what)


def _load_files(source: YamlFile[BenchForm], folder: Path, mistakes: list[Mistake]) -> tuple[LoadFile, ...]:
    """The loads, as far as their files are in order; what is wrong is added to the mistakes."""
    form = source.value.loads
    found = []
    for port, name in (form.files if form else {}).items():
        if not (folder / name).is_file():
            mistakes.append(source.mistake(("loads", port), f"there is no file {folder / name}"))
            continue
        try:
            text = _text(folder / name)
            load = read_load(text, str(folder / name))
        except BadInput as bad:
            mistakes += bad.mistakes
            continue
        if (strongest := float(abs(load.reflection).max())) > MOST_REFLECTED:
            what = f"{folder / name} reflects {strongest:.2g}; a load reflects at most {MOST_REFLECTED:g}"
            mistakes.append(source.mistake(("loads", port), f"{what}. Is it the right file?"))
        found.append(LoadFile(port, name, text, load))
    return tuple(found)


def _text(path: Path) -> str:
    try:
        return read_bytes(path).decode()
    except UnicodeDecodeError as error:
        what = "is no text; save the load as a one-port Touchstone file"
        raise BadInput((Mistake(what, str(path)),)) from error


def _with_help(mistake: Mistake) -> Mistake:
    """Nobody can guess what an identity is that is missing or left empty, as in a new bench file."""
    if mistake.what.startswith(("'identity' is missing", "'identity' has no value")):
        # Without the general advice, which is to leave it out.
        return replace(mistake, what=f"{mistake.what.partition(';')[0]}: it is {IDENTITY_IS}")
    return mistake


def _mistakes(source: YamlFile[BenchForm]) -> Iterator[Mistake]:
    analyzer = source.value.analyzer
    kinds = tuple(kind.name for kind in ANALYZERS)
    if analyzer.kind not in kinds:
        what = f"unknown kind of analyzer '{analyzer.kind}'{suggest(analyzer.kind, kinds)}"
        yield source.mistake(("analyzer", "kind"), what)
    if wrong := address_mistake(analyzer.address):
        yield source.mistake(("analyzer", "address"), wrong)
    yield from _figures_of_another_kind(source)
    thermometer = source.value.thermometer
    if thermometer is not None and (wrong := address_mistake(thermometer.address)):
        yield source.mistake(("thermometer", "address"), wrong)
    for loc, wrong in cable_mistakes(source.value.cables):
        yield source.mistake(loc, wrong)
    if analyzer.from_hz >= analyzer.to_hz:
        yield source.mistake(("analyzer", "to"), "it must lie above 'from'")
    kind = kind_named(analyzer.kind)
    if kind is not None and kind.hookups == (WHOLE,) and source.value.loads is not None:
        what = f"an analyzer of kind '{kind.name}' is connected to every port, so no port has a load; take it out"
        yield source.mistake(("loads",), what)
    switch = source.value.switch
    if switch is None:
        return
    if wrong := address_mistake(switch.address):
        yield source.mistake(("switch", "address"), wrong)
    if kind is not None and not kind.behind_switch:
        behind = " or ".join(f"'{kind.name}'" for kind in ANALYZERS if kind.behind_switch)
        yield source.mistake(("switch",), f"only an analyzer of kind {behind} can be behind a switch")


def _figures_of_another_kind(source: YamlFile[BenchForm]) -> Iterator[Mistake]:
    """A scalar bench must state what it is worth, since without its floor nobody knows what it can measure, and
    magnitudes are nothing without references."""
    scalar, figures = source.value.analyzer.kind == "scalar", source.value.uncertainty
    own = "'log_linearity', 'source_match', 'receiver_match' and 'bridge_loss'"
    if scalar and not isinstance(figures, ScalarFigures):
        what = f"a scalar bench must state its figures under 'uncertainty', among them {own}"
        yield source.mistake(("uncertainty",) if figures else ("analyzer", "kind"), what)
    if scalar and (source.value.calibration is None or source.value.calibration.by != "station"):
        what = "a scalar bench needs reference sweeps: write 'by: station' under 'calibration'"
        yield source.mistake(
            ("calibration", "by") if source.value.calibration else ("analyzer", "kind"), what
        )
    if not scalar and isinstance(figures, ScalarFigures):
        yield source.mistake(("uncertainty",), f"{own} are figures of a scalar bench; this one is none")
