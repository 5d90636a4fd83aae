"""The known values of a check standard, as its calibration laboratory gives them, in a file of the works.

standard: SKC-001            # the serial; the file is called SKC-001.yaml
certificate: Holm Calibration 2026-117 of 2026-10-02
known:
  tx_loss_vhf: 9.03 dB ± 0.05 dB        # value and its expanded uncertainty (k = 2)
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from limits.errors import BadInput, Mistake
from limits.formwords import got, nearest
from limits.quantity import Expression, FileName, Text
from limits.table import Characteristic, Name
from limits.units import SIGNED, decibel, tidy
from limits.yamlfile import Form, YamlFile, editor_schema, read

_EXAMPLE = "a known value with its uncertainty, like '9.03 dB ± 0.05 dB'"


@dataclass(frozen=True, slots=True)
class KnownValue(Expression):
    """What a characteristic of the standard truly is, and how well that is known."""

    pattern = rf"{SIGNED}\s*dB\s*(±|\+-|\+/-)\s*{SIGNED}\s*dB"
    described = _EXAMPLE

    text: str
    """As it was written."""

    value_db: float
    u_db: float
    """Expanded uncertainty (k = 2), above zero."""

    @classmethod
    def parse(cls, text: str) -> KnownValue:
        """Raises ValueError that says what was expected."""
        halves = re.fullmatch(r"(.*?) ?(?:±|\+/?-) ?(.*)", tidy(text))
        if halves is None:
            raise ValueError(f"expected {_EXAMPLE}, got {got(text)}")
        value_db, u_db = decibel(halves[1]), decibel(halves[2])
        if u_db <= 0:
            raise ValueError(
                f"nothing is known without any uncertainty: expected {_EXAMPLE}, got {got(text)}"
            )
        return cls(text.strip(), value_db, u_db)


class StandardForm(Form):
    """A file of known values as it is written."""

    standard: FileName
    certificate: Text
    """Who says so, and when."""

    known: Annotated[
        dict[Name, KnownValue], Field(min_length=1, json_schema_extra={"additionalProperties": False})
    ]


@dataclass(frozen=True, slots=True)
class KnownStandard:
    """A check standard whose file was found in order."""

    source: YamlFile[StandardForm]

    @property
    def serial(self) -> str:
        """As the file writes it."""
        return self.source.value.standard

    @property
    def known(self) -> Mapping[str, KnownValue]:
        """By the name of the characteristic, in the file's order."""
        return self.source.value.known

    def misfits(self, characteristics: Mapping[str, Characteristic]) -> Iterator[Mistake]:
        """Where it does not fit what is measured."""
        for name in self.known:
            measured = characteristics.get(name)
            if measured is None:
                hint = nearest(name, characteristics) or f"; measured are {', '.join(characteristics)}"
                yield self._mistake(name, f"a known value of '{name}', which is not measured{hint}")
            elif measured.is_curve or measured.unit != "dB":
                what = "a curve" if measured.is_curve else f"in {measured.unit}"
                yield self._mistake(
                    name, f"known values are numbers in dB, but '{name}' is measured as {what}"
                )

    def _mistake(self, name: str, what: str) -> Mistake:
        return self.source.mistake(("known", name), what)


def load(path: Path) -> KnownStandard:
    """The known values in a file. Raises BadInput with every mistake found."""
    source = read(path, StandardForm)
    if (name := source.value.standard) != path.stem:
        what = f"the standard is called '{name}', but its file '{path.name}'; make the two the same"
        raise BadInput((source.mistake(("standard",), what),))
    return KnownStandard(source)


def schema() -> dict[str, object]:
    """JSON Schema of a file of known values, for editors."""
    return editor_schema(StandardForm, "Known values of a check standard")
