"""A number may not fall below its limit."""

from __future__ import annotations

from pydantic import RootModel

from limits.kinds.bound import ROOT, Amount, NumberBound
from limits.quantity import Channels


class AtLeast(NumberBound, RootModel[Amount]):
    """The lowest value that is still inside, e.g. `75 dB` or `25 kHz`."""

    model_config = ROOT

    def amounts(self) -> tuple[Amount | None, Amount | None]:
        """Open above."""
        return self.root, None

    def written(self) -> str:
        """As it stands in the table."""
        return f"at least {self.root}"

    def words(self, channels: Channels) -> str:
        """E.g. `at least 75 dB`."""
        return f"at least {self.root.words(channels)}"
