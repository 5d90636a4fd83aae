"""Producer's and consumer's risk of a model's limits on a terminal, and as JSON."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.reading import Reading
from limits.verdict import Level
from reports import wording
from station.cli.asking import out
from station.cli.tables import Column, print_json, say, show
from station.errors import UserMistake

if TYPE_CHECKING:
    from limits.population import CharacteristicRisk, LevelRisk, Specific

ASSUMED = (
    "Assumed: true values and errors of measurement spread normally, without bias. The spread is that of the "
    "readings (latest verdict of each unit) with the measurement's own part left in; U is their median, 2 u. "
    "Bounds are counted and not averaged. Limits and rules are those of the limit table as it is now."
)
MEANT = (
    "Consumer's risk: of all units, those that pass though truly outside. Producer's risk: those that do not pass "
    "though truly inside. Worst: the largest such risk of one unit, from its reading and U alone "
    "(JCGM 106:2012, clauses 7 and 9)."
)
SMALLEST = 1e-6

POPULATION = (
    Column("name", "Characteristic", least=18),
    Column("values", "Units", right=True),
    Column("bounds", "Bounds", right=True),
    Column("mean", "Mean", right=True, least=8),
    Column("sd", "Spread s", right=True, least=8),
    Column("u", "U", right=True, least=6),
)
RISKS = (
    Column("name", "Characteristic", least=18),
    Column("limit", "Limit", least=7),
    Column("consumer", "Consumer", right=True),
    Column("worst_passed", "worst", right=True),
    Column("producer", "Producer", right=True),
    Column("worst_other", "worst", right=True),
)
GUARD = Column("guard", "Guard", right=True, least=8)


def show_risks(
    folder: Path, model: str, characteristic: str | None, at_most: str | None, *, as_json: bool
) -> None:
    """The population of each characteristic, then the risks of each limit, and what speaks against them."""
    from station.desk import open_desk

    wanted = None if at_most is None else _share(at_most)
    with open_desk(folder) as desk:
        found = desk.risks(model, characteristic, wanted)
    if as_json:
        print_json([_facts(each) for each in found], out())
        return
    console = out()
    say(console, f"Readings of model {model}", "bold")
    show([_population(each) for each in found], POPULATION, console, as_json=False)
    for level in Level:
        _show_level(found, level, at_most, console)
    _say_together([(doubt, each.name) for each in found for doubt in each.doubts], len(found), console)
    say(console, MEANT, wrap=True)
    say(console, ASSUMED, wrap=True)


def _show_level(
    found: Sequence[CharacteristicRisk], level: Level, at_most: str | None, console: Console
) -> None:
    limited = [(each, limit) for each in found for limit in each.levels if limit.level is level]
    if limited:
        say(console, f"{level.capitalize()}, {limited[0][1].rule}", "bold")
        columns = RISKS if at_most is None else (*RISKS, GUARD)
        show([_risk_row(*pair) for pair in limited], columns, console, as_json=False)
        if at_most is not None:
            say(
                console,
                f"Guard: the band that keeps the consumer's risk at {at_most.strip()} or below.",
                wrap=True,
            )
    left_out = [
        (f"no risk against the {level}: {limit.why}", each.name) for each, limit in limited if limit.why
    ]
    _say_together(left_out, len(found), console)


def _say_together(told: Sequence[tuple[str, str]], every: int, console: Console) -> None:
    """Each thing once, with all the characteristics it is said of."""
    for what in dict.fromkeys(what for what, _ in told):
        names = [name for other, name in told if other == what]
        whose = "All" if len(names) == every > 1 else ", ".join(names)
        say(console, f"{whose}: {what}.", "yellow", wrap=True)


def _population(each: CharacteristicRisk) -> dict[str, Any]:
    channel = f" from {each.channel}" if each.channel else ""
    mean = _quantity(each, each.mean)
    return {
        "name": each.name,
        "values": each.values,
        "bounds": each.bounds or None,
        "mean": None if mean is None else f"{mean}{channel}",
        "sd": _quantity(each, each.sd),
        "u": _quantity(each, each.u) or "none",
    }


def _risk_row(each: CharacteristicRisk, limit: LevelRisk) -> dict[str, Any]:
    return {
        "name": each.name,
        "limit": limit.limit,
        "consumer": "none told" if limit.why else _percent(limit.risks.consumer if limit.risks else None),
        "worst_passed": _percent(limit.worst_passed.risk if limit.worst_passed else None),
        "producer": _percent(limit.risks.producer if limit.risks else None),
        "worst_other": _percent(limit.worst_other.risk if limit.worst_other else None),
        "guard": _quantity(each, limit.guard),
    }


def _quantity(each: CharacteristicRisk, value: float | None) -> str | None:
    if value is None:
        return None
    return str(wording.printed(Reading(each.name, each.title, each.unit, value, u=each.sd)))


def _percent(share: float | None) -> str | None:
    """Two digits that count; of what is next to nothing only that it is."""
    if share is None:
        return None
    if share < SMALLEST:
        return "< 1 ppm"
    decimals = max(1, min(4, 1 - math.floor(math.log10(100.0 * share))))
    return f"{wording.number(100.0 * share, decimals)} %"


def _share(text: str) -> float:
    """A percentage as a share. Raises UserMistake that shows how one is written."""
    match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*", text)
    share = float(match[1]) / 100.0 if match else 0.0
    if not 0.0 < share < 1.0:
        raise UserMistake(f"--at-most: expected a share above 0 % and below 100 %, like '1 %', got '{text}'")
    return share


def _facts(each: CharacteristicRisk) -> dict[str, Any]:
    levels = [_level_facts(limit) for limit in each.levels]
    return {**asdict(each), "channel": each.channel or None, "levels": levels}


def _level_facts(limit: LevelRisk) -> dict[str, Any]:
    risks = limit.risks
    return {
        "level": limit.level.value,
        "limit": limit.limit,
        "rule": limit.rule,
        "conforming": risks.conforming if risks else None,
        "passing": risks.accepted if risks else None,
        "consumer": risks.consumer if risks else None,
        "consumer_of_passing": risks.consumer_of_accepted if risks else None,
        "producer": risks.producer if risks else None,
        "worst_passed": _specific_facts(limit.worst_passed),
        "worst_other": _specific_facts(limit.worst_other),
        "guard": limit.guard,
        "why": limit.why,
    }


def _specific_facts(worst: Specific | None) -> dict[str, Any] | None:
    return None if worst is None else asdict(worst)
