"""Numbers, units, dates and verdicts as printed text, and how they are rounded.

Certificates and failure sheets take every reading, limit and margin from here, so that one value never reads
in two ways on paper. Nothing here knows a page. A number is rounded half away from zero, as on paper, and
always so that what is printed stands on the same side of its limit as what was measured (`printed`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal

from limits.reading import Claim, Reading
from limits.verdict import Decision, Outcome

THIN = "\u202f"
"""Narrow no-break space, between a number and its unit and between groups of digits."""

MINUS = "\u2212"
AT_LEAST = "\u2265"
DASH = "\u2013"
MISSING = DASH

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

MOST_DECIMALS = 6
"""Where this many decimals cannot tell a value from its limit, all of its digits are printed."""


@dataclass(frozen=True, slots=True)
class Printed:
    """A number as printed, apart from its unit so that columns can stand on the decimal point."""

    number: str
    unit: str

    def __str__(self) -> str:
        return f"{self.number}{THIN}{self.unit}" if self.unit else self.number


@dataclass(frozen=True, slots=True)
class _Form:
    """How a quantity of some size is printed."""

    unit: str
    shift: int
    """The printed number is the value times ten to this power."""

    decimals: int


def number(value: float, decimals: int) -> str:
    """A number with a true minus sign; never a minus before nothing but zeros."""
    return _text(_rounded(_exact(value), decimals))


def printed(reading: Reading, margins: Iterable[float | None] = ()) -> Printed | None:
    """The reading as printed; None where it has no value.

    The usual decimals are dB to 0.01 below 10 dB and 0.1 from there on, frequencies to 0.1 kHz, and more
    where that would be coarser than U. More still are given while rounding would move the value by as much as
    its distance to a limit: 1.604 dB against at most 1.60 dB is printed as 1.604 dB, for 1.60 dB would read
    as if it passed. `margins` are those distances, in the reading's unit. What is only
    known to be at least so much is printed behind a sign that says so.
    """
    if reading.value is None:
        return None
    form = _form(reading)
    value = _exact(reading.value).scaleb(form.shift)
    nearest = min(
        (abs(_exact(margin)).scaleb(form.shift) for margin in margins if margin is not None), default=None
    )
    if reading.claim is Claim.AT_LEAST:
        # Rounded up it would claim more than was found.
        return Printed(
            f"{AT_LEAST}{THIN}{_text(_honest(value, form.decimals, nearest, ROUND_FLOOR))}", form.unit
        )
    return Printed(_text(_honest(value, form.decimals, nearest)), form.unit)


def judged(decision: Decision, others: Iterable[Decision] = ()) -> Printed | None:
    """The reading of a decision as printed, on the right side of its limit and of those of `others`.

    `others` are further decisions on one page; those about the same reading count, so that a reading is
    printed in one way all over the page.
    """
    about = [other.margin for other in others if other.reading == decision.reading]
    return printed(decision.reading, [decision.margin, *about])


def uncertainty(reading: Reading) -> Printed | None:
    """U rounded up to the decimals its value is usually printed with; None where it was not evaluated.

    Beside a frequency in MHz it is told in kHz while it is below 1 MHz, so that its digits do not hide behind zeros.
    """
    if reading.u is None or reading.value is None:
        return None
    form = _form(reading)
    if form.unit == "MHz" and reading.u < 1e6:
        form = _Form("kHz", form.shift + 3, form.decimals - 3)
    step = Decimal(1).scaleb(-form.decimals)
    return Printed(_text(_exact(reading.u).scaleb(form.shift).quantize(step, ROUND_CEILING)), form.unit)


def smaller_uncertainty(reading: Reading, u: float) -> Printed:
    """A U that the reading would have to reach: two digits, rounded down so that what is printed is enough."""
    form = _form(reading)
    value = _exact(u).scaleb(form.shift)
    return Printed(_text(value.quantize(Decimal(1).scaleb(value.adjusted() - 1), ROUND_FLOOR)), form.unit)


def distance(decision: Decision, others: Iterable[Decision] = ()) -> Printed | None:
    """How far the reading lies from its limit, without a sign, to the decimals that `judged` gives the reading."""
    text = judged(decision, others)
    if text is None or decision.margin is None:
        return None
    places = len(text.number.partition(".")[2])
    gap = abs(_exact(decision.margin)).scaleb(_form(decision.reading).shift)
    return Printed(_text(_rounded(gap, places)), text.unit)


def margin(decision: Decision) -> str:
    """The distance to the limit in words: `0.004 dB beyond`, `0.21 dB inside`, `on the limit`."""
    gap = distance(decision)
    if gap is None or decision.margin is None:
        return MISSING
    if decision.margin == 0.0:
        return "on the limit"
    return f"{gap} {'inside' if decision.margin > 0.0 else 'beyond'}"


def frequency(freq_hz: float) -> str:
    """E.g. `156.8000 MHz`: always MHz, to 0.1 kHz, as the trade writes channels."""
    return f"{megahertz(freq_hz)}{THIN}MHz"


def megahertz(freq_hz: float) -> str:
    """The number of MHz alone: four decimals, five for a channel of the 6.25 kHz raster that needs them."""
    value = _exact(freq_hz)
    decimals = 5 if value % 6250 == 0 and value % 100 != 0 else 4
    return _text(_rounded(value.scaleb(-6), decimals))


def span(low_hz: float, high_hz: float) -> str:
    """E.g. `156.7875–156.8125`, in MHz without the unit; one number where both are the same."""
    if low_hz == high_hz:
        return megahertz(low_hz)
    return f"{megahertz(low_hz)}{DASH}{megahertz(high_hz)}"


def width(width_hz: float) -> str:
    """A bandwidth or a spacing: `10 Hz`, `12.5 kHz`, `4.6 MHz`, without idle zeros."""
    size = abs(width_hz)
    shift, unit = (6, "MHz") if size >= 1e6 else (3, "kHz") if size >= 1e3 else (0, "Hz")
    text = _text(_rounded(_exact(width_hz).scaleb(-shift), 4))
    return f"{text.rstrip('0').rstrip('.')}{THIN}{unit}"


def power(power_dbm: float) -> str:
    """E.g. `−10 dBm`."""
    text = number(power_dbm, 1)
    return f"{text.removesuffix('.0')}{THIN}dBm"


def temperature(temperature_c: float | None) -> str:
    """E.g. `23.4 °C`, or that nobody said."""
    return "not recorded" if temperature_c is None else f"{number(temperature_c, 1)}{THIN}°C"


def temperatures(start_c: float | None, end_c: float | None) -> str:
    """Of one run, e.g. `23.4 °C at the start, 23.6 °C at the end`; the first alone where no other was taken."""
    if end_c is None:
        return temperature(start_c)
    return f"{temperature(start_c)} at the start, {temperature(end_c)} at the end"


def vswr(return_loss_db: float) -> float:
    """Voltage standing-wave ratio of a return loss: (1 + r) / (1 - r) with r = 10^(-RL/20).

    Raises ValueError for a return loss that is not above zero, which no VSWR belongs to.
    """
    if return_loss_db <= 0.0:
        raise ValueError(f"a return loss of {return_loss_db} dB has no VSWR; it must be above 0 dB")
    reflection = math.pow(10.0, -return_loss_db / 20.0)
    return (1.0 + reflection) / (1.0 - reflection)


def day(value: date | datetime) -> str:
    """E.g. `25 November 2026`, which no reader can take for another day; a moment's day is that of UTC."""
    there = utc_day(value)
    return f"{there.day} {MONTHS[there.month - 1]} {there.year}"


def utc_day(value: date | datetime) -> date:
    """The day; a moment's is that of UTC."""
    return _utc(value).date() if isinstance(value, datetime) else value


def clock(value: datetime) -> str:
    """E.g. `14:05 UTC`."""
    return f"{_utc(value):%H:%M} UTC"


def moment(value: datetime) -> str:
    """E.g. `25 November 2026, 14:05 UTC`."""
    return f"{day(value)}, {clock(value)}"


def period(begin: datetime, end: datetime) -> str:
    """E.g. `25 November 2026, 14:05 to 14:09 UTC`."""
    if day(begin) != day(end):
        return f"{moment(begin)} to {moment(end)}"
    if clock(begin) == clock(end):
        return moment(begin)
    return f"{day(begin)}, {_utc(begin):%H:%M} to {clock(end)}"


def digest(value: str, groups: int = 4) -> str:
    """The first digits of a hexadecimal digest in groups of four, e.g. `3f9a 02bc 77d1 e405`; `groups` 0 for all."""
    shown = value if groups == 0 else value[: 4 * groups]
    return " ".join(shown[i : i + 4] for i in range(0, len(shown), 4))


def verdict(outcome: Outcome) -> str:
    """The word of an outcome, as in a table."""
    return outcome.value


def headline(outcome: Outcome) -> str:
    """The word of an outcome, as at the head of a page."""
    return {Outcome.PASS: "Passed", Outcome.FAIL: "Failed", Outcome.UNDECIDED: "Undecided"}[outcome]


def limit(text: str) -> str:
    """A limit's own words, with each number and its unit held together."""
    return re.sub(r"(?<=\d) (?=(?:dB|[kM]?Hz)\b)", THIN, text)


def amount(text: str) -> str:
    """What a limit's own words say behind `at most` or `at least`, in any language: `1.80 dB`."""
    first = re.search(r"[-\u2212]?\d", text)
    return limit(text[first.start() :] if first else text)


def count(amount: int, one: str, many: str) -> str:
    """E.g. `1 characteristic`, `17 characteristics`."""
    return f"{amount} {one if amount == 1 else many}"


def _form(reading: Reading) -> _Form:
    size = abs(reading.value or 0.0)
    if reading.unit != "Hz":
        usual = _Form(reading.unit, 0, 2 if size < 10.0 else 1)
    else:
        usual = _Form("MHz", -6, 4) if size >= 10e6 else _Form("kHz", -3, 1)
    if not reading.u:
        return usual
    # The last place printed is no coarser than U (JCGM 100:2008, 7.2.6), within reason.
    finest = -(_exact(reading.u).scaleb(usual.shift)).adjusted()
    return replace(usual, decimals=max(usual.decimals, min(finest, usual.decimals + 2)))


def _honest(value: Decimal, decimals: int, nearest: Decimal | None, way: str = ROUND_HALF_UP) -> Decimal:
    """Rounded to no fewer than `decimals`, and by clearly less than `nearest`."""
    if nearest is None:
        return _rounded(value, decimals, way)
    for places in range(decimals, MOST_DECIMALS + 1):
        candidate = _rounded(value, places, way)
        # A margin carries the rounding of a subtraction, so that a move of 0.95 of it counts as all of it.
        if candidate == value or abs(candidate - value) < nearest * Decimal("0.95"):
            return candidate
    return value


def _exact(value: float) -> Decimal:
    """The shortest decimal that stands for the float: what a person would write for it."""
    return Decimal(repr(float(value)))


def _rounded(value: Decimal, decimals: int, way: str = ROUND_HALF_UP) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-decimals), way)


def _text(value: Decimal) -> str:
    text = f"{abs(value):f}"
    return f"{MINUS}{text}" if value < 0 else text


def _utc(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError(f"{value.isoformat()} says no time zone, so no certificate can print it")
    return value.astimezone(UTC)
