"""The limit table: for a model, the bounds of each characteristic, as the customer was promised them and as the
works demands them.

Reading a table finds every mistake in it at once, each with file, line and column; `misfits` finds where it does
not fit what a recipe measures, before any bench is touched.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Protocol

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    ValidationInfo,
    WithJsonSchema,
    create_model,
    field_validator,
    model_validator,
)
from pydantic.config import JsonDict
from pydantic_core import CoreSchema

from limits.errors import BadInput, Mistake
from limits.formwords import got, nearest
from limits.kinds.bound import Bound
from limits.kinds.catalog import KINDS
from limits.quantity import Channels, FileName, Text
from limits.rules import Rule
from limits.verdict import Level
from limits.yamlfile import Form, YamlFile, editor_schema, parse, read

_KEYS = {Level.SPECIFICATION: "specification", Level.WORKS: "works"}
_NAME = "[a-z][a-z0-9_]*"
_EXACTLY_ONE: JsonDict = {"minProperties": 1, "maxProperties": 1}


class Characteristic(Protocol):
    """What `misfits` must know of something that a recipe measures."""

    @property
    def unit(self) -> str:
        """`dB` or `Hz`."""

    @property
    def is_curve(self) -> bool:
        """Whether it is measured as a curve over frequency; else as one number."""


class OneKind(Form):
    """Exactly one kind of limit, under its key. The keys themselves come from the catalogue of kinds."""

    model_config = ConfigDict(json_schema_extra=_EXACTLY_ONE)

    @model_validator(mode="after")
    def _exactly_one(self) -> OneKind:
        given = [kind.key for kind in KINDS if getattr(self, kind.key) is not None]
        if len(given) != 1:
            what = f"has {' and '.join(given)}" if given else "has none"
            raise ValueError(f"a limit is one of {', '.join(kind.key for kind in KINDS)}; this {what}")
        return self

    @property
    def bound(self) -> Bound:
        """The one that is given."""
        bounds: Iterator[Bound | None] = (getattr(self, kind.key) for kind in KINDS)
        return next(bound for bound in bounds if bound is not None)


if TYPE_CHECKING:
    LimitForm = OneKind
else:
    LimitForm = create_model(
        "Limit", __base__=OneKind, **{kind.key: (kind.bound | None, None) for kind in KINDS}
    )


class RowForm(Form):
    """The limits of one characteristic."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1})

    specification: LimitForm | None = None
    works: LimitForm | None = None

    @field_validator("works")
    @classmethod
    def _inside_specification(cls, works: LimitForm | None, info: ValidationInfo) -> LimitForm | None:
        specification: OneKind | None = info.data.get("specification")
        if works is None or specification is None:
            return works
        mine, its = works.bound, specification.bound
        if (mine.unit, mine.on_curve) != (its.unit, its.on_curve):
            raise ValueError(
                "the works limit is of another sort than the specification; use the same kind and unit"
            )
        if mine.looser_than(its):
            raise ValueError("the works limit is looser than the specification; tighten it")
        return works

    @model_validator(mode="after")
    def _some_limit(self) -> RowForm:
        if self.specification is None and self.works is None:
            raise ValueError("no limit is given; write 'specification', 'works' or both")
        return self


def _good_name(name: str) -> str:
    if re.fullmatch(_NAME, name) is None:
        raise ValueError(
            f"'{name}' is no name of a characteristic: small letters, digits and '_', like 'tx_loss'"
        )
    return name


Name = Annotated[str, AfterValidator(_good_name), WithJsonSchema({"type": "string", "pattern": f"^{_NAME}$"})]


class RulesForm(Form):
    """The decision rule of each level; one text stands for both."""

    specification: Rule
    works: Rule

    @model_validator(mode="before")
    @classmethod
    def _one_for_both(cls, written: object) -> object:
        if isinstance(written, str):
            return {"specification": written, "works": written}
        if isinstance(written, list):
            what = "a decision rule, or one each for 'specification' and 'works'"
            raise ValueError(f"expected {what}, got {got(written)}")
        return written

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, object]:
        each = handler.resolve_ref_schema(handler(core))
        return {"anyOf": [dict(each["properties"]["specification"]), dict(each)]}

    def of(self, level: Level) -> Rule:
        """The rule of one level."""
        return self.specification if level is Level.SPECIFICATION else self.works


class TableForm(Form):
    """A limit table as it is written."""

    limit_table: FileName
    revision: Text
    model: FileName
    decision_rule: RulesForm
    limits: Annotated[
        dict[Name, RowForm], Field(min_length=1, json_schema_extra={"additionalProperties": False})
    ]


@dataclass(frozen=True, slots=True)
class LimitRow:
    """The limits of one characteristic."""

    name: str
    """The characteristic."""

    bounds: tuple[tuple[Level, Bound], ...]
    """One or two: specification, works limit."""


@dataclass(frozen=True, slots=True)
class LimitTable:
    """A limit table, read and found in order."""

    name: str
    revision: str
    model: str
    rules: Mapping[Level, Rule]
    """The decision rule of each level."""

    rows: tuple[LimitRow, ...]
    """In the file's order."""

    source: YamlFile[TableForm]
    """The file, for the places of later mistakes."""

    @property
    def text(self) -> str:
        """The file's text."""
        return self.source.text

    def mistakes(self, channels: Channels) -> tuple[Mistake, ...]:
        """What keeps the table from judging a unit of these channels, in the file's order."""
        return tuple(
            self.source.mistake(("limits", row.name, _KEYS[level], _kind_key(bound), *loc), what)
            for row in self.rows
            for level, bound in row.bounds
            for loc, what in bound.mistakes(channels)
        )


def load(path: Path) -> LimitTable:
    """The table in a file. Raises BadInput with every mistake found."""
    source = read(path, TableForm)
    if (name := source.value.limit_table) != path.stem:
        what = f"the table is called '{name}', but its file '{path.name}'; make the two the same"
        raise BadInput((source.mistake(("limit_table",), what),))
    return _table(source)


def of_text(text: str, file: str) -> LimitTable:
    """The table that a text is, whatever `file` it once stood in. Raises BadInput with every mistake found."""
    return _table(parse(text, TableForm, file))


def misfits(table: LimitTable, characteristics: Mapping[str, Characteristic]) -> tuple[Mistake, ...]:
    """Where the table does not fit what is measured, in the file's order; empty when it fits."""
    return tuple(mistake for row in table.rows for mistake in _row_misfits(table, row, characteristics))


def schema() -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a limit table, for editors."""
    return editor_schema(TableForm, "Limit table")


def _table(source: YamlFile[TableForm]) -> LimitTable:
    form = source.value
    rows = tuple(LimitRow(name, tuple(_bounds(row))) for name, row in form.limits.items())
    rules = {level: form.decision_rule.of(level) for level in Level}
    return LimitTable(form.limit_table, form.revision, form.model, rules, rows, source)


def _bounds(row: RowForm) -> Iterator[tuple[Level, Bound]]:
    for level, limit in ((Level.SPECIFICATION, row.specification), (Level.WORKS, row.works)):
        if limit is not None:
            yield level, limit.bound


def _kind_key(bound: Bound) -> str:
    return next(kind.key for kind in KINDS if isinstance(bound, kind.bound))


def _row_misfits(
    table: LimitTable, row: LimitRow, characteristics: Mapping[str, Characteristic]
) -> Iterator[Mistake]:
    known = characteristics.get(row.name)
    if known is None:
        hint = nearest(row.name, characteristics) or f"; measured are {', '.join(characteristics) or 'none'}"
        what = f"a limit for '{row.name}', which is not measured{hint}"
        yield table.source.mistake(("limits", row.name), what)
        return
    for level, bound in row.bounds:
        loc = ("limits", row.name, _KEYS[level])
        if bound.on_curve != known.is_curve:
            wanted = "a curve; use 'mask'" if known.is_curve else "one number; 'mask' is for curves"
            yield table.source.mistake(loc, f"'{row.name}' is measured as {wanted}")
        elif bound.unit != known.unit:
            yield table.source.mistake(
                loc, f"the limit is in {bound.unit}, but '{row.name}' is measured in {known.unit}"
            )
