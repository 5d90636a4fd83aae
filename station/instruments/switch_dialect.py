"""Command languages of RF switches as data, one YAML each; `switches/` holds ours, in open SCPI-1999.

{first} and {second} stand for the ports of the switch that analyzer ports 1 and 2 are to lead to. Pure text: nothing
here talks to an instrument.
"""

from __future__ import annotations

import string
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from limits.errors import BadInput, Mistake
from limits.formwords import suggest
from limits.quantity import Text
from limits.yamlfile import Form, YamlFile, read
from station.errors import UserMistake

SHIPPED = Path(__file__).parent / "switches"
_WORDS = ("first", "second")


class RouteCheck(Form):
    """A question that shows whether a route was closed."""

    ask: Text
    expect: Text


class SwitchDialectForm(Form):
    """The form of a switch dialect file."""

    switch_dialect: Text
    about: Text
    identity: Text = ""
    """Text that the `*IDN?` answer of every switch of this language contains."""

    messages: Literal["joined", "single"] = "joined"
    """Whether several commands may travel in one message."""

    line_end: Literal["LF", "CRLF"] = "LF"
    open_all: Text
    close: Text
    check: RouteCheck
    wait: Text = "*OPC?"
    errors: Text = "SYST:ERR?"


@dataclass(frozen=True, slots=True)
class SwitchDialect:
    """One command language, found in order."""

    form: SwitchDialectForm

    def close(self, first: str, second: str) -> tuple[str, ...]:
        """What leads the analyzer's ports to these ports of the switch, and terminates the others."""
        return (self.form.open_all, self.form.close.format(first=first, second=second))

    def check(self, first: str, second: str) -> tuple[str, str]:
        """A question, and the answer that shows that it was done."""
        asked, expected = self.form.check.ask, self.form.check.expect
        return asked.format(first=first, second=second), expected.format(first=first, second=second)


def load_switch_dialect(path: Path) -> SwitchDialect:
    """The dialect in a file. Raises BadInput with every mistake found."""
    source = read(path, SwitchDialectForm)
    if mistakes := _mistakes(source, path):
        raise BadInput(tuple(mistakes))
    return SwitchDialect(source.value)


def find_switch_dialect(name: str, folder: Path | None) -> SwitchDialect:
    """The dialect of a name; one in `folder`, the works' own, goes before a shipped one.

    Raises UserMistake when there is none, BadInput when its file has mistakes.
    """
    for each in (folder, SHIPPED):
        # Found by listing and not by joining, so that a name is never a way out of the folder.
        if each is not None and (path := each / f"{name}.yaml") in set(each.glob("*.yaml")):
            return load_switch_dialect(path)
    known = {path.stem for path in SHIPPED.glob("*.yaml")}
    raise UserMistake(f"unknown switch dialect '{name}'{suggest(name, tuple(sorted(known)))}")


def _mistakes(source: YamlFile[SwitchDialectForm], path: Path) -> list[Mistake]:
    form = source.value
    found: list[Mistake] = []
    if form.switch_dialect != path.stem:
        what = f"the file is {path.name}, so the dialect must be called '{path.stem}'"
        found.append(source.mistake(("switch_dialect",), what))
    texts: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = (
        (("open_all",), form.open_all, ()),
        (("close",), form.close, _WORDS),
        (("check", "ask"), form.check.ask, _WORDS),
        (("check", "expect"), form.check.expect, _WORDS),
        (("wait",), form.wait, ()),
        (("errors",), form.errors, ()),
    )
    for loc, text, known in texts:
        try:
            words = [word for _, word, _, _ in string.Formatter().parse(text) if word is not None]
        except ValueError as error:
            found.append(source.mistake(loc, f"braces that do not close: {error}"))
            continue
        found += [
            source.mistake(loc, f"'{{{word}}}' cannot stand here; {_may_stand(known)}")
            for word in words
            if word not in known
        ]
        if loc[0] == "close":
            missing = [word for word in known if word not in words]
            found += [source.mistake(loc, f"it must have '{{{word}}}'") for word in missing]
        if loc[-1] in ("ask", "wait", "errors") and "?" not in text:
            found.append(source.mistake(loc, f"'{text}' is no question; it would never be answered"))
    return found


def _may_stand(known: tuple[str, ...]) -> str:
    return f"known are {' and '.join(f'{{{word}}}' for word in known)}" if known else "no braces can"
