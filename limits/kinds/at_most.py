"""A number may not exceed its limit."""

from __future__ import annotations

from pydantic import RootModel

from limits.kinds.bound import ROOT, Amount, NumberBound
from limits.quantity import Channels


class AtMost(NumberBound, RootModel[Amount]):
    """The highest value that is still inside, e.g. `1.5 dB`."""

    model_config = ROOT

    def amounts(self) -> tuple[Amount | None, Amount | None]:
        """Open below."""
        return None, self.root

    def written(self) -> str:
        """As it stands in the table."""
        return f"at most {self.root}"

    def words(self, channels: Channels) -> str:
        """E.g. `at most 1.5 dB`."""
        return f"at most {self.root.words(channels)}"
