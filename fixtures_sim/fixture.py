"""The fixture between the instruments: which device lies on it, how it is cabled, how warm it is.

The hands change it, the instruments look at it. Any three-port that keeps to `device.Device` can lie here.
"""

from __future__ import annotations

import threading
from collections import Counter, deque

from fixtures_sim.cabling import Cabling, Slip
from fixtures_sim.device import PORT_NAMES, Device

COLDEST_C, WARMEST_C = -60.0, 150.0


class Fixture:
    """Holds one device at a time. Each change makes a new Cabling, so whoever looks sees a whole one."""

    def __init__(self, temperature_c: float) -> None:
        self._lock = threading.Lock()
        self._times: Counter[tuple[str, str, str]] = Counter()
        self._slips: deque[Slip] = deque()
        self.cabling = Cabling()
        self.temperature_c = temperature_c

    def place(self, device: Device) -> None:
        """Lay a device down in place of what lay there; the cables hang open until it is hooked up."""
        with self._lock:
            self.cabling = Cabling(device)

    def remove(self) -> None:
        """Take the device away."""
        with self._lock:
            self.cabling = Cabling()

    def hook_up(self, first: str, second: str) -> None:
        """Analyzer port 1 to `first`, port 2 to `second`, a load on what is left.

        Raises ValueError when there is nothing to hook up or no such port.
        """
        for port in (first, second):
            if port not in PORT_NAMES:
                raise ValueError(f"there is no port {port!r}; the ports are {', '.join(PORT_NAMES)}")
        if first == second:
            raise ValueError(f"both cables cannot go to {first}")
        with self._lock:
            device = self.cabling.device
            if device is None:
                raise ValueError("nothing lies on the fixture; place a device first")
            key = (device.label, first, second)
            meant = Cabling(device, first, second, self._times[key])
            self._times[key] += 1
            self.cabling = self._slips.popleft().done_to(self.cabling, meant) if self._slips else meant

    def slip(self, *slips: Slip) -> None:
        """Let each of the next hook-ups go wrong in its way; none lets all go right again."""
        with self._lock:
            self._slips = deque(slips)

    def warm(self, temperature_c: float) -> None:
        """Bring the device to this temperature. Raises ValueError outside -60 to 150 deg C."""
        if not COLDEST_C <= temperature_c <= WARMEST_C:
            raise ValueError(
                f"temperature must lie between {COLDEST_C:g} and {WARMEST_C:g} deg C, not {temperature_c:g}"
            )
        self.temperature_c = temperature_c
