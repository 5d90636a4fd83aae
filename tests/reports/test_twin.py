"""The machine-readable twin, judged by an independent validator against the published schema."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker

from limits.verdict import Level, Outcome, Verdict
from reports import wording
from reports.record import UnitRecord
from reports.twin import digest_of, schema, twin

NETWORK = "# Hz S RI R 50\n1.0 0 0 0 0 0 0\n0 0 0 0 0 0\n0 0 0 0 0 0\n"


@pytest.fixture
def validator() -> Draft202012Validator:
    Draft202012Validator.check_schema(schema())
    return Draft202012Validator(schema(), format_checker=FormatChecker())


@pytest.fixture
def told(passing: UnitRecord, issued: datetime) -> dict[str, Any]:
    said: dict[str, Any] = json.loads(twin(replace(passing, network=NETWORK), issued))
    return said


def described(node: Any) -> Iterator[dict[str, Any]]:
    """Every schema inside a schema that says what something is for."""
    for inner in node.get("properties", {}).values():
        yield inner
        yield from described(inner)
    if "items" in node:
        yield from described(node["items"])


def test_every_field_of_the_schema_is_named_and_told() -> None:
    fields = list(described(schema()))
    assert len(fields) > 60
    assert [each for each in fields if not (each.get("title") and each.get("description"))] == []


@pytest.mark.parametrize("name", ["passing", "crowded"])
def test_a_twin_is_of_the_published_form(
    name: str, issued: datetime, request: pytest.FixtureRequest, validator: Draft202012Validator
) -> None:
    record: UnitRecord = request.getfixturevalue(name)
    assert list(validator.iter_errors(json.loads(twin(record, issued)))) == []


def test_the_schema_holds_every_field_to_its_form(
    told: dict[str, Any], validator: Draft202012Validator
) -> None:
    """Without any one field, and with one more, a twin is none."""
    assert validator.is_valid(told)
    for name in told:
        assert not validator.is_valid({key: value for key, value in told.items() if key != name}), name
    assert not validator.is_valid({**told, "more": 1})
    assert not validator.is_valid({**told, "verdict": "fail"})


def test_readings_are_told_as_they_are_kept(passing: UnitRecord, told: dict[str, Any]) -> None:
    judged = passing.verdict.at(Level.SPECIFICATION)
    characteristics = told["characteristics"]
    assert len(characteristics) == len(judged) + len(passing.information)
    for decision, said in zip(judged, characteristics, strict=False):
        assert (said["name"], said["value"]) == (decision.reading.name, decision.reading.value)
        assert said["decision"]["margin"] == decision.margin
        assert said["decision"]["limit"] == decision.limit_text
    assert [said["decision"] for said in characteristics[len(judged) :]] == [None] * len(passing.information)


def test_no_works_limit_is_in_it(passing: UnitRecord, issued: datetime) -> None:
    without = replace(passing, verdict=Verdict(passing.verdict.at(Level.SPECIFICATION)))
    assert twin(passing, issued) == twin(without, issued)


def test_the_network_is_named_by_its_digest(told: dict[str, Any]) -> None:
    assert told["network"] == {"file": "SKV-0107-1.s3p", "sha256": digest_of(NETWORK.encode())}


def test_any_change_of_the_record_changes_the_digest(
    make_record: Callable[..., UnitRecord], issued: datetime
) -> None:
    first = digest_of(twin(make_record(), issued))
    assert first == digest_of(twin(make_record(), issued))
    assert first != digest_of(twin(make_record({"tx_loss": 1.3140000000000003}), issued))
    assert first != digest_of(twin(make_record(serial="SKV-0108"), issued))
    assert first != digest_of(twin(make_record(), issued.replace(second=1)))


def test_printed_numbers_are_those_of_the_twin(passing: UnitRecord, told: dict[str, Any]) -> None:
    """What the page rounds is what the twin holds."""
    for decision, said in zip(passing.verdict.at(Level.SPECIFICATION), told["characteristics"], strict=False):
        again = replace(decision.reading, value=said["value"])
        assert wording.printed(again, [said["decision"]["margin"]]) == wording.judged(decision)
        assert Outcome(said["decision"]["outcome"]) is decision.outcome
