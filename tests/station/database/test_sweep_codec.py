"""Sweeps as bytes: nothing is lost, and damage is noticed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as nps

from station.database.sweep_codec import decode, encode
from station.errors import StoreFault

POINTS = st.integers(0, 40)
WIDE = st.complex_numbers(allow_nan=False, allow_infinity=False)
NARROW = st.complex_numbers(width=64, allow_nan=False, allow_infinity=False)


@st.composite
def sweeps(draw: st.DrawFn, elements: st.SearchStrategy[complex]):
    points = draw(POINTS)
    freq = draw(nps.arrays(np.float64, points, elements=st.floats(0, 1e12)))
    return freq, draw(nps.arrays(np.complex128, (points, 2, 2), elements=elements))


def measured(points: int = 801, width: type = np.complex128) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    freq = np.linspace(155.3e6, 162.9e6, points)
    smooth = 0.9 * np.exp(-2j * np.pi * freq * 11e-9)
    noise = 1e-5 * (rng.standard_normal((points, 2, 2)) + 1j * rng.standard_normal((points, 2, 2)))
    return freq, (smooth[:, None, None] + noise).astype(width).astype(np.complex128)


@given(sweeps(WIDE))
def test_64_bit_numbers_come_back_to_the_last_bit(sweep):
    freq, s = sweep
    back_freq, back_s = decode(encode(freq, s))
    assert (freq.tobytes(), s.tobytes()) == (back_freq.tobytes(), back_s.tobytes())


@given(sweeps(NARROW))
def test_32_bit_numbers_come_back_to_the_last_bit(sweep):
    freq, s = sweep
    back_freq, back_s = decode(encode(freq, s))
    assert (freq.tobytes(), s.tobytes()) == (back_freq.tobytes(), back_s.tobytes())


def test_values_that_are_no_numbers_come_back_too():
    """The store keeps what the instrument said; to refuse it is the link's and the plausibility check's work."""
    s = np.full((2, 2, 2), complex(float("nan"), float("inf")))
    s[0, 1, 0] = complex(-0.0, 1e-320)
    assert decode(encode(np.array([1.0, 2.0]), s))[1].tobytes() == s.tobytes()


def test_each_parameter_keeps_its_place():
    s = np.arange(8).reshape(2, 2, 2).astype(np.complex128)
    assert np.array_equal(s, decode(encode(np.array([1.0, 2.0]), s))[1])


def test_what_came_in_32_bits_takes_about_half_the_room():
    narrow, wide = (len(encode(*measured(width=width))) for width in (np.complex64, np.complex128))
    assert narrow < 0.6 * wide


def test_evenly_spaced_frequencies_cost_next_to_nothing():
    freq, _ = measured()
    nothing = np.zeros((len(freq), 2, 2), np.complex128)
    assert len(encode(freq, nothing)) < len(freq)


@given(st.data())
def test_a_cut_off_sweep_is_a_fault(data):
    blob = encode(*measured(20))
    with pytest.raises(StoreFault):
        decode(blob[: data.draw(st.integers(0, len(blob) - 1))])


@given(st.data())
def test_one_changed_byte_is_a_fault(data):
    blob = bytearray(encode(*measured(20)))
    place = data.draw(st.integers(0, len(blob) - 1))
    blob[place] ^= data.draw(st.integers(1, 255))
    with pytest.raises(StoreFault):
        decode(bytes(blob))


def test_bytes_after_the_end_are_a_fault():
    with pytest.raises(StoreFault, match="has changed"):
        decode(encode(*measured(20)) + b"\0")


def test_a_later_form_is_named():
    blob = bytearray(encode(*measured(20)))
    blob[2] = 2
    with pytest.raises(StoreFault, match="form 2; this station reads form 1"):
        decode(bytes(blob))


def test_a_sweep_of_another_shape_is_refused():
    with pytest.raises(ValueError, match="not those of a sweep"):
        encode(np.array([1.0]), np.zeros((1, 2, 3), np.complex128))


def test_three_ports_and_what_was_not_measured_come_back():
    s = np.arange(18, dtype=np.complex128).reshape(2, 3, 3) + 0.1j
    s[1, 2, 0] = complex(np.nan, np.nan)
    freq_hz, back = decode(encode(np.array([1e6, 2e6]), s))
    assert freq_hz.tolist() == [1e6, 2e6]
    assert back.tobytes() == s.tobytes()
