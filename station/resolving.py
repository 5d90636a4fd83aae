"""The way out of an undecided verdict: what to measure better, and then a person who decides and signs for it.

Nothing of the measured verdict is changed. What is signed is a text that names the run and its undecided readings as
they stood, so that neither can be exchanged afterwards without the signature telling so.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from limits.errors import BadInput
from limits.rules import rule_named
from limits.verdict import Decision, Level, Outcome
from limits.yamlfile import read_bytes
from reports import wording
from reports.resolution import Resolution, Ruling
from station.budgets import account
from station.database.entries import StoredRun
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.keyring import own_certificates
from station.ledgers import sign_now_and_then
from station.settings import Works

if TYPE_CHECKING:
    from reports.signing import SigningKey
    from reports.verifying import TextVerification


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person asks to be recorded."""

    ruling: Ruling
    person: str
    why: str
    corrects: int | None = None
    """The number of an earlier decision about the same run that this one corrects."""


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """One undecided reading against one limit, and what would decide it."""

    decision: Decision
    enough_u: float | None
    """The largest U at which the reading would be decided as it stands; None where that is not what is lacking."""

    advice: str
    """What to do, for a person."""

    why_no_u: str = ""
    """Where an uncertainty is lacking: why it was not evaluated."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """Of a run: what is undecided, and what persons made of it."""

    points: tuple[OpenPoint, ...]
    """In the table's order; empty where nothing is undecided."""

    resolutions: tuple[tuple[Resolution, TextVerification], ...]
    """The first one first, each with what its signature is worth; the last one counts."""


def way_out(works: Works, stored: StoredRun) -> WayOut:
    """What a run left undecided, what would decide it, and what persons decided since."""
    return WayOut(
        tuple(_open_point(stored, decision) for decision in _undecided(stored)),
        tuple((each, check_signature(works, stored, each)) for each in stored.resolutions),
    )


def resolve(
    store: Store, stored: StoredRun, wish: Wish, now: datetime, key: Callable[[], SigningKey]
) -> Resolution:
    """Record what a person decided of an undecided run, signed with the works' key.

    `key` is called when nothing else speaks against it. Raises UserMistake where a person may not decide this run.
    """
    from reports.signing import sign_text

    wish = replace(wish, person=" ".join(wish.person.split()), why=" ".join(wish.why.split()))
    _refuse_unsaid(wish)
    store.refuse_resolution(stored.run_id, wish.corrects)
    if wish.ruling is Ruling.RELEASE:
        _refuse_unmeasured(stored)
    opened = key()
    resolution = Resolution(
        number=len(stored.resolutions) + 1,
        ruling=wish.ruling,
        person=wish.person,
        made=now,
        why=wish.why,
        corrects=wish.corrects,
        text="",
        signature=b"",
        fingerprint=opened.fingerprint,
    )
    text = _text(stored, resolution)
    resolution = replace(resolution, text=text, signature=sign_text(text, opened, now))
    store.keep_resolution(stored.run_id, resolution)
    sign_now_and_then(store, opened, now)
    return resolution


def check_signature(works: Works, stored: StoredRun, resolution: Resolution) -> TextVerification:
    """Whether a stored decision is still what was signed, about the run as it is stored now."""
    from reports.verifying import TextVerification, certificates, verify_text

    if resolution.text != _text(stored, resolution):
        return TextVerification(intact=False)
    trusted = tuple(each for file in own_certificates(works) for each in certificates(read_bytes(file)))
    found = verify_text(resolution.text, resolution.signature, trusted, resolution.made)
    return found if found.fingerprint == resolution.fingerprint else replace(found, intact=False)


def refuse_unsigned(works: Works, stored: StoredRun) -> None:
    """Raises StoreFault when the decision that counts is not as it was signed, UserMistake when a stranger signed."""
    resolution = stored.resolution
    if resolution is None:
        return
    found = check_signature(works, stored, resolution)
    what = f"resolution {resolution.number} of run {stored.run_number} of {stored.head.serial}"
    if not found.intact:
        raise StoreFault(f"{what} is not what was signed; the database was changed by hand")
    if not found.trusted:
        raise UserMistake(
            f"{what} is signed by {found.signer}, key {wording.digest(found.fingerprint)}, which this works does not "
            "know; name that signer's certificate under 'trusted' in works.yaml"
        )


def _undecided(stored: StoredRun) -> tuple[Decision, ...]:
    decisions = stored.verdict.decisions if stored.verdict else ()
    return tuple(decision for decision in decisions if decision.outcome is Outcome.UNDECIDED)


def _open_point(stored: StoredRun, decision: Decision) -> OpenPoint:
    reading, margin = decision.reading, decision.margin
    if reading.value is None or margin is None:
        return OpenPoint(decision, None, f"measure it: {reading.note or 'there is no reading'}")
    if reading.u is None:
        return OpenPoint(decision, None, "have its U evaluated", _why_no_u(stored, reading.name))
    enough = rule_named(decision.rule).enough_u(margin)
    if enough == 0.0:
        return OpenPoint(decision, enough, "it lies on its limit, so no better measurement decides it")
    needed = wording.smaller_uncertainty(reading, enough)
    then = "passes" if margin > 0.0 else "fails"
    return OpenPoint(decision, enough, f"measure better: as it reads it {then} once U is below {needed}")


def _why_no_u(stored: StoredRun, name: str) -> str:
    try:
        account(stored, name)
    except (UserMistake, BadInput) as error:
        return str(error)
    return f"the uncertainty of '{name}' was not evaluated"


def _refuse_unsaid(wish: Wish) -> None:
    if not wish.person:
        raise UserMistake("a decision needs a name: say who decides with --by NAME")
    if not wish.why:
        raise UserMistake("a decision needs a reason that others can follow: say it with --why")
    for option, text in (("--by", wish.person), ("--why", wish.why)):
        if not text.isprintable():
            raise UserMistake(f"{option} holds a character that cannot be printed; leave it out")


def _refuse_unmeasured(stored: StoredRun) -> None:
    """What was never measured cannot be released: a certificate would have nothing to say of it."""
    name = f"run {stored.run_number} of {stored.head.serial}"
    if stored.verdict is None or not stored.verdict.at(Level.SPECIFICATION):
        raise UserMistake(f"{name} judged nothing that the customer was promised, so nothing can be released")
    missing = dict.fromkeys(each.reading.title for each in _undecided(stored) if each.reading.value is None)
    if missing:
        raise UserMistake(
            f"{name} cannot be released: there is no reading of {', '.join(missing)}; "
            "test the unit again, or reject it"
        )


def _text(stored: StoredRun, resolution: Resolution) -> str:
    """What is signed: JSON in one form only, so that the same record gives the same text for ever.

    Form 1. Whoever changes it must keep this one for what was signed in it.
    """
    head, before = stored.head, resolution.corrects
    facts = {
        "form": 1,
        "serial": head.serial,
        "order": stored.order.number,
        "run": stored.run_number,
        "started": _moment(head.started),
        "recipe": head.recipe.digest,
        "limit table": head.limits.digest,
        "bench": head.bench.digest,
        "verdict": Outcome.UNDECIDED.value,
        "undecided": [_reading_facts(decision) for decision in _undecided(stored)],
        "resolution": resolution.number,
        "corrects": None if before is None else _digest(stored.resolutions[before - 1]),
        "ruling": resolution.ruling.value,
        "by": resolution.person,
        "made": _moment(resolution.made),
        "why": resolution.why,
        "key": resolution.fingerprint,
    }
    return json.dumps(facts, ensure_ascii=False, indent=1)


def _reading_facts(decision: Decision) -> dict[str, object]:
    reading = decision.reading
    return {
        "name": reading.name,
        "value": reading.value,
        "unit": reading.unit,
        "U": reading.u,
        "claim": reading.claim.value,
        "level": decision.level.value,
        "limit": decision.limit_text,
        "rule": decision.rule,
        "margin": decision.margin,
    }


def _digest(earlier: Resolution) -> dict[str, object]:
    return {"resolution": earlier.number, "sha256": hashlib.sha256(earlier.text.encode()).hexdigest()}


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()
