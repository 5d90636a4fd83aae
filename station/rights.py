"""Who may do what: one table of acts and roles, which the code, its refusals and the README share.

A person may have several roles. Where nobody is registered there are no rights to ask for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What somebody does in the works."""

    OPERATOR = "operator"
    TECHNICIAN = "technician"
    QUALITY = "quality"
    ADMINISTRATOR = "administrator"

    @property
    def person(self) -> str:
        """Somebody who has it: `an operator`, `a quality engineer`."""
        return {
            Role.OPERATOR: "an operator",
            Role.TECHNICIAN: "a technician",
            Role.QUALITY: "a quality engineer",
            Role.ADMINISTRATOR: "an administrator",
        }[self]


class Act(StrEnum):
    """What only somebody with the right may do."""

    TEST = "test"
    CALIBRATE = "calibrate"
    STANDARD = "standard"
    SERVICE = "service"
    ORDERS = "orders"
    CERTIFY = "certify"
    REWORK = "rework"
    SCRAP = "scrap"
    RELEASE = "release"
    RESOLVE = "resolve"
    ACCEPT = "accept"
    APPROVE = "approve"
    KEYS = "keys"
    PEOPLE = "people"
    PIN = "pin"


@dataclass(frozen=True, slots=True)
class Right:
    """One row of the table."""

    words: str
    """What it is, as in `may not ...`."""

    roles: tuple[Role, ...]
    """Any of them is enough."""


EVERYBODY = tuple(Role)

RIGHTS: dict[Act, Right] = {
    Act.TEST: Right("test a unit", EVERYBODY),
    Act.CALIBRATE: Right("calibrate the bench", EVERYBODY),
    Act.STANDARD: Right("measure the check standard", EVERYBODY),
    Act.SERVICE: Right("say that a cable was serviced", EVERYBODY),
    Act.ORDERS: Right("take in work orders", EVERYBODY),
    Act.CERTIFY: Right("issue a certificate or failure sheet", EVERYBODY),
    Act.REWORK: Right("record a rework", (Role.TECHNICIAN,)),
    Act.SCRAP: Right("scrap a unit", (Role.QUALITY,)),
    Act.RELEASE: Right("release a unit", (Role.QUALITY,)),
    Act.RESOLVE: Right("decide an undecided unit", (Role.QUALITY,)),
    Act.ACCEPT: Right("begin the check standard's history anew", (Role.QUALITY,)),
    Act.APPROVE: Right("approve a recipe or limit table", (Role.QUALITY,)),
    Act.PIN: Right("set a PIN of one's own", EVERYBODY),
    Act.KEYS: Right("make, renew or revoke a key", (Role.ADMINISTRATOR,)),
    Act.PEOPLE: Right("register, change or retire people, or set their PIN", (Role.ADMINISTRATOR,)),
}


def may(roles: Iterable[Role], act: Act) -> bool:
    """Whether somebody with these roles may do it."""
    return not set(RIGHTS[act].roles).isdisjoint(roles)


def who_may(act: Act) -> str:
    """Who may do it: `a quality engineer`, `an operator or a technician`."""
    *others, last = (role.person for role in RIGHTS[act].roles)
    return f"{', '.join(others)} or {last}" if others else last
