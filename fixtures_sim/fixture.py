"""The fixture between the instruments: which device lies on it, how it is cabled, how warm it is.

The hands change it, the instruments look at it through its test ports, the ends of the cables. Any three-port
that keeps to `device.Device` can lie here.
"""

from __future__ import annotations

import math
import threading
from collections import Counter, deque
from dataclasses import replace

from fixtures_sim.cabling import Cabling, Slip
from fixtures_sim.connections import Connectors, Joint, joint
from fixtures_sim.device import PORT_NAMES, Device
from fixtures_sim.standards import DEFINITION, Kit, connection

COLDEST_C, WARMEST_C = -60.0, 150.0


class Fixture:
    """Holds one device at a time. Each change makes a new Cabling, so whoever looks sees a whole one."""

    def __init__(
        self,
        temperature_c: float,
        *,
        test_ports: int = 2,
        kit: Kit = DEFINITION,
        connectors: Connectors | None = None,
        seed: int = 0,
    ) -> None:
        self._lock = threading.Lock()
        self._times: Counter[tuple[str, str]] = Counter()
        self._slips: deque[Slip] = deque()
        self._kit = kit
        self._connectors = connectors
        self._seed = seed
        self.test_ports = test_ports
        self.cabling = Cabling()
        self.temperature_c = temperature_c
        self.hours = 0.0
        """Since the bench was switched on and warm: what its sweeps took, and what the hands let pass."""

    def place(self, device: Device) -> None:
        """Lay a device down in place of what lay there; the cables hang open until it is hooked up."""
        with self._lock:
            self.cabling = Cabling(device)

    def remove(self) -> None:
        """Take the device away; the cables hang open."""
        with self._lock:
            self.cabling = Cabling()

    def hook_up(self, *ports: str) -> None:
        """Test port 1 to the first of the device's `ports`, 2 to the second and so on, loads on what is left.

        Test ports beyond those hang open. Raises ValueError when there is nothing to hook up or no such port.
        """
        self._check(ports)
        with self._lock:
            device = self.cabling.device
            if device is None:
                raise ValueError("nothing lies on the fixture; place a device first")
            meant = Cabling(device, ports)
            joints = self._joints(device.label, meant)
            meant = replace(meant, repeat=self._repeat(device.label, meant.name), joints=joints)
            self.cabling = self._slips.popleft().done_to(self.cabling, meant) if self._slips else meant

    def connect(self, standard: str, *test_ports: int) -> None:
        """A calibration standard on one test port, or between two; see `standards.STANDARDS`.

        The other test ports hang open, and the device stays where it lies. Raises ValueError.
        """
        joined = connection(self._kit, standard, test_ports, self.test_ports)
        with self._lock:
            self.cabling = Cabling(
                self.cabling.device,
                standard=joined,
                repeat=self._repeat("", joined.name),
                joints={str(port): self._joint("", f"{standard} on cable {port}") for port in test_ports}
                if self._connectors
                else {},
            )

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

    def pass_time(self, hours: float) -> None:
        """Let time pass, for whatever drifts. Raises ValueError for less than none, or for no end."""
        if not (math.isfinite(hours) and hours >= 0.0):
            raise ValueError(f"hours that pass are a finite number, at least 0, not {hours:g}")
        with self._lock:
            self.hours += hours

    def _check(self, ports: tuple[str, ...]) -> None:
        if not 1 <= len(ports) <= self.test_ports:
            raise ValueError(f"the fixture has {self.test_ports} test ports, not {len(ports)}")
        for place, port in enumerate(ports):
            if port not in PORT_NAMES:
                raise ValueError(f"there is no port {port!r}; the ports are {', '.join(PORT_NAMES)}")
            if port in ports[:place]:
                raise ValueError(f"both cables cannot go to {port}")

    def _joints(self, label: str, meant: Cabling) -> dict[str, Joint]:
        """Each connection of a hook-up: those that stay as they are, and the new ones.

        The same hook-up again is all made anew: somebody looked, and tightened.
        """
        if self._connectors is None:
            return {}
        before, after = self.cabling.on_ports, meant.on_ports
        stays = self.cabling.joints if self.cabling.connected and before != after else {}
        return {
            port: stays[port]
            if port in stays and before[port] == what
            else self._joint(label, f"{what} on {port}")
            for port, what in after.items()
        }

    def _joint(self, label: str, what: str) -> Joint:
        figures = self._connectors or Connectors()
        cable = "cable" in what
        return joint(figures, self._seed, f"{label}: {what}", self._repeat(label, what), cable=cable)

    def _repeat(self, label: str, name: str) -> int:
        """How often the same was connected in this way before; one more from now on."""
        before = self._times[label, name]
        self._times[label, name] += 1
        return before
