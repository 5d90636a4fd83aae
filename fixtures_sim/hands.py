"""The hands at the bench: they lay devices down, re-cable them, warm them and make things go wrong.

One JSON object a line, answered by one line: `{"ok": true}` or `{"ok": false, "why": "..."}`. No instrument
knows this channel. Kinds of request: place (by model and serial, Touchstone file or specimen), hook up (`ports`, or
`first` and `second`), connect (a calibration `standard` to test `ports`), slip (the next hook-ups go wrong),
remove, temperature, pass time (in `hours`), fault (of the analyzer or of another `instrument`). `{"kind": "none"}`
clears all faults, or slips.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fixtures_sim.cabling import slip_from
from fixtures_sim.checkstandard import CheckStandard
from fixtures_sim.device import Device
from fixtures_sim.faults import Fault, Faults
from fixtures_sim.fixture import Fixture
from fixtures_sim.specimen import combline_pair, load_specimen
from fixtures_sim.units import Defect, build_unit, defect_from

SPECIMENS: Mapping[str, Callable[[], Device]] = {
    "combline pair": combline_pair,
    "check standard": CheckStandard,
}
"""What can be laid down by its name."""


class BadRequest(Exception):
    """A request that cannot be carried out, said in one line."""


class Hands:
    """Carries out requests on the fixture."""

    def __init__(self, fixture: Fixture, faults: Mapping[str, Faults], seed: int) -> None:
        """`faults` of each instrument, the analyzer's among them."""
        self._fixture = fixture
        self._faults = faults
        self._seed = seed
        self._deeds: dict[str, Callable[[Mapping[str, Any]], None]] = {
            "place": self._place,
            "hook up": self._hook_up,
            "connect": self._connect,
            "remove": self._remove,
            "temperature": self._temperature,
            "pass time": self._pass_time,
            "fault": self._fault,
            "slip": self._slip,
        }

    def answer(self, line: bytes) -> bytes:
        """Carry out one line; the answer with its line feed."""
        try:
            self._do(line)
        except BadRequest as error:
            return json.dumps({"ok": False, "why": str(error)}).encode() + b"\n"
        return b'{"ok": true}\n'

    def _do(self, line: bytes) -> None:
        try:
            request = json.loads(line)
        except ValueError as error:
            raise BadRequest(f"not a line of JSON: {error}") from error
        if not isinstance(request, dict):
            raise BadRequest("a request is a JSON object")
        deed = request.pop("do", None)
        if not isinstance(deed, str) or deed not in self._deeds:
            raise BadRequest(f"do not know how to {deed!r}; can do {', '.join(self._deeds)}")
        try:
            self._deeds[deed](request)
        except (ValueError, KeyError, OverflowError) as error:
            raise BadRequest(f"{deed}: {_said(error)}") from error

    def _place(self, request: Mapping[str, Any]) -> None:
        self._fixture.place(self._device(request))

    def _device(self, request: Mapping[str, Any]) -> Device:
        if "touchstone" in request:
            _only(request, "touchstone")
            return load_specimen(Path(_text(request, "touchstone")))
        if "specimen" in request:
            _only(request, "specimen")
            name = _text(request, "specimen")
            if name not in SPECIMENS:
                known = " and ".join(map(repr, SPECIMENS))
                raise ValueError(f"no specimen {name!r}; there is {known}")
            return SPECIMENS[name]()
        _only(request, "model", "serial", "tx_hz", "rx_hz", "defects")
        return build_unit(
            _text(request, "model"),
            _text(request, "serial"),
            _number(request, "tx_hz"),
            _number(request, "rx_hz"),
            self._seed,
            _defects(request.get("defects", [])),
        )

    def _hook_up(self, request: Mapping[str, Any]) -> None:
        if "ports" in request:
            _only(request, "ports")
            self._fixture.hook_up(*_list(request, "ports", str))
            return
        _only(request, "first", "second")
        self._fixture.hook_up(_text(request, "first"), _text(request, "second"))

    def _connect(self, request: Mapping[str, Any]) -> None:
        _only(request, "standard", "ports")
        self._fixture.connect(_text(request, "standard"), *_list(request, "ports", int))

    def _slip(self, request: Mapping[str, Any]) -> None:
        if request.get("kind") == "none":
            self._fixture.slip()
            return
        times = _times(request) if "times" in request else 1
        self._fixture.slip(*[slip_from({k: v for k, v in request.items() if k != "times"})] * times)

    def _remove(self, request: Mapping[str, Any]) -> None:
        _only(request)
        self._fixture.remove()

    def _temperature(self, request: Mapping[str, Any]) -> None:
        _only(request, "celsius")
        self._fixture.warm(_number(request, "celsius"))

    def _pass_time(self, request: Mapping[str, Any]) -> None:
        _only(request, "hours")
        self._fixture.pass_time(_number(request, "hours"))

    def _fault(self, request: Mapping[str, Any]) -> None:
        if request.get("kind") == "none":
            for faults in self._faults.values():
                faults.clear()
            return
        _only(request, "kind", "when", "seconds", "times", "instrument")
        instrument = _text(request, "instrument") if "instrument" in request else "analyzer"
        if instrument not in self._faults:
            raise ValueError(f"there is no {instrument!r}; the instruments are {', '.join(self._faults)}")
        self._faults[instrument].add(_fault_from(request))


def _defects(entries: object) -> tuple[Defect, ...]:
    if not isinstance(entries, list):
        raise ValueError(f"defects must be a list, not {entries!r}")
    for entry in entries:
        if not isinstance(entry, dict):
            raise ValueError(f"a defect is a JSON object, not {entry!r}")
    return tuple(defect_from(entry) for entry in entries)


def _fault_from(request: Mapping[str, Any]) -> Fault:
    given: dict[str, Any] = {"kind": _text(request, "kind")}
    if "when" in request:
        given["when"] = _text(request, "when")
    if "seconds" in request:
        given["seconds"] = _number(request, "seconds")
    if "times" in request:
        given["times"] = _times(request)
    return Fault(**given)


def _times(request: Mapping[str, Any]) -> int:
    times = _number(request, "times")
    if times != round(times):
        raise ValueError(f"times must be a whole number, not {times:g}")
    return round(times)


def _list(request: Mapping[str, Any], key: str, kind: type) -> list[Any]:
    """A list of texts or of whole numbers."""
    values = request[key]
    if not isinstance(values, list) or any(type(value) is not kind for value in values):
        wanted = {str: "texts", int: "whole numbers"}[kind]
        raise ValueError(f"{key} must be a list of {wanted}, not {values!r}")
    return values


def _said(error: Exception) -> str:
    return f"{error.args[0]!r} is missing" if isinstance(error, KeyError) else str(error)


def _only(request: Mapping[str, Any], *known: str) -> None:
    unknown = sorted(set(request) - set(known))
    if unknown:
        raise ValueError(
            f"do not know {', '.join(map(repr, unknown))}; known: {', '.join(known) or 'nothing'}"
        )


def _text(request: Mapping[str, Any], key: str) -> str:
    value = request[key]
    if not isinstance(value, str):
        raise ValueError(f"{key} must be a text, not {value!r}")
    return value


def _number(request: Mapping[str, Any], key: str) -> float:
    value = request[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{key} must be a number, not {value!r}")
    return float(value)
