"""The bench file: which instruments stand at this station, and how to open them.

bench: final test 1
analyzer:
  kind: vector
  address: TCPIP::127.0.0.1::5025::SOCKET
  dialect: linear-single
  identity: Skerry Works,Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
uncertainty:                 # optional: without it readings have no U; see station/measurements/figures.py
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
loads:                       # optional: what the idle port carries
  TX: load-1.s1p             # a measured reflection of each, beside this file; all three may be one
  ANT: load-2.s1p
  RX: load-3.s1p
  # or, where only a size is known:  return_loss: 40 dB
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.quantity import Decibel, Hertz, Text, Whole
from limits.yamlfile import Form, YamlFile, editor_schema, read, read_bytes
from station.instruments.analyzer import Ability, Analyzer
from station.instruments.catalog import ANALYZERS, AnalyzerKind
from station.instruments.dialect import Dialect, dialect_names, find_dialect, unknown_dialect
from station.instruments.link import Link, open_link
from station.instruments.visa import address_mistake
from station.measurements.figures import Figures
from station.measurements.load import Load, Loads, read_load
from station.measurements.sweep import PORTS, Port

MOST_REFLECTED = 0.5
"""Of a load, 6 dB return loss: what reflects more is an open, a short, or another device's file."""

_IDENTITY = (
    "a part of the analyzer's answer to *IDN?, e.g. its maker and model; "
    "write any word here and `station try-dialect` shows it"
)


def _not_empty(value: object) -> object:
    if isinstance(value, str) and not value.strip():
        raise ValueError(f"expected {_IDENTITY}")
    return value


class AnalyzerForm(Form):
    """The analyzer in a bench file."""

    kind: Text
    address: Text
    """VISA resource name."""

    dialect: Text
    identity: Annotated[Text, BeforeValidator(_not_empty)]
    """Text that must occur in its `*IDN?` answer."""

    from_hz: Annotated[Hertz, Field(alias="from")]
    to_hz: Annotated[Hertz, Field(alias="to")]
    most_points: Annotated[Whole, Field(ge=2)]
    """In one sweep."""

    visa: Text = "@py"
    """The VISA library, as PyVISA names it: `@py`, `@ivi`, or a path."""


class LoadsForm(Form):
    """The loads: a Touchstone file for each port's, or the least return loss of all."""

    tx: Annotated[Text | None, Field(alias="TX")] = None
    ant: Annotated[Text | None, Field(alias="ANT")] = None
    rx: Annotated[Text | None, Field(alias="RX")] = None
    return_loss: Annotated[Decibel, Field(gt=0)] | None = None
    """Known by its size alone, so nothing can be corrected."""

    @property
    def files(self) -> dict[Port, str]:
        """The file of each port's load, as far as there are any."""
        named: dict[Port, str | None] = {"TX": self.tx, "ANT": self.ant, "RX": self.rx}
        return {port: file for port, file in named.items() if file is not None}

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> LoadsForm:
        if (self.return_loss is None) == (not self.files) or 0 < len(self.files) < len(PORTS):
            raise ValueError(
                "give a Touchstone file for each of TX, ANT and RX, since only all three can be corrected for; "
                "or 'return_loss' alone"
            )
        return self


class BenchForm(Form):
    """The form of a bench file."""

    bench: Text
    analyzer: AnalyzerForm
    uncertainty: Figures | None = None
    """What the uncertainty of readings is worked out from; without it none is stated."""
    loads: LoadsForm | None = None


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

    @property
    def loads(self) -> Loads | None:
        """The measured loads; None where there are none."""
        return {each.port: each.load for each in self.load_files} or None

    @property
    def name(self) -> str:
        return self.source.value.bench

    @property
    def ability(self) -> Ability:
        """What the analyzer can do."""
        analyzer = self.source.value.analyzer
        return Ability(analyzer.from_hz, analyzer.to_hz, analyzer.most_points)


def load(path: Path) -> Bench:
    """The bench in a file, with the loads it names. Raises BadInput with every mistake found."""
    try:
        source = read(path, BenchForm)
    except BadInput as bad:
        raise BadInput(tuple(_with_help(mistake) for mistake in bad.mistakes)) from bad
    mistakes = list(_mistakes(source))
    load_files = _load_files(source, path.parent, mistakes)
    if mistakes:
        raise BadInput(tuple(dict.fromkeys(mistakes)))
    return Bench(source, load_files)


def dialect_of(bench: Bench, dialect_folder: Path | None) -> Dialect:
    """The analyzer's command language. Raises BadInput when there is none or its file has mistakes."""
    name = bench.source.value.analyzer.dialect
    if name not in dialect_names(dialect_folder):
        what = unknown_dialect(name, dialect_folder)
        raise BadInput((bench.source.mistake(("analyzer", "dialect"), what),))
    return find_dialect(name, dialect_folder)


@contextmanager
def open_analyzer_link(bench: Bench, dialect_folder: Path | None) -> Iterator[tuple[Link, Dialect]]:
    """The bare link to the analyzer, with its dialect; for trying the dialect out."""
    dialect = dialect_of(bench, dialect_folder)
    analyzer = bench.source.value.analyzer
    with open_link(
        analyzer.address,
        role="analyzer",
        backend=analyzer.visa,
        line_end=dialect.line_end,
        error_query=dialect.form.errors,
        joined=dialect.joined,
    ) as link:
        yield link, dialect


@contextmanager
def open_analyzer(
    bench: Bench,
    dialect_folder: Path | None = None,
    *,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Iterator[Analyzer]:
    """The bench's analyzer for as long as the block lasts. Nothing is sent before the first order.

    `dialect_folder` holds the works' own dialects. Raises BadInput when the dialect cannot be used.
    """
    form = bench.source.value.analyzer
    with open_analyzer_link(bench, dialect_folder) as (link, dialect):
        yield _kind(form.kind).make(link, dialect, bench.ability, identity=form.identity, now=now)


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


def bench_schema() -> dict[str, object]:
    """JSON Schema of a bench file."""
    return editor_schema(BenchForm, "Bench: the instruments at one station")


def _with_help(mistake: Mistake) -> Mistake:
    """Nobody can guess what an identity is that is missing or left empty, as in a new bench file."""
    if mistake.what.startswith(("'identity' is missing", "'identity' has no value")):
        # Without the general advice, which is to leave it out.
        return replace(mistake, what=f"{mistake.what.partition(';')[0]}: it is {_IDENTITY}")
    return mistake


def _kind(name: str) -> AnalyzerKind:
    return next(kind for kind in ANALYZERS if kind.name == name)


def _mistakes(source: YamlFile[BenchForm]) -> Iterator[Mistake]:
    analyzer = source.value.analyzer
    kinds = tuple(kind.name for kind in ANALYZERS)
    if analyzer.kind not in kinds:
        what = f"unknown kind of analyzer '{analyzer.kind}'{suggest(analyzer.kind, kinds)}"
        yield source.mistake(("analyzer", "kind"), what)
    if wrong := address_mistake(analyzer.address):
        yield source.mistake(("analyzer", "address"), wrong)
    if analyzer.from_hz >= analyzer.to_hz:
        yield source.mistake(("analyzer", "to"), "it must lie above 'from'")
