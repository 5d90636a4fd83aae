"""The station's name alone: also of a bench file that is not finished yet."""

from __future__ import annotations

from pathlib import Path

import yaml

NAMELESS = "works"
"""Of a station whose bench file does not say it."""


def station_name(file: Path) -> str:
    """What `bench:` says in a bench file; other mistakes in it are told where the bench is opened."""
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
        found = next((yaml.safe_load(line) for line in lines if line.startswith("bench:")), None)
    except (OSError, ValueError, yaml.YAMLError):
        return NAMELESS
    name = found.get("bench") if isinstance(found, dict) else None
    return name.strip() if isinstance(name, str) and name.strip() else NAMELESS
