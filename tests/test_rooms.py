"""The arrows between the rooms point one way; this table is the plan, and the code is held to it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import limits

HOUSE = Path(limits.__file__).parents[1]

MAY_IMPORT: dict[str, set[str]] = {
    "limits": set(),
    "reports": {"limits"},
    "fixtures_sim": set(),
    "station.measurements": {"limits", "reports"},
    "station.instruments": {"limits", "station.measurements"},
    "station.database": {"limits", "reports", "station.measurements"},
    "station.bench": {"limits", "station.measurements", "station.instruments"},
    "station.sequencer": {
        "limits",
        "reports",
        "station.measurements",
        "station.instruments",
        "station.bench",
        "station.database",
    },
    "station.cli": {
        "limits",
        "reports",
        "station.measurements",
        "station.instruments",
        "station.bench",
        "station.database",
        "station.sequencer",
    },
}
"""Each room, and the rooms it may import beside itself."""

SINGLE_FILES = {
    "station.errors": {*MAY_IMPORT} - {"fixtures_sim"},
    "station.orders": {"station.database", "station.sequencer", "station.cli"},
    "station.settings": {"station.cli"},
    "station.records": {"station.cli"},
    "station.progress": {"station.cli"},
    "station.benchwork": {"station.cli"},
    "station.desk": {"station.cli"},
}
"""The files that stand alone in `station`, and the rooms that may import them."""

ONLY_HERE: dict[str, str | tuple[str, ...]] = {
    "pyvisa": "station/instruments/visa.py",
    "pyvisa_py": "station/instruments/visa.py",
    "skrf": ("fixtures_sim/", "station/measurements/calibration.py"),
    "pyhanko": (
        "reports/signing.py",
        "reports/verifying.py",
        "reports/evidence.py",
        "reports/timestamping.py",
        "reports/token.py",
        "fixtures_sim/timestamp_service.py",
        "reports/attached.py",
    ),
    "pkcs11": "reports/token.py",
    "sqlalchemy": "station/database/",
    "alembic": "station/database/",
    "reportlab": "reports/",
    "typer": "station/cli/",
}
"""Libraries that only one room, or one file, may know."""


def python_files() -> Iterator[tuple[str, Path]]:
    for room in ("limits", "reports", "station", "fixtures_sim"):
        for path in sorted((HOUSE / room).rglob("*.py")):
            yield path.relative_to(HOUSE).as_posix(), path


def imported(path: Path) -> set[str]:
    """The full names of the modules a file imports, wherever in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def room_of(module: str) -> str | None:
    rooms = [room for room in MAY_IMPORT if module == room or module.startswith(f"{room}.")]
    return max(rooms, key=len) if rooms else None


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_a_room_imports_only_what_the_plan_allows(room: str) -> None:
    folder = room.replace(".", "/") + "/"
    for name, path in python_files():
        if not name.startswith(folder):
            continue
        for module in imported(path):
            target = room_of(module)
            if target is not None:
                assert target == room or target in MAY_IMPORT[room], f"{name} imports {module}"
            for single, users in SINGLE_FILES.items():
                if module == single or module.startswith(f"{single}."):
                    assert room in users, f"{name} imports {module}"


@pytest.mark.parametrize("library", ONLY_HERE)
def test_a_library_is_known_in_one_place_only(library: str) -> None:
    for name, path in python_files():
        if any(module == library or module.startswith(f"{library}.") for module in imported(path)):
            assert name.startswith(ONLY_HERE[library]), f"{name} imports {library}"


def test_package_front_doors_hold_a_docstring_and_nothing_else() -> None:
    for name, path in python_files():
        if path.name == "__init__.py":
            body = ast.parse(path.read_text(encoding="utf-8")).body
            assert len(body) == 1, name
            assert isinstance(body[0], ast.Expr), name


def test_every_module_opens_by_saying_what_it_is_for() -> None:
    missing = [
        name
        for name, path in python_files()
        if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert missing == []
