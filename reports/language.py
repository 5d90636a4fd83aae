"""The fixed texts of a certificate, one file for each language in `languages`; no sentence stands in the code.

What the station writes of a reading (its title, its limit, where it was swept) is English; `local` puts the words
it knows into the language and leaves what a works wrote itself as it is. How a number is rounded is `wording`'s
business alone; here only its decimal mark changes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from importlib import resources

import yaml

from reports import wording

LANGUAGES = ("en", "de")


@dataclass(frozen=True, slots=True, eq=False)
class Language:
    """One language's texts by name, and how it writes dates and numbers."""

    tag: str
    """As a PDF says it (BCP 47)."""

    decimal: str
    months: tuple[str, ...]
    phrases: tuple[tuple[re.Pattern[str], str], ...]
    """What the station writes, and what stands for it."""

    texts: Mapping[str, str]

    def __call__(self, name: str, /, **fields: object) -> str:
        """A fixed text with its fields filled in. Raises KeyError for a name that no language has."""
        return self.texts[name].format(**fields)

    def local(self, text: str) -> str:
        """The station's words of a reading or a limit."""
        return _local(self, text)

    def numerals(self, text: object) -> str:
        """A printed number with this language's decimal mark."""
        shown = str(text)
        return shown if self.decimal == "." else re.sub(r"(?<=\d)\.(?=\d)", self.decimal, shown)

    def day(self, value: date | datetime) -> str:
        """E.g. `25 November 2026`; a moment's day is that of UTC."""
        there = wording.utc_day(value)
        return self("day", day=there.day, month=self.months[there.month - 1], year=there.year)

    def moment(self, value: datetime) -> str:
        """E.g. `25 November 2026, 14:05 UTC`."""
        return f"{self.day(value)}, {wording.clock(value)}"

    def period(self, begin: datetime, end: datetime) -> str:
        """E.g. `25 November 2026, 14:05 to 14:09 UTC`."""
        first, last = self.moment(begin), self.moment(end)
        if self.day(begin) == self.day(end):
            last = wording.clock(end)
            if wording.clock(begin) == last:
                return first
            first = first.removesuffix(" UTC")
        return self("until", begin=first, end=last)


@cache
def language(code: str) -> Language:
    """The language of that code, one of `LANGUAGES`."""
    text = resources.files("reports").joinpath("languages", f"{code}.yaml").read_text(encoding="utf-8")
    said = yaml.safe_load(text)
    phrases = tuple((re.compile(known, re.IGNORECASE), put) for known, put in said.pop("phrases"))
    return Language(said.pop("tag"), said.pop("decimal"), tuple(said.pop("months")), phrases, said)


@lru_cache(maxsize=4096)
def _local(spoken: Language, text: str) -> str:
    for known, put in spoken.phrases:
        text = known.sub(put, text)
    return spoken.numerals(text)
