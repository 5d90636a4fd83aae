"""How long a works keeps its records. Older ones are told, and stay: what is chained cannot be taken out.

A record lies in a chain in which each holds the digest of the one before it, so that none can go missing unseen; one
that was deleted for its age would look like one that was taken away. So nothing is deleted by itself.
"""

from __future__ import annotations

import re
from datetime import datetime

FOR_EVER = "for ever"
_YEARS = re.compile(r"([1-9][0-9]?) years?")


def years_of(value: object) -> int | None:
    """The years in `10 years`; None for `for ever`. Raises ValueError for anything else."""
    if value == FOR_EVER:
        return None
    found = _YEARS.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise ValueError(f"expected '{FOR_EVER}' or a number of years, like '10 years'")
    return int(found.group(1))


def first_kept(years: int, now: datetime) -> datetime:
    """From when on records are to be kept now."""
    try:
        return now.replace(year=now.year - years)
    except ValueError:
        # The 29th of February, in a year that has none.
        return now.replace(year=now.year - years, day=28)


def sentence(runs: int, years: int) -> str:
    """What is said where so many runs are older than they must be kept."""
    were, they = ("run is", "it stays") if runs == 1 else ("runs are", "they stay")
    return (
        f"{runs} {were} older than the {years} year{'s' * (years > 1)} for which works.yaml keeps records; "
        f"{they}, for nothing is deleted by itself."
    )
