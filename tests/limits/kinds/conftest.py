"""What the tests of the kinds share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from limits.kinds.bound import Bound
from limits.reading import Reading
from limits.table import LimitForm
from limits.yamlfile import parse


@pytest.fixture
def bound() -> Callable[[str], Bound]:
    """A limit from its YAML, e.g. `{at_most: 1.5 dB}`."""
    return lambda text: parse(text, LimitForm, "t.yaml").value.bound


@pytest.fixture
def reading() -> Callable[..., Reading]:
    """A reading with a value, in dB unless told."""
    plain = Reading("x", "The characteristic", "dB", None)
    return lambda value, **more: replace(plain, value=value, **more)
