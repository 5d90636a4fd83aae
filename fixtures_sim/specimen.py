"""Measured data on the fixture: any two- or three-port Touchstone file behaves like a unit.

A `.s3p` has its ports in the order TX, ANT, RX. A `.s2p` lies between TX and ANT, and RX is a matched port that
nothing reaches. Between the points of a file the complex values are interpolated linearly; outside its range
nothing is known and nothing is invented. Temperature does not move a specimen: it was measured once.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from importlib.resources import as_file, files
from io import StringIO
from pathlib import Path

import numpy as np
from skrf.frequency import InvalidFrequencyWarning
from skrf.media import DefinedGammaZ0
from skrf.network import Network

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.duplexer import Line, join

PORTS_BY_SUFFIX = {".s2p": 2, ".s3p": 3}


@dataclass(frozen=True, slots=True, eq=False)
class Specimen:
    """A device known at the points of a file."""

    label: str
    freq_hz: FloatArray
    """Shape (n,), strictly rising."""

    known: ComplexArray
    """Shape (n, 3, 3) in 50 ohm, ports TX, ANT, RX."""

    def s(self, freq_hz: FloatArray, temperature_c: float = 0.0) -> ComplexArray:
        """S-parameters in 50 ohm, shape (n, 3, 3), ports TX, ANT, RX; the frequencies in any order.

        Raises ValueError with the range of the data when a frequency lies outside it.
        """
        low, high = float(self.freq_hz[0]), float(self.freq_hz[-1])
        if freq_hz.size and not (low <= float(freq_hz.min()) and float(freq_hz.max()) <= high):
            raise ValueError(
                f"{self.label} is known from {low / 1e6:.9g} to {high / 1e6:.9g} MHz; asked for "
                f"{freq_hz.min() / 1e6:.9g} to {freq_hz.max() / 1e6:.9g} MHz"
            )
        out = np.empty((freq_hz.size, 3, 3), dtype=np.complex128)
        for to in range(3):
            for source in range(3):
                out[:, to, source] = np.interp(freq_hz, self.freq_hz, self.known[:, to, source])
        return out


def load_specimen(path: Path, label: str | None = None) -> Specimen:
    """The device a Touchstone file describes.

    Raises ValueError naming the file, when it cannot be read or is no two- or three-port.
    """
    network = _read(path)
    known = np.zeros((network.f.size, 3, 3), dtype=np.complex128)
    known[:, : network.nports, : network.nports] = network.s
    return Specimen(label or path.name, np.asarray(network.f, dtype=np.float64), known)


def joined_filters(tx_side: Path, rx_side: Path, label: str | None = None) -> Specimen:
    """Two measured band-pass filters joined at a tee: a three-port with all that is imperfect in real data.

    Port 1 of each file is the radio's, port 2 goes to the tee over the shortest lossless line that makes the
    filter look open there at the middle of the other's pass band.

    Raises ValueError when a file cannot be read, is no two-port, or the two were measured at different points.
    """
    tx, rx = _read_filter(tx_side), _read_filter(rx_side)
    if not np.array_equal(tx.f, rx.f):
        raise ValueError(f"{rx_side}: its frequencies are not those of {tx_side}; the two cannot be joined")
    straight = DefinedGammaZ0(tx.frequency, z0=REFERENCE_OHM).thru()
    joined = join(_with_open(tx, _middle_hz(rx)), straight, _with_open(rx, _middle_hz(tx)))
    name = label or f"{tx_side.stem} with {rx_side.stem}"
    return Specimen(name, np.asarray(joined.f, dtype=np.float64), np.asarray(joined.s, dtype=np.complex128))


def combline_pair() -> Specimen:
    """The two measured combline filters that come with the bench, joined: TX near 1575, RX near 1622 MHz."""
    folder = files("fixtures_sim") / "data"
    with (
        as_file(folder / "combline_e1_cap.s2p") as tx_side,
        as_file(folder / "combline_iridium_cap.s2p") as rx_side,
    ):
        return joined_filters(tx_side, rx_side, "combline pair")


def _read(path: Path) -> Network:
    """A Touchstone file as a network in 50 ohm. Raises ValueError naming the file."""
    ports = PORTS_BY_SUFFIX.get(path.suffix.lower())
    if ports is None:
        raise ValueError(f"{path}: a specimen is a Touchstone file ending in .s2p or .s3p")
    try:
        # A stream of our own, because the reader leaves a file open when its text is bad.
        text = StringIO(path.read_text(encoding="utf-8", errors="replace"))
    except OSError as error:
        raise ValueError(f"{path}: cannot be opened: {error.strerror or error}") from error
    text.name = path.name  # the reader takes the number of ports from the name
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", InvalidFrequencyWarning)  # _check says it, and refuses
            network = Network(text)
    except Exception as error:  # the reader raises whatever the text happens to break
        raise ValueError(f"{path}: is no Touchstone file that can be read: {error}") from error
    _check(network, ports, path)
    network.renormalize(REFERENCE_OHM)
    return network


def _check(network: Network, ports: int, path: Path) -> None:
    if network.nports != ports:
        raise ValueError(f"{path}: holds {network.nports} ports, its name says {ports}")
    if network.f.size < 2 or np.any(np.diff(network.f) <= 0.0):
        raise ValueError(f"{path}: needs two points or more with rising frequencies")
    if not np.all(np.isfinite(network.s)):
        raise ValueError(f"{path}: holds a value that is not a finite number")


def _read_filter(path: Path) -> Network:
    network = _read(path)
    if network.nports != 2:
        raise ValueError(f"{path}: a filter is a two-port; this file has {network.nports} ports")
    return network


def _middle_hz(network: Network) -> float:
    """The middle of the band within 3 dB of the least loss."""
    through = np.abs(network.s[:, 1, 0])
    inside = network.f[through >= through.max() / math.sqrt(2.0)]
    return float(inside[0] + inside[-1]) / 2.0


def _with_open(network: Network, at_hz: float) -> Network:
    """The filter with the line behind port 1 that turns its reflection there into an open at a frequency."""
    line = Line(0.0)
    index = int(np.abs(network.f - at_hz).argmin())
    turn_rad = float(np.angle(network.s[index, 1, 1])) % (2.0 * math.pi)
    length_m = turn_rad / (4.0 * math.pi) * line.wavelength_m(float(network.f[index]))
    media = DefinedGammaZ0(network.frequency, z0=REFERENCE_OHM, gamma=line.gamma(network.f))
    return network ** media.line(length_m, unit="m")
