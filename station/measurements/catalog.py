"""Everything the station can measure, by the name a recipe uses."""

from __future__ import annotations

from station.measurements import reflection, transmission
from station.measurements.measure import Measure

MEASURES: tuple[Measure, ...] = transmission.MEASURES + reflection.MEASURES
