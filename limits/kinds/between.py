"""A number must lie between two ends, which belong to the inside."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, RootModel
from pydantic_core import CoreSchema

from limits.formwords import got
from limits.kinds.bound import DB, ROOT, Amount, NumberBound
from limits.quantity import SPAN_PATTERN, Channels, Span, from_text_schema
from limits.units import SIGNED, tidy

_EXAMPLE = "two ends like '20 dB to 30 dB', or 'rx ± 20 kHz'"


@dataclass(frozen=True, slots=True)
class Ends:
    """Two ends in one text."""

    text: str
    """As it was written."""

    low: Amount
    high: Amount

    @classmethod
    def parse(cls, text: str) -> Ends:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        if "db" not in clean.casefold():
            first, last = Span.parse(clean).ends
            return cls(clean, Amount(first.text, first), Amount(last.text, last))
        parts = clean.split(" to ")
        if len(parts) != 2:
            raise ValueError(f"expected {_EXAMPLE}, got {got(text)}")
        low, high = Amount.parse(parts[0]), Amount.parse(parts[1])
        if {low.unit, high.unit} != {DB}:
            raise ValueError(f"the ends in {got(text)} are not both in dB")
        if not low.surely_below(high):
            raise ValueError(f"{got(text)} does not rise; write the lower end first")
        return cls(clean, low, high)

    def __str__(self) -> str:
        return self.text

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return from_text_schema(cls.parse, cls)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, object]:
        pattern = rf"^({SIGNED}\s*dB\s+to\s+{SIGNED}\s*dB|{SPAN_PATTERN})$"
        return {"type": "string", "pattern": pattern, "description": f"{_EXAMPLE}."}


class Between(NumberBound, RootModel[Ends]):
    """The lowest and the highest value that are still inside, e.g. `rx ± 20 kHz` or `20 dB to 30 dB`."""

    model_config = ROOT

    def amounts(self) -> tuple[Amount | None, Amount | None]:
        """Both."""
        return self.root.low, self.root.high

    def ends(self, channels: Channels) -> tuple[float | None, float | None]:
        """In rising order, since `tx to rx` falls for a unit that receives below its transmitter."""
        first, last = self.root.low.at(channels), self.root.high.at(channels)
        return min(first, last), max(first, last)

    def words(self, channels: Channels) -> str:
        """E.g. `between 157.04 and 157.06 MHz`."""
        low, high = sorted((self.root.low, self.root.high), key=lambda amount: amount.at(channels))
        first, last = low.words(channels), high.words(channels)
        if first.split()[-1] == last.split()[-1]:
            first = first.rpartition(" ")[0]
        return f"between {first} and {last}"
