"""The driver of an RF switch, and an analyzer of two ports behind one: a unit is hooked up once for every pair.

The switch leads the analyzer's ports to a pair of the unit's and terminates the third itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from station.errors import Refused, WrongInstrument
from station.instruments.analyzer import Ability, Analyzer, SweepOrder
from station.instruments.link import Link
from station.instruments.switch_dialect import SwitchDialect
from station.measurements.sweep import WHOLE, Hookup, Port, Sweep


class Switch:
    """One switch box."""

    def __init__(
        self, link: Link, dialect: SwitchDialect, ports: Mapping[Port, str], *, identity: str
    ) -> None:
        """`ports` names the port of the switch that the cable of each of the unit's ports is on."""
        self._link = link
        self._dialect = dialect
        self._ports = ports
        self._identity = identity
        self._identified = False
        self._closed: Hookup | None = None

    def identify(self) -> str:
        """Its answer to `*IDN?`. Raises WrongInstrument when it is not the one the bench file names."""
        answer = self._link.identify()
        for wanted in (self._identity, self._dialect.form.identity):
            if wanted not in answer:
                expected = f"expected a switch whose identity contains {wanted!r}"
                raise self._link.fault(WrongInstrument, expected, "*IDN?", answer, answer)
        self._identified = True
        return answer

    def lead_to(self, pair: Hookup) -> None:
        """Lead analyzer port 1 to the first port of the pair and 2 to the second. Raises InstrumentFault.

        A route that is closed already stays as it is, since contacts wear and never close twice quite alike; but it
        is asked for, since a box that lost its supply in between has all its paths open.
        """
        if not self._identified:
            self.identify()
        places = self._ports[pair.first], self._ports[pair.second]
        asked, expected = self._dialect.check(*places)
        if pair == self._closed and _same(self._link.ask(asked), expected):
            return
        self._closed = None
        _, answer = self._link.order(self._dialect.close(*places), (self._dialect.form.wait, asked))
        if not _same(answer, expected):
            what = f"the route to {pair.name} was not taken; {expected!r} was expected"
            raise self._link.fault(Refused, what, asked, answer)
        self._closed = pair


def _same(answer: str, expected: str) -> bool:
    return answer.replace(" ", "") == expected.replace(" ", "")


class SwitchedAnalyzer:
    """An analyzer (see `Analyzer`) whose ports a switch leads to every pair of a unit that is hooked up once."""

    def __init__(self, analyzer: Analyzer, switch: Switch) -> None:
        self._analyzer = analyzer
        self._switch = switch

    @property
    def ability(self) -> Ability:
        return replace(self._analyzer.ability, cabled=WHOLE)

    def identify(self) -> str:
        """The analyzer's answer to `*IDN?`, and the switch's."""
        return f"{self._analyzer.identify()}; {self._switch.identify()}"

    def sweep(self, order: SweepOrder) -> Sweep:
        """Carry out one order over the route to its pair."""
        self._switch.lead_to(order.hookup)
        return self._analyzer.sweep(order)
