"""The check standard in a bench file: what proves at the start of a shift that the station measures right.

check_standard:              # optional: without it nothing is checked, and `station standard` says so
  serial: SKC-001            # its known values are in standards/SKC-001.yaml
  recipe: CHECK              # recipes/CHECK.yaml, without a limit table
  every: 12 h                # how old the last check may be when a unit is tested
  limits_from: 10            # checks from which on its own history sets limits as well
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from limits.quantity import FileName, Seconds, Whole
from limits.yamlfile import Form

FEWEST_CHECKS = 5
"""From which on a history may set limits: of fewer the mean moving range is known to a half only."""


MOST_CHECKS = 100
"""What a history must reach at most, well within what is looked at of it."""


class CheckStandardForm(Form):
    """Which standard is measured, how, and how often."""

    serial: FileName
    """Also the name of the file of its known values."""

    recipe: FileName = "CHECK"
    every: Annotated[Seconds, Field(gt=0)]
    limits_from: Annotated[Whole, Field(ge=FEWEST_CHECKS, le=MOST_CHECKS)] = 10
