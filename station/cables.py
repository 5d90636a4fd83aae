"""The cables of a bench: how worn each is, and what a person says when one was serviced."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from limits.formwords import suggest
from station.bench.cables import CableForm, Cables
from station.bench.file import Bench
from station.database.matings import CableCount, Service
from station.database.store import Store
from station.errors import UserMistake


@dataclass(frozen=True, slots=True)
class CableState:
    """One cable of the bench file, and what is known of it."""

    name: str
    form: CableForm
    count: CableCount


def states(store: Store, bench: Bench) -> tuple[CableState, ...]:
    """Every cable that the bench file names. Raises UserMistake where it names none."""
    counts = store.cable_counts(bench.name)
    return tuple(
        CableState(name, form, counts.get(name, CableCount())) for name, form in _named(bench).items()
    )


def service(store: Store, bench: Bench, name: str, person: str, why: str, now: datetime) -> Service:
    """Note that a cable was gauged or replaced; it is counted from none again. Raises UserMistake."""
    cables = _named(bench)
    if name not in cables:
        raise UserMistake(f"{bench.source.file} names no cable '{name}'{suggest(name, cables)}")
    if not person.strip():
        raise UserMistake("say who serviced it: --by NAME")
    done = Service(now, person.strip(), why.strip())
    store.keep_service(bench.name, name, done)
    return done


def _named(bench: Bench) -> Cables:
    cables = bench.source.value.cables
    if not cables:
        raise UserMistake(
            f"{bench.source.file} names no cables, so nothing is counted; name them under 'cables', each like "
            "'cable 1: {port: 1, service_after: 500 matings}'"
        )
    return cables
