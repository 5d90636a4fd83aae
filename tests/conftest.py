"""What tests of every room share."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable

import pytest


@pytest.fixture(scope="session")
def need() -> Callable[[str], str]:
    """The path of an outside program. Where CI is set its absence fails the test; elsewhere it skips it."""

    def find(program: str) -> str:
        path = shutil.which(program)
        if path is None:
            message = f"{program} is not installed; DEVELOPERS.md says how to get it"
            if os.environ.get("CI"):
                pytest.fail(message)
            pytest.skip(message)
        return path

    return find
