"""Certificates with the time of a service over HTTP: its tokens, its outages, and clocks that disagree."""

from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asn1crypto import cms
from reportlab.pdfgen.canvas import Canvas

from fixtures_sim.timestamp_service import Service, running_service
from reports.errors import ClockDoubtful
from reports.verification import Level, Status, Verification
from station import keylist, keyring, settings
from station.errors import TimestampFault
from station.issuing import verify_file
from station.settings import Works
from station.timestamps import sign_for

NOW = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)
SAID = ("Final test", "Holmsund")


class Clock:
    """The service's, which a test may put wrong."""

    now = NOW


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(clock: Clock) -> Iterator[Service]:
    with running_service(lambda: clock.now) as running:
        yield running


@pytest.fixture
def works(tmp_path: Path, service: Service) -> Works:
    made = settings.create(tmp_path / "w", "Skerry Works", ("Quay 3",), "bench: b\n")
    (made.keys / "time.pem").write_bytes(service.root)
    with (made.folder / settings.FILE).open("a") as file:
        file.write(f"timestamp: {{service: '{service.url}/stamp', trusted: keys/time.pem}}\n")
    made = settings.load(made.folder)
    keyring.make_root(made, lambda: "safe", NOW - timedelta(days=9), 20)
    keyring.make_key(made, lambda: "word", NOW - timedelta(days=9), 5, root_passphrase=lambda: "safe")
    return made


@pytest.fixture
def page() -> bytes:
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1)
    canvas.drawString(100, 100, "SKV-0101")
    canvas.save()
    return buffer.getvalue()


def signed_by(works: Works, page: bytes) -> tuple[bytes, str]:
    return sign_for(works, page, keyring.open_key(works, "word", NOW), SAID, NOW)


def checked(works: Works, pdf: bytes, *, knows_time: bool = True) -> Verification:
    path = works.certificates / "c.pdf"
    path.write_bytes(pdf)
    times = (works.keys / "time.pem",) if knows_time else ()
    later = NOW + timedelta(days=3650)
    return verify_file(path, keyring.own_certificates(works), later, keyring.own_lists(works), times)


def strict(works: Works) -> Works:
    assert works.timestamping is not None
    return replace(works, timestamping=replace(works.timestamping, refuse_without=True))


def test_a_certificate_brings_its_time_and_all_to_check_it_by(works: Works, page: bytes) -> None:
    pdf, note = signed_by(works, page)
    found = checked(works, pdf)
    assert (found.status, found.level, found.proven_at, note) == (Status.VALID, Level.LONG_TERM, NOW, "")
    assert found.time_sentence == "Timestamped by Simulated time at 25 November 2026, 15:20 UTC."


def test_a_service_that_nobody_trusts_proves_nothing(works: Works, page: bytes) -> None:
    found = checked(works, signed_by(works, page)[0], knows_time=False)
    assert (found.status, found.level, found.proven_at) == (Status.VALID, Level.BASIC, None)
    assert "not one you trust" in found.time_sentence


def test_a_self_made_key_has_nobody_to_revoke_it_so_its_level_is_b_t(works: Works, page: bytes) -> None:
    for path in (keyring.root_certificate(works), keyring.revoked_list(works)):
        path.unlink()
    keyring.make_key(works, lambda: "word", NOW - timedelta(days=1), 5, renew=True)
    assert checked(works, signed_by(works, page)[0]).level is Level.TIMESTAMPED


def test_what_is_timestamped_outlives_the_theft_of_its_key(works: Works, page: bytes) -> None:
    key = keyring.open_key(works, "word", NOW)
    stamped, _ = signed_by(works, page)
    bare, _ = sign_for(replace(works, timestamping=None), page, key, SAID, NOW)
    keylist.revoke(works, key.fingerprint, "stolen", lambda: "safe", NOW + timedelta(days=1))
    assert checked(works, stamped).status is Status.VALID
    assert checked(works, bare).status is Status.KEY_REVOKED


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("fails", "does not answer: Service Unavailable"),
        ("refuses", "answered 'rejection': not today"),
        ("babbles", "no timestamp"),
        ("answers another", "another question than ours"),
    ],
)
def test_without_a_timestamp_the_works_issues_and_says_so_or_refuses(
    fault: str, said: str, works: Works, page: bytes, service: Service
) -> None:
    service.fault = fault
    pdf, note = signed_by(works, page)
    assert note.startswith("without a timestamp: ") and said in note
    assert (checked(works, pdf).status, checked(works, pdf).level) == (Status.VALID, Level.BASIC)
    with pytest.raises(TimestampFault, match="if_down: issue"):
        signed_by(strict(works), page)


def test_a_service_that_goes_down_between_two_certificates_is_told(
    works: Works, page: bytes, service: Service
) -> None:
    assert signed_by(works, page)[1] == ""
    service.fault = "fails"
    assert "see that the network is there" in signed_by(works, page)[1]


def test_a_works_without_a_network_is_told_within_its_patience(works: Works, page: bytes) -> None:
    assert works.timestamping is not None
    nowhere = replace(works.timestamping, service="http://127.0.0.1:9/stamp")
    _, note = signed_by(replace(works, timestamping=nowhere), page)
    assert "Connection refused" in note


def test_nothing_is_signed_by_a_clock_that_the_service_contradicts(
    works: Works, page: bytes, clock: Clock
) -> None:
    clock.now = NOW + timedelta(hours=2)
    with pytest.raises(ClockDoubtful, match=r"15:20 UTC, the timestamp service .*17:20 UTC; set the clock"):
        signed_by(works, page)


def test_a_timestamp_taken_out_of_the_signature_is_missed(works: Works, page: bytes) -> None:
    pdf, _ = signed_by(works, page)
    begin, end = place_of_signature(pdf)
    signed = cms.ContentInfo.load(bytes.fromhex(pdf[begin:end].decode()))
    del signed["content"]["signer_infos"][0]["unsigned_attrs"]
    bare = signed.dump(force=True).hex().encode().ljust(end - begin, b"0")
    assert checked(works, pdf[:begin] + bare + pdf[end:]).status is Status.ALTERED


def test_openssl_verifies_the_timestamp(
    works: Works, page: bytes, need: Callable[[str], str], tmp_path: Path
) -> None:
    pdf, _ = signed_by(works, page)
    begin, end = place_of_signature(pdf)
    (signer,) = cms.ContentInfo.load(bytes.fromhex(pdf[begin:end].decode()))["content"]["signer_infos"]
    (tmp_path / "token").write_bytes(signer["unsigned_attrs"][0]["values"][0].dump())
    (tmp_path / "stamped").write_bytes(signer["signature"].native)
    command = [need("openssl"), "ts", "-verify", "-token_in", "-in", tmp_path / "token"]
    command += ["-data", tmp_path / "stamped", "-CAfile", works.keys / "time.pem"]
    command += ["-attime", str(int(NOW.timestamp()))]
    assert subprocess.run(command, capture_output=True).returncode == 0
    (tmp_path / "stamped").write_bytes(b"something else")
    assert subprocess.run(command, capture_output=True).returncode == 1


def test_outside_readers_find_the_whole_document_signed_and_sound(
    works: Works, page: bytes, need: Callable[[str], str], tmp_path: Path
) -> None:
    (tmp_path / "c.pdf").write_bytes(signed_by(works, page)[0])
    said = subprocess.run([need("pdfsig"), "-nocert", tmp_path / "c.pdf"], capture_output=True, text=True)
    assert "Signature is Valid." in said.stdout and "Total document signed" in said.stdout
    assert subprocess.run([need("qpdf"), "--check", tmp_path / "c.pdf"], capture_output=True).returncode == 0


def test_openssl_verifies_the_signature_by_the_works_root(
    works: Works, page: bytes, need: Callable[[str], str], tmp_path: Path
) -> None:
    pdf, _ = signed_by(works, page)
    begin, end = place_of_signature(pdf)
    (tmp_path / "content").write_bytes(pdf[: begin - 1] + pdf[end + 1 :])
    (tmp_path / "cms").write_bytes(cms.ContentInfo.load(bytes.fromhex(pdf[begin:end].decode())).dump())
    command = [need("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-in", tmp_path / "cms"]
    command += ["-content", tmp_path / "content", "-CAfile", keyring.root_certificate(works)]
    command += ["-purpose", "any", "-attime", str(int(NOW.timestamp())), "-out", tmp_path / "out"]
    assert subprocess.run(command, capture_output=True).returncode == 0
    (tmp_path / "content").write_bytes(b"something else")
    assert subprocess.run(command, capture_output=True).returncode != 0


def place_of_signature(pdf: bytes) -> tuple[int, int]:
    """Where its hexadecimal digits begin and end."""
    found = re.search(rb"/ByteRange \[0 (\d+) (\d+) \d+", pdf)
    assert found is not None
    return int(found[1]) + 1, int(found[2]) - 1


@pytest.mark.parametrize("service_said", ["time.example", "ftp://time.example"])
def test_a_service_needs_a_web_address(service_said: str, works: Works) -> None:
    from limits.errors import BadInput

    path = works.folder / settings.FILE
    assert works.timestamping is not None
    path.write_text(path.read_text().replace(works.timestamping.service, service_said))
    with pytest.raises(BadInput, match=r"works\.yaml:\d+:\d+.*expected a web address"):
        settings.load(works.folder)
