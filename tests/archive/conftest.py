"""Readers of the archive."""

from __future__ import annotations

import importlib.util
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def made_of() -> Callable[[Path], tuple[bytes, str]]:
    """The unsigned certificate of a kept record, and the libraries it was made with."""
    path = Path(__file__).with_name("records.py")
    spec = importlib.util.spec_from_file_location("archive_records", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Callable[[Path], tuple[bytes, str]] = module.made
    return made


@pytest.fixture
def text_of(need: Callable[[str], str], tmp_path: Path) -> Callable[[bytes], str]:
    """What an outside reader finds in a PDF, with plain spaces."""

    def read(pdf: bytes) -> str:
        (tmp_path / "read.pdf").write_bytes(pdf)
        command = [need("pdftotext"), "-layout", tmp_path / "read.pdf", "-"]
        done = subprocess.run(command, check=True, capture_output=True)
        return done.stdout.decode().replace("\u202f", " ")

    return read
