"""A sweep's numbers as bytes for the store, and back, without losing a bit.

What an analyzer gave in 32 bits is kept in 32 bits, anything finer in 64, so that sweeps judged again years
later give the very readings of the day. Pure: no database, no clock.

The form, version 1: two bytes of mark, version, bytes per real number, number of ports, the number of points
(little-endian, 32 bits), one zlib stream, and the CRC-32 of all that. In the stream lie

- the frequencies, as differences of their 64-bit patterns (nearly constant for evenly spaced points);
- S11, S21, ..., S12, S22, ... as rows of real and imaginary numbers;

each as little-endian numbers with all first bytes first, then all second bytes: exponents lie together and
shrink, which the noise in the last bits never does.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray
from station.errors import StoreFault
from station.measurements.sweep import ComplexArray

VERSION = 1
_MARK = b"SW"
_HEADER = struct.Struct("<2sBBBI")
_CHECK = struct.Struct("<I")
# What is left to squeeze is noise: higher levels save 1 % of the bytes.
_LEVEL = 1


def encode(freq_hz: FloatArray, s: ComplexArray) -> bytes:
    """Pack `freq_hz`, shape (n,), and `s`, shape (n, k, k), as in station.measurements.sweep.Sweep."""
    ports = s.shape[-1]
    if freq_hz.ndim != 1 or s.shape != (len(freq_hz), ports, ports):
        raise ValueError(f"shapes {freq_hz.shape} and {s.shape} are not those of a sweep")
    reals = np.ascontiguousarray(s.transpose(2, 1, 0), dtype="<c16").view("<f8")
    narrow = _narrowed(reals)
    values = reals if narrow is None else narrow
    patterns = np.ascontiguousarray(freq_hz, dtype="<f8").view("<i8")
    body = _shuffled(np.diff(patterns, prepend=np.int64(0))) + _shuffled(values)
    header = _HEADER.pack(_MARK, VERSION, values.itemsize, ports, len(freq_hz))
    packed = header + zlib.compress(body, _LEVEL)
    return packed + _CHECK.pack(zlib.crc32(packed))


def decode(blob: bytes) -> tuple[FloatArray, ComplexArray]:
    """The `freq_hz` and `s` that `encode` was given.

    Raises StoreFault when the bytes are not a whole and sound sweep.
    """
    width, ports, points = _header(blob)
    split = 8 * points
    body = _inflated(blob[_HEADER.size : -_CHECK.size], split + 2 * ports**2 * width * points)
    patterns = np.cumsum(_unshuffled(body[:split], "<i8"), dtype="<i8")
    reals = _unshuffled(body[split:], f"<f{width}").astype("<f8")
    s = reals.view("<c16").reshape(ports, ports, points).transpose(2, 1, 0)
    return patterns.view("<f8").astype(np.float64), np.ascontiguousarray(s, dtype=np.complex128)


def _narrowed(reals: NDArray[np.float64]) -> NDArray[np.float32] | None:
    """The numbers in 32 bits, or None when they would not come back exactly."""
    # Values beyond the range or signalling ones may warn in the cast; the comparison below decides.
    with np.errstate(all="ignore"):
        narrow = reals.astype("<f4")
        back = narrow.astype("<f8")
    return narrow if back.tobytes() == reals.tobytes() else None


def _shuffled(numbers: NDArray[np.generic]) -> bytes:
    return numbers.reshape(-1).view(np.uint8).reshape(-1, numbers.itemsize).T.tobytes()


def _unshuffled(data: bytes, kind: str) -> NDArray[np.generic]:
    width = np.dtype(kind).itemsize
    columns = np.frombuffer(data, np.uint8).reshape(width, -1)
    return np.ascontiguousarray(columns.T).reshape(-1).view(kind)


def _header(blob: bytes) -> tuple[int, int, int]:
    """Bytes per real number, ports, and points."""
    if len(blob) < _HEADER.size + _CHECK.size:
        raise StoreFault(f"a stored sweep is cut off after {len(blob)} bytes")
    mark, version, width, ports, points = _HEADER.unpack_from(blob)
    if mark != _MARK:
        raise StoreFault("a stored sweep does not begin as one; the database was damaged")
    if version != VERSION:
        raise StoreFault(f"a stored sweep is of form {version}; this station reads form {VERSION}")
    (check,) = _CHECK.unpack_from(blob, len(blob) - _CHECK.size)
    if zlib.crc32(blob[: -_CHECK.size]) != check:
        raise StoreFault("a stored sweep has changed since it was written; the database was damaged")
    if width not in (4, 8):
        raise StoreFault(f"a stored sweep claims {width} bytes per number")
    return width, ports, points


def _inflated(data: bytes, size: int) -> bytes:
    inflater = zlib.decompressobj()
    try:
        # One byte more than is due shows a body that is too long; without a bound, damage could fill memory.
        body = inflater.decompress(data, size + 1)
    except zlib.error as error:
        raise StoreFault(f"a stored sweep cannot be unpacked ({error})") from error
    if not inflater.eof or inflater.unused_data or len(body) != size:
        raise StoreFault(f"a stored sweep is not whole: {len(body)} of {size} bytes of numbers")
    return body
