"""A record as JSON text and back, for the records that are kept here: every field of every value, by its name.

Run as a program it writes the digests of all kept records anew: `python tests/archive/records.py`.
"""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import types
import zlib
from datetime import date, datetime
from enum import Enum
from importlib.metadata import version
from pathlib import Path
from typing import Any, Union, get_args, get_origin, get_type_hints

import numpy as np

from reports.certificate import certificate
from reports.record import UnitRecord


def kept(value: Any) -> Any:
    """As JSON holds it."""
    if dataclasses.is_dataclass(value):
        return {field.name: kept(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, tuple):
        return [kept(each) for each in value]
    return value


def restored(hint: Any, value: Any) -> Any:
    """A value of this type from what `kept` made of it; a field that came later keeps its default."""
    if get_origin(hint) in (Union, types.UnionType):
        if value is None:
            return None
        (hint,) = (each for each in get_args(hint) if each is not type(None))
    if get_origin(hint) is tuple:
        inner = get_args(hint)
        each = [inner[0]] * len(value) if inner[-1] is Ellipsis else inner
        return tuple(restored(one, part) for one, part in zip(each, value, strict=True))
    if get_origin(hint) is np.ndarray:
        return np.array(value, dtype=np.float64)
    if dataclasses.is_dataclass(hint):
        hints = get_type_hints(hint)
        return hint(**{name: restored(hints[name], part) for name, part in value.items()})  # type: ignore[operator]
    if hint in (date, datetime):
        return hint.fromisoformat(value)
    if hint is bytes:
        return base64.b64decode(value)
    return hint(value) if isinstance(hint, type) and issubclass(hint, Enum) else value


def made(path: Path) -> tuple[bytes, str]:
    """The unsigned certificate of a kept record, and what it was made with."""
    said = json.loads(path.read_text())
    pdf = certificate(restored(UnitRecord, said["record"]), datetime.fromisoformat(said["issued"]))
    return (
        pdf,
        f"reportlab {version('reportlab')}, segno {version('segno')}, zlib {zlib.ZLIB_RUNTIME_VERSION}",
    )


def written(said: dict[str, Any]) -> str:
    """As it is kept: a line for each part, so that a change is seen in a comparison."""
    return json.dumps(said, ensure_ascii=False, indent=0, separators=(",", ":")) + "\n"


if __name__ == "__main__":
    for file in sorted(Path(__file__).parent.glob("record-*.json")):
        pdf, with_what = made(file)
        digest = hashlib.sha256(pdf).hexdigest()
        file.write_text(written({**json.loads(file.read_text()), "made_with": with_what, "sha256": digest}))
