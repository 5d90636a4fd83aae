"""Every kind of limit, by the key it has in a table."""

from __future__ import annotations

from dataclasses import dataclass

from limits.kinds.at_least import AtLeast
from limits.kinds.at_most import AtMost
from limits.kinds.between import Between
from limits.kinds.bound import Bound
from limits.kinds.mask import Mask


@dataclass(frozen=True, slots=True)
class Kind:
    """One row of the catalogue."""

    key: str
    """As written in a limit table."""

    bound: type[Bound]
    """A pydantic form that is also a Bound."""


KINDS: tuple[Kind, ...] = (
    Kind("at_most", AtMost),
    Kind("at_least", AtLeast),
    Kind("between", Between),
    Kind("mask", Mask),
)
