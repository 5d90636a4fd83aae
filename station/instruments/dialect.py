"""Command languages of analyzers as data: one YAML each, so that a new one needs no code.

A dialect says, in commands with words in braces, how to order a sweep, pick an S-parameter, wait, fetch and
read errors. Ours lie in `dialects/` and are written in the open SCPI-1999 / IEEE 488.2 language; those of the
works lie in a folder of the works and go first. Pure text: nothing here talks to an instrument.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.quantity import Text
from limits.reading import FloatArray
from limits.yamlfile import Form, YamlFile, editor_schema, read
from station.errors import UserMistake
from station.instruments.block import ByteOrder, NumberForm, NumberFormat
from station.measurements.sweep import SweepSettings

SHIPPED = Path(__file__).parent / "dialects"

Words = Mapping[str, str]
"""What the words in braces stand for, e.g. `points` for `1601`."""

_SETTINGS = ("bandwidth_hz", "averages", "averaging", "power_dbm")
_LINEAR = ("start_hz", "stop_hz", "points")
_LIST = ("frequencies", "points")
_NEEDED_SETTINGS = ("bandwidth_hz", "averages", "power_dbm")

# Analyzers store frequencies in their own steps; a setting that was clipped is off by far more.
_SAME_WITHIN = 1e-7


class Numbers(Form):
    """How the numbers of a sweep travel."""

    form: NumberForm
    order: ByteOrder = "NORMAL"


class Check(Form):
    """A question that shows whether a setting was taken as it was ordered."""

    ask: Text
    expect: Text


class DialectForm(Form):
    """The form of a dialect file."""

    dialect: Text
    about: Text
    identity: Text = ""
    """Text that the `*IDN?` answer of every instrument of this language contains."""

    messages: Literal["joined", "single"] = "joined"
    """Whether several commands may travel in one message."""

    line_end: Literal["LF", "CRLF"] = "LF"
    paths: Literal["one", "all", "none"]
    """S-parameters in one sweep; with none, what is fetched is the power at a receiver in dBm."""

    frequencies: Literal["linear", "list"]
    path: Text = ""
    numbers: Numbers
    prepare: tuple[Text, ...] = ()
    settings: tuple[Text, ...]
    segment: tuple[Text, ...] = Field(min_length=1)
    checks: tuple[Check, ...] = ()
    choose: tuple[Text, ...] = ()
    start: tuple[Text, ...] = Field(min_length=1)
    wait: Text = "*OPC?"
    fetch: Text
    sweep_time: Text = ""
    """A question for the seconds that one sweep takes, in one direction and without averaging as in SCPI-1999;
    only ever used to wait longer, never shorter."""

    errors: Text = "SYST:ERR?"


@dataclass(frozen=True, slots=True)
class Dialect:
    """One command language, found in order."""

    form: DialectForm
    file: str

    @property
    def name(self) -> str:
        return self.form.dialect

    @property
    def numbers(self) -> NumberFormat:
        return NumberFormat(self.form.numbers.form, self.form.numbers.order)

    @property
    def line_end(self) -> str:
        return "\r\n" if self.form.line_end == "CRLF" else "\n"

    @property
    def joined(self) -> bool:
        return self.form.messages == "joined"

    def path(self, to: int, source: int) -> str:
        """How S from analyzer port `source` to port `to` is spelled."""
        return _filled(self.form.path, {"to": str(to), "from": str(source)})

    def never_swept(self, ports: int) -> tuple[str, ...]:
        """S-parameters between so many ports that are fetched of one sweep though no command orders them.

        None where every one gets a sweep of its own, or where no command names any: then all there are may be meant.
        """
        if self.form.paths != "all":
            return ()
        places = range(1, ports + 1)
        wanted = [self.path(to, source) for source in places for to in places]
        ordered = " ".join((*self.form.prepare, *self.form.settings, *self.form.segment, *self.form.start))
        missing = tuple(path for path in wanted if path not in ordered)
        return () if len(missing) == len(wanted) else missing

    def prepare(self) -> tuple[str, ...]:
        """What is sent before the settings, whatever the order."""
        return self.form.prepare

    def arrange(self, words: Words) -> tuple[str, ...]:
        """The settings and one segment or list."""
        return tuple(_filled(each, words) for each in (*self.form.settings, *self.form.segment))

    def checks(self, words: Words) -> tuple[tuple[str, str], ...]:
        """Questions with the answers that show that every setting was taken."""
        return tuple((check.ask, _filled(check.expect, words)) for check in self.form.checks)

    def choose(self, path: str) -> tuple[str, ...]:
        """What picks the S-parameter of the next sweep; nothing where all are swept."""
        return tuple(_filled(each, {"path": path}) for each in self.form.choose)

    def fetch(self, path: str) -> str:
        """The question for one S-parameter's data."""
        return _filled(self.form.fetch, {"path": path})


def words_for(settings: SweepSettings, freq_hz: FloatArray) -> Words:
    """What the words in braces stand for when these frequencies, shape (n,), are swept in one go."""
    return {
        "bandwidth_hz": number_text(settings.bandwidth_hz),
        "averages": str(settings.averages),
        "averaging": "ON" if settings.averages > 1 else "OFF",
        "power_dbm": number_text(settings.power_dbm),
        "start_hz": number_text(float(freq_hz[0])),
        "stop_hz": number_text(float(freq_hz[-1])),
        "points": str(freq_hz.size),
        "frequencies": ",".join(number_text(each) for each in freq_hz.tolist()),
    }


def number_text(value: float) -> str:
    """The shortest text that reads back as the same number."""
    return repr(float(value)).removesuffix(".0")


def same_answer(answer: str, expected: str) -> bool:
    """Whether a setting reads back as it was ordered: as a number where both are one, else as text."""
    try:
        got, wanted = float(answer), float(expected)
    except ValueError:
        return answer.strip("\"'").casefold() == expected.strip("\"'").casefold()
    return abs(got - wanted) <= _SAME_WITHIN * max(abs(wanted), 1e-6)


def load_dialect(path: Path) -> Dialect:
    """The dialect in a file. Raises BadInput with every mistake found."""
    source = read(path, DialectForm)
    mistakes = (*_mistakes(source), *_misnamed(source, path))
    if mistakes:
        raise BadInput(tuple(sorted(mistakes, key=lambda each: (each.line, each.column))))
    return Dialect(source.value, source.file)


def dialect_names(folder: Path | None) -> tuple[str, ...]:
    """Every dialect there is, sorted; those in `folder`, the works' own, included."""
    folders = (SHIPPED,) if folder is None else (folder, SHIPPED)
    return tuple(sorted({path.stem for each in folders for path in each.glob("*.yaml")}))


def find_dialect(name: str, folder: Path | None) -> Dialect:
    """The dialect of a name; one of the works goes before a shipped one of the same name.

    Raises UserMistake when there is none, BadInput when its file has mistakes.
    """
    for each in (folder, SHIPPED):
        # Found by listing and not by joining, so that a name is never a way out of the folder.
        if each is not None and (path := each / f"{name}.yaml") in set(each.glob("*.yaml")):
            return load_dialect(path)
    raise UserMistake(unknown_dialect(name, folder))


def unknown_dialect(name: str, folder: Path | None) -> str:
    """What to say of a name that no dialect has."""
    return f"unknown dialect '{name}'{suggest(name, dialect_names(folder))}"


def dialect_schema() -> dict[str, object]:
    """JSON Schema of a dialect file."""
    return editor_schema(DialectForm, "Command language of an analyzer")


def _misnamed(source: YamlFile[DialectForm], path: Path) -> tuple[Mistake, ...]:
    if source.value.dialect == path.stem:
        return ()
    what = f"the file is {path.name}, so the dialect must be called '{path.stem}'"
    return (source.mistake(("dialect",), what),)


def _mistakes(source: YamlFile[DialectForm]) -> list[Mistake]:
    """What a form by itself does not see: words that mean nothing, and words that are missing."""
    form = source.value
    frequency = _LINEAR if form.frequencies == "linear" else _LIST
    ordered = (*_SETTINGS, *frequency)
    found: list[Mistake] = []
    used: set[str] = set()
    for loc, template, known in _templates(form, ordered):
        found += _unspeakable(source, loc, template)
        try:
            words = _words_in(template)
        except ValueError as error:
            found.append(source.mistake(loc, f"braces that do not close: {error}"))
            continue
        if loc[0] in ("settings", "segment"):
            used.update(words)
        found += [source.mistake(loc, _unknown_word(word, known)) for word in words if word not in known]
    needed = (*_NEEDED_SETTINGS, *(("frequencies",) if form.frequencies == "list" else _LINEAR))
    for word in needed:
        if word not in used:
            group = "settings" if word in _SETTINGS else "segment"
            found.append(source.mistake((group,), f"no command has '{{{word}}}', so it would never be set"))
    return found + _path_mistakes(source)


def _path_mistakes(source: YamlFile[DialectForm]) -> list[Mistake]:
    form = source.value
    found: list[Mistake] = []
    if form.paths == "none":
        for name, there in (("path", form.path), ("choose", form.choose)):
            if there:
                found.append(source.mistake((name,), "with 'paths: none' there is no S-parameter to name"))
        if "{path}" in form.fetch:
            found.append(source.mistake(("fetch",), "with 'paths: none' it cannot have '{path}'"))
        return found
    if form.paths == "one" and not any("{path}" in each for each in form.choose):
        what = "with 'paths: one' a command under 'choose' must have '{path}'"
        found.append(source.mistake(("choose",), what))
    if form.paths == "all" and "{path}" not in form.fetch:
        found.append(source.mistake(("fetch",), "with 'paths: all' it must have '{path}'"))
    if form.paths == "all" and form.choose:
        found.append(source.mistake(("choose",), "with 'paths: all' there is nothing to choose"))
    if not form.path:
        return [*found, source.mistake(("path",), "it is missing: how an S-parameter is spelled")]
    found += [
        source.mistake(("path",), f"it must have '{{{word}}}'")
        for word in ("to", "from")
        if f"{{{word}}}" not in form.path
    ]
    return found


def _templates(
    form: DialectForm, ordered: tuple[str, ...]
) -> list[tuple[tuple[str | int, ...], str, tuple[str, ...]]]:
    """Every text that may hold words in braces: where it is, the text, the words it may hold."""
    groups: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
        ("prepare", form.prepare, ()),
        ("settings", form.settings, _SETTINGS),
        ("segment", form.segment, ordered),
        ("choose", form.choose, ("path",)),
        ("start", form.start, ()),
    )
    rows: list[tuple[tuple[str | int, ...], str, tuple[str, ...]]] = [
        ((group, index), text, known) for group, texts, known in groups for index, text in enumerate(texts)
    ]
    rows += [(("checks", index, "expect"), each.expect, ordered) for index, each in enumerate(form.checks)]
    rows += [(("checks", index, "ask"), each.ask, ()) for index, each in enumerate(form.checks)]
    rows += [(("path",), form.path, ("to", "from")), (("fetch",), form.fetch, ("path",))]
    single = (("wait", form.wait), ("sweep_time", form.sweep_time), ("errors", form.errors))
    return rows + [((name,), text, ()) for name, text in single]


_QUESTIONS = ("ask", "wait", "fetch", "sweep_time", "errors")


def _unspeakable(source: YamlFile[DialectForm], loc: tuple[str | int, ...], text: str) -> list[Mistake]:
    """What no instrument could be told, or would never answer."""
    # IEEE 488.2-1992, 7.1 to 7.7: program messages are 7-bit ASCII (clauses from memory).
    strange = next((each for each in text if not (each.isascii() and each.isprintable())), "")
    found = []
    if strange:
        what = f"{strange!r} is no ASCII character that can be printed; commands have no others"
        found.append(source.mistake(loc, what))
    if loc[-1] in _QUESTIONS and text and "?" not in text:
        found.append(
            source.mistake(loc, f"'{text}' is no question, which has a '?'; it would never be answered")
        )
    return found


def _words_in(template: str) -> list[str]:
    return [word for _, word, _, _ in string.Formatter().parse(template) if word is not None]


def _unknown_word(word: str, known: tuple[str, ...]) -> str:
    if not known:
        return f"no word in braces can stand here, not '{{{word}}}'"
    return f"unknown word '{{{word}}}'{suggest(word, known)}"


def _filled(template: str, words: Words) -> str:
    return template.format_map(words)
