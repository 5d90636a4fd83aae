"""What a backup holds, told by a file of its own that is written last: without it, or with another one, it is none.

`manifest.json` is JSON in one fixed form. Its last line is the SHA-256 of the form without that line's value, and a
text that is not to the byte what its own content would be written as is refused: no byte of it can change unnoticed.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from pathlib import PurePosixPath

FILE = "manifest.json"
RECORDS = "records.sqlite"
"""All records, in one form whatever database they came from."""

WORKS = "works"
"""Folder of the works' own files within a backup."""

FORM = 1


@dataclass(frozen=True, slots=True)
class Kept:
    """A file in a backup."""

    name: str
    """Its path within the backup, with slashes."""

    size: int
    """Bytes."""

    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """All that a backup holds."""

    works: str
    """The name of the works."""

    made: str
    """When, ISO 8601, UTC."""

    database_form: str
    """The form of its records."""

    files: tuple[Kept, ...]
    left_out: tuple[str, ...]
    """Secrets of the works folder that are not in it."""

    form: int = FORM
    digest: str = ""
    """SHA-256 of the text with this one empty."""

    def text(self) -> str:
        """As it is written."""
        plain = replace(self, digest="")
        return _written(replace(self, digest=hashlib.sha256(_written(plain).encode()).hexdigest()))

    @property
    def size(self) -> int:
        """Bytes of all files."""
        return sum(each.size for each in self.files)


def read(data: bytes) -> Manifest:
    """The manifest in these bytes. Raises ValueError that says in one clause what is wrong with it."""
    try:
        found = json.loads(data)
        form = found["form"]
        if form != FORM:
            raise ValueError(f"is of form {form}, and this station reads form {FORM}; update this station")
        files = tuple(Kept(**each) for each in found.pop("files"))
        manifest = Manifest(**found | {"files": files, "left_out": tuple(found["left_out"])})
        whole = manifest.text().encode() == data
    except (KeyError, TypeError, AttributeError, UnicodeError, json.JSONDecodeError, RecursionError) as error:
        raise ValueError("is cut off or was changed") from error
    if not whole:
        raise ValueError("was changed since it was written")
    for each in manifest.files:
        path = PurePosixPath(each.name)
        if not path.parts or ".." in path.parts or path.parts[0] not in (RECORDS, WORKS):
            raise ValueError(f"names {each.name}, which cannot be a file of a backup")
    return manifest


def _written(manifest: Manifest) -> str:
    return json.dumps(asdict(manifest), indent=1, ensure_ascii=False) + "\n"
