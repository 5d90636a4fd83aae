"""The border to the VISA library: what may go wrong behind it is told in the words of station.errors."""

from __future__ import annotations

import importlib
import pkgutil
import socket
import struct
import time

import pytest
import pyvisa
import pyvisa_py
from pyvisa import errors as visa_errors
from pyvisa import rname
from pyvisa.constants import StatusCode

from station.errors import Garbled, Gone, InstrumentFault, Silent, Unreachable
from station.instruments.link import open_link
from station.instruments.visa import VisaPort, address_mistake, translate
from station.instruments.wire import Stream


@pytest.mark.parametrize(
    "address",
    [
        "nonsense",
        "",
        "TCPIP::127.0.0.1::x::SOCKET",
        "TCPIP::127.0.0.1::INSTR::MORE::SOCKET",
        "TCPIP::no-such-host.invalid::5025::SOCKET",
        "TCPIP::127.0.0.1::INSTR",
        "GPIB0::5::INSTR",
        "USB0::1::2::3::INSTR",
        "ASRL7::INSTR",
        "TCPIP::127.0.0.1::hislip0,x::INSTR",
    ],
)
def test_an_address_that_leads_nowhere_is_told_in_one_clear_line(address):
    """Bad names, and lines whose drivers are not installed or where nobody listens (VXI-11's port mapper)."""
    with open_link(address) as link, pytest.raises(Unreachable) as caught:
        link.identify()
    assert "\n" not in str(caught.value)
    assert address in str(caught.value)


def test_a_port_without_sight_of_its_socket_reads_the_same_answers(bad_on_socket):
    """Other VISA libraries show no socket: then the waiting is done by them alone."""
    answers = {"NAME?": b"one,two\n", "DATA?": b"#15\n2345\n", "LATE?": None}
    manager = pyvisa.ResourceManager("@py")
    resource = manager.open_resource(bad_on_socket(answers.__getitem__).address)
    try:
        wire = Stream(VisaPort(resource))
        assert not wire.stale()
        wire.send(b"NAME?\n", time.monotonic() + 5)
        assert wire.line(time.monotonic() + 5) == b"one,two"
        wire.send(b"DATA?\n", time.monotonic() + 5)
        assert wire.payload(time.monotonic() + 5) == b"\n2345"
        wire.send(b"LATE?\n", time.monotonic() + 5)
        with pytest.raises(visa_errors.VisaIOError) as caught:
            wire.line(time.monotonic() + 0.2)
    finally:
        resource.close()
    assert translate(caught.value)[0] is Silent


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("TCPIP::127.0.0.1::5025::SOCKET", ""),
        ("TCPIP::127.0.0.1::hislip0,4880::INSTR", ""),
        ("GPIB0::5::INSTR", ""),
        ("nonsense", "'nonsense' is no VISA resource name; write it like TCPIP::"),
        ("TCPIP::127.0.0.1::5025:SOCKET", "no name of a device"),
        ("TCPIP::127.0.0.1::http::SOCKET", "'http' is no port"),
        ("TCPIP::127.0.0.1::0::SOCKET", "whole number from 1 to 65535"),
    ],
)
def test_a_mistake_in_an_address_is_told_without_asking_anybody(address, said):
    mistake = address_mistake(address)
    assert said in mistake
    assert bool(said) is bool(mistake)


FOREIGN = [
    (visa_errors.VisaIOError(StatusCode.error_timeout), Silent),
    (visa_errors.VisaIOError(StatusCode.error_connection_lost), Gone),
    (visa_errors.VisaIOError(StatusCode.error_io), Gone),
    (visa_errors.VisaIOError(StatusCode.error_resource_not_found), Unreachable),
    (visa_errors.VisaIOError(StatusCode.error_invalid_resource_name), Unreachable),
    (visa_errors.VisaIOError(StatusCode.error_library_not_found), Unreachable),
    (rname.InvalidResourceName("bad"), Unreachable),
    (visa_errors.InvalidSession(), Gone),
    (visa_errors.InvalidBinaryFormat("bad"), Garbled),
    (TimeoutError(), Silent),
    (ConnectionRefusedError(111, "refused"), Unreachable),
    (socket.gaierror(-2, "unknown"), Unreachable),
    (ConnectionResetError(104, "reset"), Gone),
    (BrokenPipeError(32, "pipe"), Gone),
    (ConnectionAbortedError(103, "aborted"), Gone),
    (EOFError(), Gone),
    (OSError(113, "no route"), Gone),
    (RuntimeError("Connection was dropped by server."), Gone),
    (RuntimeError("protocol synchronization error"), Garbled),
    (AssertionError(), Garbled),
    (UnicodeDecodeError("ascii", b"\xff", 0, 1, "bad"), Garbled),
    (ValueError("bad"), Garbled),
    (struct.error("bad"), Garbled),
    (Exception("could not connect: error_timeout"), Gone),
]


@pytest.mark.parametrize(("foreign", "expected"), FOREIGN, ids=lambda value: repr(value)[:50])
def test_each_foreign_error_has_its_meaning(foreign, expected):
    assert expected is translate(foreign)[0]


@pytest.mark.parametrize("foreign", [foreign for foreign, _ in FOREIGN], ids=repr)
def test_while_the_line_is_opened_every_failure_means_unreachable(foreign):
    assert Unreachable is translate(foreign, opening=True)[0]


def _foreign_classes() -> set[type[Exception]]:
    found: set[type[Exception]] = set()
    for package in (pyvisa, pyvisa_py):
        for info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
            if ".testsuite" in info.name or "__main__" in info.name or ".ctwrapper" in info.name:
                continue
            try:
                module = importlib.import_module(info.name)
            except ImportError:
                continue  # a transport whose own library is not installed here
            found |= {
                thing
                for thing in vars(module).values()
                if isinstance(thing, type)
                and issubclass(thing, Exception)
                and not issubclass(thing, Warning)
                and thing.__module__.startswith(("pyvisa", "pyvisa_py"))
            }
    return found


def _one_of(foreign: type[Exception]) -> Exception:
    for count in range(4):
        try:
            return foreign(*[StatusCode.error_timeout if "VisaIO" in foreign.__name__ else "x"] * count)
        except TypeError:
            continue
    raise AssertionError(f"{foreign} cannot be made")


@pytest.mark.filterwarnings("ignore")
def test_every_exception_class_of_the_libraries_is_translated():
    """Found by looking through the libraries, so that a new version's new class is seen here."""
    classes = _foreign_classes()
    assert {"VisaIOError", "InvalidSession", "RPCError", "OpenError"} <= {each.__name__ for each in classes}
    for foreign in classes:
        kind, what = translate(_one_of(foreign))
        assert issubclass(kind, InstrumentFault)
        assert what
