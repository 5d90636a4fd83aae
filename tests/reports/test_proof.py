"""The proof of one record: checked with the works' certificate alone, and nothing in it can be changed."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from reports.canonical import digest_of
from reports.chain import BEGINNING, Entry, Head, Mark, linked
from reports.errors import NotAProof
from reports.proof import Proof, ProofStatus, check, from_text, to_text
from reports.signing import SigningKey, make_key, sign_text

NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


def key_of(name: str) -> SigningKey:
    return SigningKey.load(make_key(name, name, b"salt", NOW - timedelta(days=1), 2), b"salt", NOW)


@pytest.fixture(scope="module")
def key() -> SigningKey:
    return key_of("Skerry Works")


def line(number: int, record: object) -> Entry:
    return Entry("final test 1", number, "run", f"SKV-0101 run {number}", NOW, "", digest_of(record))


@pytest.fixture(scope="module")
def proof(key: SigningKey) -> Proof:
    """Of the third of five lines, the last of which is signed."""
    record = {"unit": "SKV-0101", "reading": [{"value": 1.25, "at_hz": 156800000.0}]}
    lines = [line(number, record if number == 3 else number) for number in range(1, 6)]
    links = [BEGINNING]
    for each in lines:
        links.append(linked(links[-1], each.digest))
    head = Head(Mark("final test 1", 5, links[5]), NOW, b"", key.fingerprint)
    head = replace(head, signature=sign_text(head.text, key, NOW))
    return Proof(record, lines[2], links[2], tuple(each.digest for each in lines[3:]), head)


def test_it_shows_the_record_with_the_works_certificate_alone(proof, key):
    found = check(from_text(to_text(proof)), (key.certificate,))
    assert found.status is ProofStatus.VALID
    assert found.sentence == (
        "Valid: run SKV-0101 run 3 is as it was entered on 25 November 2026, 08:30 UTC (line 3 of final test 1) and "
        "signed for by Skerry Works on 25 November 2026, 08:30 UTC."
    )


def test_a_signer_whom_nobody_knows_is_not_ours(proof):
    assert check(proof, (key_of("Other").certificate,)).status is ProofStatus.UNKNOWN_SIGNER


def leaves(value: object, path: tuple = ()) -> list[tuple]:
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        return [leaf for name, each in items for leaf in leaves(each, (*path, name))]
    return [path]


def changed(value: object) -> object:
    if isinstance(value, str):
        return ("0" if value[:1] != "0" else "1") + value[1:]
    return value + 1


def test_no_field_of_it_can_be_changed(proof, key):
    facts = json.loads(to_text(proof))
    paths = leaves(facts)
    assert len(paths) > 15
    for path in paths:
        altered = json.loads(to_text(proof))
        place = altered
        for name in path[:-1]:
            place = place[name]
        place[path[-1]] = changed(place[path[-1]])
        try:
            found = check(from_text(json.dumps(altered)), (key.certificate,))
        except NotAProof:
            continue
        assert found.status is ProofStatus.ALTERED, path


def test_lines_left_out_or_exchanged_do_not_lead_to_the_signed_link(proof, key):
    first, second = proof.after
    for after in ((), (first,), (second,), (second, first), (first, second, second)):
        assert check(replace(proof, after=after), (key.certificate,)).status is ProofStatus.ALTERED


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"form": 2}', '{"form": 1, "line": []}', "\ufffd"])
def test_any_other_file_is_told_as_none(text):
    with pytest.raises(NotAProof):
        from_text(text)
