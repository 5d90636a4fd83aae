"""Small joins of S-matrices that are made too often for a whole network each time; tests hold them to scikit-rf."""

from __future__ import annotations

import numpy as np

from fixtures_sim.device import ComplexArray, FloatArray


def joined(s: ComplexArray, port: int, reflection: ComplexArray, through: ComplexArray) -> ComplexArray:
    """`s` with a symmetric two-port joined to one of its ports; the far side of that takes the port's place."""
    loop = 1.0 / (1.0 - reflection * s[:, port, port])
    into = s[:, :, port] * loop[:, None]
    out = s + into[:, :, None] * reflection[:, None, None] * s[:, port, :][:, None, :]
    out[:, :, port] = into * through[:, None]
    out[:, port, :] = s[:, port, :] * (loop * through)[:, None]
    out[:, port, port] = reflection + through**2 * s[:, port, port] * loop
    return np.asarray(out, dtype=np.complex128)


def open_ports(freq_hz: FloatArray, count: int) -> ComplexArray:
    """S between open cable ends, shape (n, count, count)."""
    return np.broadcast_to(np.eye(count, dtype=np.complex128), (len(freq_hz), count, count))
