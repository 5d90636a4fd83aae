"""What was once released is valid for ever, and a kept record still gives the bytes it gave when it was kept.

`form-N.pdf` are signed certificates of every form that was released, each made by the program of its day. None is
ever changed; the next form gets the next number. `record-N.json` are records with the moment of issue and the SHA-256
of the unsigned certificate. When the form changes on purpose, keep a certificate of the form before (the program that
makes it is in the history), then `python tests/archive/records.py` writes the digests anew.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from reports.attached import twin_in
from reports.errors import NoTwin
from reports.twin import schema
from reports.verification import Status
from reports.verifying import certificates, verify

HERE = Path(__file__).parent
RELEASED = yaml.safe_load((HERE / "released.yaml").read_text())
RECORDS = sorted(path.name for path in HERE.glob("record-*.json"))
LATER = datetime(2036, 11, 25, tzinfo=UTC)


@pytest.fixture(scope="module")
def trusted() -> tuple[bytes, ...]:
    return certificates((HERE / "archive.pem").read_bytes())


def test_nothing_in_the_archive_was_changed_or_lost() -> None:
    there = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in HERE.glob("*.pdf")}
    assert there == {name: said["sha256"] for name, said in RELEASED.items()}


@pytest.mark.parametrize("name", RELEASED)
def test_a_released_certificate_verifies_ten_years_later(name: str, trusted: tuple[bytes, ...]) -> None:
    found = verify((HERE / name).read_bytes(), trusted, LATER)
    assert (found.status, found.signer) == (Status.VALID, "Skerry Works archive")


@pytest.mark.parametrize("name", RELEASED)
def test_a_released_certificate_still_says_what_it_said(name: str, text_of: Callable[..., str]) -> None:
    text = text_of((HERE / name).read_bytes())
    for wanted in RELEASED[name]["says"]:
        assert wanted in text


@pytest.mark.parametrize("name", RELEASED)
def test_its_twin_is_still_of_the_form_that_it_names(name: str) -> None:
    pdf = (HERE / name).read_bytes()
    if RELEASED[name]["twin"] is None:
        with pytest.raises(NoTwin):
            twin_in(pdf)
        return
    found = twin_in(pdf)
    assert found.digest == RELEASED[name]["twin"]
    assert list(Draft202012Validator(schema()).iter_errors(found.said)) == []


@pytest.mark.parametrize("name", RECORDS)
def test_a_kept_record_gives_the_bytes_it_gave(
    name: str, made_of: Callable[[Path], tuple[bytes, str]]
) -> None:
    """On any machine with these libraries; of another drawing library the bytes may be others, knowingly."""
    pdf, with_what = made_of(HERE / name)
    said = json.loads((HERE / name).read_text())
    assert hashlib.sha256(pdf).hexdigest() == said["sha256"], (
        f"{name} was kept with {said['made_with']}, and now it is {with_what}; if the change is meant, read the head "
        "of this file"
    )
