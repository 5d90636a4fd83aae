"""Errors of the station.

    StationError
    ├── UserMistake               what the user asked for cannot be done; nothing was harmed
    └── StationFault              the station failed, not the unit: there is no verdict
        ├── InstrumentFault       carries instrument, command and what came back
        │   ├── Unreachable       nobody answers at the address, or the line was refused
        │   ├── Silent            no answer in time
        │   ├── Gone              the connection ended in mid-sentence
        │   ├── Garbled           an answer that makes no sense
        │   ├── Refused           the instrument put something into its error queue
        │   └── WrongInstrument   it answers, but is not the one the bench file names
        ├── DoubtfulMeasurement   the sweep itself says that the hook-up is not as it should be
        ├── TimestampFault        the timestamp service does not answer as it should
        └── StoreFault            the database cannot be read or written

A file with mistakes in it is `limits.errors.BadInput`; a PDF or a key that cannot be used is
`reports.errors.ReportError`.
"""

from __future__ import annotations


class StationError(Exception):
    """Anything the station says in one clear message."""


class UserMistake(StationError):
    """What the user asked for cannot be done; the message says what to do instead."""


class StationFault(StationError):
    """The station failed, so nothing is said of the unit."""


class InstrumentFault(StationFault):
    """An instrument did not do what it was asked."""

    def __init__(self, what: str, *, instrument: str, command: str = "", answer: str = "") -> None:
        """`instrument` is its role and address, `answer` the text that came back, as far as it came."""
        parts = [f"{instrument}: {what}"]
        if command:
            parts.append(f"command: {command}")
        if answer:
            parts.append(f"came back: {answer}")
        super().__init__("; ".join(parts))
        self.what = what
        self.instrument = instrument
        self.command = command
        self.answer = answer


class Unreachable(InstrumentFault):
    """Nobody answers at the address, or the line was refused."""


class Silent(InstrumentFault):
    """No answer in time."""


class Gone(InstrumentFault):
    """The connection ended in mid-sentence."""


class Garbled(InstrumentFault):
    """An answer that makes no sense."""


class Refused(InstrumentFault):
    """The instrument put something into its error queue."""


class WrongInstrument(InstrumentFault):
    """It answers, but is not the one the bench file names."""


class DoubtfulMeasurement(StationFault):
    """The sweep itself says that the hook-up is not as it should be."""


class StoreFault(StationFault):
    """The database cannot be read or written."""


class TimestampFault(StationFault):
    """The timestamp service does not answer as it should."""
