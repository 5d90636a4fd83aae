"""What lies on the fixture, as the simulated instruments see it: three ports and their S-parameters.

Owned here because the analyzers read it; built units and measured specimens make it.
Imports nothing of the house.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

PORT_NAMES = ("TX", "ANT", "RX")
"""The order of a device's ports in every S-matrix of this room."""

REFERENCE_OHM = 50.0
"""The impedance all S-parameters of this room refer to."""


class Device(Protocol):
    """Anything with ports TX, ANT, RX that can lie on the fixture."""

    @property
    def label(self) -> str:
        """What is written on it, for logs and messages."""
        ...

    def s(self, freq_hz: FloatArray, temperature_c: float) -> ComplexArray:
        """S-parameters in 50 ohm, shape (n, 3, 3), ports in the order TX, ANT, RX.

        `s[:, i, j]` is from port j to port i. Raises ValueError, saying the range, when a frequency lies
        where nothing is known of the device.
        """
        ...
