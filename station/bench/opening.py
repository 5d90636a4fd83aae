"""Opens the instruments that a bench file names."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from limits.errors import BadInput
from station.bench.file import Bench
from station.bench.switch import SwitchForm
from station.errors import UserMistake
from station.instruments.analyzer import Ability, Analyzer
from station.instruments.dialect import Dialect, dialect_names, find_dialect, unknown_dialect
from station.instruments.link import Link, open_link
from station.instruments.switch import Switch, SwitchedAnalyzer
from station.instruments.switch_dialect import SwitchDialect, find_switch_dialect


def dialect_of(bench: Bench, dialect_folder: Path | None) -> Dialect:
    """The analyzer's command language. Raises BadInput when there is none or its file has mistakes."""
    name = bench.source.value.analyzer.dialect
    if name not in dialect_names(dialect_folder):
        what = unknown_dialect(name, dialect_folder)
        raise BadInput((bench.source.mistake(("analyzer", "dialect"), what),))
    dialect = find_dialect(name, dialect_folder)
    if dialect.form.paths not in bench.kind.paths:
        what = (
            f"dialect '{name}' has 'paths: {dialect.form.paths}', which an analyzer of kind '{bench.kind.name}' "
            f"cannot use; it needs one with 'paths: {' or '.join(bench.kind.paths)}'"
        )
        raise BadInput((bench.source.mistake(("analyzer", "dialect"), what),))
    if missing := dialect.never_swept(max(len(hookup.ports) for hookup in bench.kind.hookups)):
        what = (
            f"dialect '{name}' sweeps no {', '.join(missing)}, which an analyzer of kind '{bench.kind.name}' "
            "must; take one that names them too, or add them to its commands"
        )
        raise BadInput((bench.source.mistake(("analyzer", "dialect"), what),))
    return dialect


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
    with ExitStack() as stack:
        link, dialect = stack.enter_context(open_analyzer_link(bench, dialect_folder))
        ability = replace(bench.ability, passes=passes_of(dialect, bench.ability))
        analyzer = bench.kind.make(link, dialect, ability, identity=form.identity, now=now)
        switch, language = bench.source.value.switch, switch_dialect_of(bench, dialect_folder)
        if switch is not None and language is not None:
            box = stack.enter_context(_open_switch(switch, language))
            analyzer = SwitchedAnalyzer(analyzer, box)
        yield analyzer


def switch_dialect_of(bench: Bench, dialect_folder: Path | None) -> SwitchDialect | None:
    """The switch's command language; None where there is no switch.

    Raises BadInput when there is no such dialect or its file has mistakes.
    """
    switch = bench.source.value.switch
    if switch is None:
        return None
    try:
        return find_switch_dialect(switch.dialect, dialect_folder)
    except UserMistake as unknown:
        raise BadInput((bench.source.mistake(("switch", "dialect"), str(unknown)),)) from unknown


@contextmanager
def _open_switch(form: SwitchForm, dialect: SwitchDialect) -> Iterator[Switch]:
    with open_link(
        form.address,
        role="switch",
        backend=form.visa,
        line_end="\r\n" if dialect.form.line_end == "CRLF" else "\n",
        error_query=dialect.form.errors,
        joined=dialect.form.messages == "joined",
    ) as link:
        yield Switch(link, dialect, form.ports.by_port, identity=form.identity)


def passes_of(dialect: Dialect, ability: Ability) -> int:
    """How often an order's frequencies are gone through: once from each port, or once for each S-parameter."""
    ports = max(len(hookup.ports) for hookup in ability.hookups)
    return {"one": ports * ports, "all": ports, "none": 1}[dialect.form.paths]
