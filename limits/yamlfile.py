"""The strict reader of every YAML file a person writes: recipes, limit tables, benches, dialects.

A form is a pydantic model; the reader fills it, or raises one `BadInput` with every mistake in the file, each
with its line and column and in our own words. All scalars reach the form as the text that was written, so a
form uses the types of `limits.quantity` (`Hertz`, `Whole`, `Text` ...), which convert strictly.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from limits.errors import BadInput, Mistake
from limits.formwords import mistakes_of
from limits.yamltree import Loc, Place, Tree, grow, place_in, place_of

T = TypeVar("T", bound=BaseModel)

MAX_BYTES = 2_000_000
"""A recipe is a few kilobytes; what is larger is another kind of file."""

BYTE_ORDER_MARK = "\ufeff"


class Form(BaseModel):
    """Base of the forms: unknown keys refused, nothing converted behind one's back, frozen."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


@dataclass(frozen=True, slots=True)
class YamlFile(Generic[T]):
    """A file that was read and found in order."""

    value: T
    file: str
    """The file as the user named it."""

    text: str
    """All of it, line ends and byte order mark included, so that the digest can be made again."""

    digest: str
    """SHA-256 of the file's bytes, 64 hexadecimal digits."""

    places: Mapping[Loc, Place]
    """Line and column of every part; `mistake` is the easy way to them."""

    def mistake(self, loc: Loc, what: str) -> Mistake:
        """A mistake at one part of the file, e.g. `("limits", "tx_loss", "works")`.

        A text is pointed at itself, a list or group at the key that names it; what is not there, at the
        nearest group around it.
        """
        return Mistake(what, self.file, *place_of(self.places, loc))


def read(path: Path, form: type[T]) -> YamlFile[T]:
    """The file at `path` as a filled form. Raises BadInput with every mistake found."""
    data = read_bytes(path)
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", "replace")
        line, column = place_in(before, len(before))
        what = f"byte 0x{data[error.start]:02X} is not UTF-8; save the file as UTF-8 text"
        raise BadInput((Mistake(what, str(path), line, column),)) from error
    return _filled(text, form, str(path), hashlib.sha256(data).hexdigest())


def parse(text: str, form: type[T], file: str) -> YamlFile[T]:
    """A text as a filled form; `file` is what mistakes call it. Raises BadInput with every mistake found."""
    return _filled(text, form, file, hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())


def read_bytes(path: Path) -> bytes:
    """The bytes of a file that a person wrote. Raises BadInput when it is no readable file, or larger than one."""
    try:
        if path.is_dir():
            raise BadInput((Mistake("this is a folder, not a file", str(path)),))
        if path.exists() and not path.is_file():
            raise BadInput((Mistake("this is not an ordinary file", str(path)),))
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise BadInput((Mistake("there is no such file", str(path)),)) from error
    except PermissionError as error:
        raise BadInput((Mistake("the file may not be read; check its permissions", str(path)),)) from error
    except (OSError, ValueError) as error:
        raise BadInput((Mistake(f"the file cannot be read: {error}", str(path)),)) from error
    if len(data) > MAX_BYTES:
        raise BadInput(
            (Mistake(f"larger than {MAX_BYTES // 1_000_000} MB; is it the right file?", str(path)),)
        )
    return data


def editor_schema(form: type[BaseModel], title: str) -> dict[str, object]:
    """The form as JSON Schema (draft 2020-12), for editors that check while one types.

    What may be left out has no `null` alternative, since the reader does not take one.
    """
    schema = _without_null(form.model_json_schema())
    if not isinstance(schema, dict):
        raise TypeError(f"{form.__name__} has no schema")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}


def _filled(text: str, form: type[T], file: str, digest: str) -> YamlFile[T]:
    tree = grow(text.removeprefix(BYTE_ORDER_MARK), file)
    if tree.value is None and not tree.mistakes:
        raise BadInput((Mistake(f"the file is empty; it must hold {_keys_of(form)}", file),))
    value, mistakes = _validated(tree, form, file)
    if value is None or mistakes:
        raise BadInput(tuple(sorted(mistakes, key=lambda mistake: (mistake.line, mistake.column))))
    return YamlFile(value, file, text, digest, tree.places)


def _validated(tree: Tree, form: type[T], file: str) -> tuple[T | None, list[Mistake]]:
    """The filled form, or None; and every mistake, in the order they were found."""
    mistakes = [mistake for _, mistake in tree.mistakes]
    if not tree.whole:
        return None, mistakes
    try:
        # As JSON, since pydantic then takes a list for a tuple and a text for an enumeration even when strict.
        value = form.model_validate_json(json.dumps(tree.value), strict=True)
    except ValidationError as error:
        return None, mistakes + mistakes_of(error, tree, form, file)
    return value, mistakes


def _keys_of(form: type[BaseModel]) -> str:
    needed = [f"'{info.alias or name}'" for name, info in form.model_fields.items() if info.is_required()]
    return ", ".join(needed) or "at least one key"


def _without_null(schema: object) -> object:
    if isinstance(schema, list):
        return [_without_null(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    kept = {
        key: _without_null(part) for key, part in schema.items() if not (key == "default" and part is None)
    }
    options = kept.get("anyOf")
    if isinstance(options, list) and {"type": "null"} in options:
        options = [option for option in options if option != {"type": "null"}]
        rest = {key: part for key, part in kept.items() if key != "anyOf"}
        return {**rest, **options[0]} if len(options) == 1 else {**rest, "anyOf": options}
    return kept
