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
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.quantity import Hertz, Text, Whole
from limits.yamlfile import Form, YamlFile, editor_schema, read
from station.instruments.analyzer import Ability, Analyzer
from station.instruments.catalog import ANALYZERS, AnalyzerKind
from station.instruments.dialect import Dialect, dialect_names, find_dialect, unknown_dialect
from station.instruments.link import Link, open_link
from station.instruments.visa import address_mistake
from station.measurements.figures import Figures

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


class BenchForm(Form):
    """The form of a bench file."""

    bench: Text
    analyzer: AnalyzerForm
    uncertainty: Figures | None = None
    """What the uncertainty of readings is worked out from; without it none is stated."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A bench file that was found in order."""

    source: YamlFile[BenchForm]

    @property
    def name(self) -> str:
        return self.source.value.bench

    @property
    def ability(self) -> Ability:
        """What the analyzer can do."""
        analyzer = self.source.value.analyzer
        return Ability(analyzer.from_hz, analyzer.to_hz, analyzer.most_points)


def load(path: Path) -> Bench:
    """The bench in a file. Raises BadInput with every mistake found."""
    try:
        source = read(path, BenchForm)
    except BadInput as bad:
        raise BadInput(tuple(_with_help(mistake) for mistake in bad.mistakes)) from bad
    mistakes = tuple(_mistakes(source))
    if mistakes:
        raise BadInput(mistakes)
    return Bench(source)


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
