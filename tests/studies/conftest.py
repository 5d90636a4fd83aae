"""The studies are programs of their own; a test beside one loads it."""

from __future__ import annotations

import importlib.util
import sys
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def study(request: pytest.FixtureRequest) -> ModuleType:
    """The study that a test file is named after."""
    path = request.path.with_name(request.path.name.removeprefix("test_"))
    name = f"{path.stem}_study"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # Its dataclasses look their module up by name.
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module
