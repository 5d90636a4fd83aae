"""A number must lie between two ends, which belong to the inside."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import RootModel

from limits.formwords import got
from limits.kinds.bound import DB, ROOT, Amount, NumberBound
from limits.quantity import SPAN_PATTERN, Channels, Expression, Span
from limits.units import SIGNED, in_one_unit, tidy
from limits.yamltree import Loc

_EXAMPLE = "two ends like '20 dB to 30 dB', or 'rx ± 20 kHz'"


@dataclass(frozen=True, slots=True)
class Ends(Expression):
    """Two ends in one text."""

    pattern = rf"{SIGNED}\s*dB\s+to\s+{SIGNED}\s*dB|{SPAN_PATTERN}"
    described = f"{_EXAMPLE}."

    text: str
    """As it was written."""

    low: Amount
    high: Amount
    span: Span | None = None
    """The same as a span where the ends are frequencies."""

    @classmethod
    def parse(cls, text: str) -> Ends:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        if "db" not in clean.casefold():
            span = Span.parse(clean)
            first, last = span.ends
            return cls(clean, Amount(first.text, first), Amount(last.text, last), span)
        parts = clean.split(" to ")
        if len(parts) != 2:
            raise ValueError(f"expected {_EXAMPLE}, got {got(text)}")
        low, high = Amount.parse(parts[0]), Amount.parse(parts[1])
        if {low.unit, high.unit} != {DB}:
            raise ValueError(f"the ends in {got(text)} are not both in dB")
        if not low.surely_below(high):
            raise ValueError(f"{got(text)} does not rise; write the lower end first")
        return cls(clean, low, high)


class Between(NumberBound, RootModel[Ends]):
    """The lowest and the highest value that are still inside, e.g. `rx ± 20 kHz` or `20 dB to 30 dB`."""

    model_config = ROOT

    def amounts(self) -> tuple[Amount | None, Amount | None]:
        """Both."""
        return self.root.low, self.root.high

    def ends(self, channels: Channels) -> tuple[float | None, float | None]:
        """Raises ValueError where the ends cross for this unit."""
        return self.root.span.at(channels) if self.root.span else super().ends(channels)

    def mistakes(self, channels: Channels) -> tuple[tuple[Loc, str], ...]:
        """Ends that cross for this unit."""
        what = self.root.span.crossed(channels) if self.root.span else ""
        return (((), what),) if what else ()

    def written(self) -> str:
        """As it stands in the table."""
        return f"between {self.root}"

    def words(self, channels: Channels) -> str:
        """E.g. `between 157.04 and 157.06 MHz`."""
        first, last = in_one_unit(self.root.low.words(channels), self.root.high.words(channels))
        return f"between {first} and {last}"
