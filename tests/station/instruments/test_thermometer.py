"""The thermometer's driver: one temperature, believed only where a unit at a bench can have it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from station.errors import Garbled, Gone, InstrumentFault, Refused, Silent, Unreachable, WrongInstrument
from station.instruments.link import open_link
from station.instruments.thermometer import BenchThermometer

ASK = "MEAS:TEMP?"
IDENTITY = "Skerry Works,Thermometer,1,1.0"


def answering(reading: bytes | None, error: bytes = b'0,"No error"') -> Callable[[str], bytes | None]:
    """A thermometer that answers the whole order, or only its identity."""

    def answer(message: str) -> bytes | None:
        if message == "*IDN?":
            return IDENTITY.encode() + b"\n"
        if message == "SYST:ERR?":
            return b'0,"No error"\n'
        return reading if not reading else reading + b";" + error + b"\n"

    return answer


def read(address: str, identity: str = "Thermometer") -> float:
    with open_link(address, role="thermometer", patience_s=0.3) as link:
        return BenchThermometer(link, ASK, identity=identity).temperature_c()


def test_a_temperature_is_read_and_the_identity_asked_once(bad) -> None:
    served = bad(answering(b"23.4"))
    with open_link(served.address, role="thermometer") as link:
        thermometer = BenchThermometer(link, ASK, identity="Thermometer")
        assert [thermometer.temperature_c(), thermometer.temperature_c()] == [23.4, 23.4]
        assert thermometer.identify() == IDENTITY
    assert served.heard.count("*IDN?") == 1


@pytest.mark.parametrize("reading", [b"296.5", b"-273.15", b"9.9E37", b"nan", b"inf"])
def test_a_temperature_that_no_unit_has_is_refused(bad, reading: bytes) -> None:
    with pytest.raises(Garbled) as caught:
        read(bad(answering(reading)).address)
    said = str(caught.value)
    assert "thermometer at TCPIP" in said
    assert "a unit at a bench has -20 to 60 °C; look at the sensor, and whether it reads in °C" in said
    assert f"came back: {reading.decode()}" in said


def test_a_word_is_no_temperature(bad) -> None:
    with pytest.raises(Garbled, match=r"this is no temperature; command: MEAS:TEMP\?; came back: warm"):
        read(bad(answering(b"warm")).address)


@pytest.mark.parametrize(
    ("reading", "error", "kind"),
    [
        (None, b'0,"No error"', Silent),
        (b"", b'0,"No error"', Gone),
        (b"23.4", b'-113,"Undefined header"', Refused),
    ],
)
def test_a_thermometer_that_fails_is_a_fault_of_the_station(bad, reading, error, kind) -> None:
    with pytest.raises(kind, match="thermometer at TCPIP") as caught:
        read(bad(answering(reading, error)).address)
    assert isinstance(caught.value, InstrumentFault)


def test_another_instrument_is_not_believed(bad) -> None:
    with pytest.raises(WrongInstrument, match="expected an instrument whose identity contains 'Probe 7'"):
        read(bad(answering(b"23.4")).address, identity="Probe 7")


def test_nobody_at_the_address_is_told(bad_on_socket) -> None:
    with pytest.raises((Unreachable, Gone), match="thermometer at TCPIP"):
        read("TCPIP::127.0.0.1::1::SOCKET")
