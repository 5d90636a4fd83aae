"""What the tests of the judge share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from limits.errors import BadInput
from limits.quantity import Channels
from limits.table import LimitTable, load

# A machine that is busy with other tests must not fail a property by being slow.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

HEAD = "limit_table: T\nrevision: A\nmodel: M\ndecision_rule: simple acceptance\nlimits:\n"


@pytest.fixture
def channels() -> Channels:
    """A VHF pair 0.6 MHz apart, the transmitter below."""
    return Channels(tx_hz=156.45e6, rx_hz=157.05e6)


@pytest.fixture
def reference() -> Path:
    """The folder of published values."""
    return Path(__file__).parent.parent / "reference" / "limits"


@pytest.fixture
def table_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], LimitTable]:
    """The table of a text that is kept as `T.yaml`."""
    monkeypatch.chdir(tmp_path)

    def of(text: str) -> LimitTable:
        path = Path("T.yaml")
        path.write_text(text, encoding="utf-8")
        return load(path)

    return of


@pytest.fixture
def table(table_file: Callable[[str], LimitTable]) -> Callable[[str], LimitTable]:
    """A table from the lines below `limits:`, the first of which is line 6 of the file."""
    return lambda rows: table_file(HEAD + rows)


@pytest.fixture
def mistakes() -> Callable[[Callable[[], object]], list[str]]:
    """The mistakes that a call is refused with, as printed."""

    def of(call: Callable[[], object]) -> list[str]:
        with pytest.raises(BadInput) as refused:
            call()
        return [str(mistake) for mistake in refused.value.mistakes]

    return of
