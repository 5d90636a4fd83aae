"""A signature over a certificate whose page and data say different things does not make it valid."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pikepdf
import pytest

from reports.certificate import certificate
from reports.record import UnitRecord
from reports.signing import SigningKey, sign
from reports.twin import twin
from reports.verification import Status, Verification
from reports.verifying import verify

NETWORK = "# Hz S RI R 50\n1.0 0 0 0 0 0 0\n0 0 0 0 0 0\n0 0 0 0 0 0\n"


@pytest.fixture
def checked(key: SigningKey, issued: datetime) -> Callable[[bytes], Verification]:
    """Signs a PDF and verifies it as whoever trusts the key."""

    def check(pdf: bytes) -> Verification:
        signed = sign(pdf, key, reason="Final test", location="Northhaven", signed_at=issued)
        return verify(signed, (key.certificate,), issued + timedelta(minutes=1))

    return check


def with_files(pdf: bytes, files: dict[str, bytes]) -> bytes:
    """The PDF with these attached instead."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for name in list(opened.attachments):
            del opened.attachments[name]
        for name, data in files.items():
            opened.attachments[name] = pikepdf.AttachedFileSpec(opened, data, filename=name)
        if not files:
            del opened.Root.Names
        kept = io.BytesIO()
        opened.save(kept)
        return kept.getvalue()


def test_data_that_the_page_names_is_told(
    passing: UnitRecord, issued: datetime, checked: Callable[[bytes], Verification]
) -> None:
    record = replace(passing, network=NETWORK)
    found = checked(certificate(record, issued))
    assert found.status is Status.VALID
    assert found.twin_note.endswith("is what its page names: SKV-0107-1.json and SKV-0107-1.s3p.")


def test_data_with_another_number_than_the_page_is_no_certificate(
    passing: UnitRecord, issued: datetime, checked: Callable[[bytes], Verification]
) -> None:
    other = twin(replace(passing, operator="Somebody Else"), issued)
    found = checked(with_files(certificate(passing, issued), {"SKV-0107-1.json": other}))
    assert (found.intact, found.trusted, found.status) == (True, True, Status.CONTRADICTED)
    assert "its page does not show the digest" in found.sentence


def test_parts_that_do_not_belong_together_are_no_certificate(
    passing: UnitRecord, issued: datetime, checked: Callable[[bytes], Verification]
) -> None:
    pdf = certificate(passing, issued)
    found = checked(with_files(pdf, {"SKV-0107-1.json": twin(passing, issued), "more.txt": b"-"}))
    assert found.status is Status.CONTRADICTED
    assert "more.txt" in found.sentence


def test_one_of_a_form_without_data_is_valid_and_says_so(
    passing: UnitRecord, issued: datetime, checked: Callable[[bytes], Verification]
) -> None:
    found = checked(with_files(certificate(passing, issued), {}))
    assert found.status is Status.VALID
    assert found.twin_note == "It carries no data for programs: the first forms had none."


def test_data_of_a_form_to_come_is_not_held_against_it(
    passing: UnitRecord, issued: datetime, checked: Callable[[bytes], Verification]
) -> None:
    found = checked(with_files(certificate(passing, issued), {"SKV-0107-1.json": b'{"form":"urn:later"}'}))
    assert found.status is Status.VALID
    assert "was not compared" in found.twin_note
