"""One run has one document: made once, found again, never replaced, and only of the latest verdict."""

from __future__ import annotations

import pytest

from fixtures_sim.server import Bench
from fixtures_sim.units import build_unit, defect_from
from limits.verdict import Outcome
from station.desk import open_desk
from station.errors import StoreFault, UserMistake
from station.issuing import Issued
from station.keyring import open_key
from station.settings import Works


def certify(works: Works, serial: str, run: int | None = None) -> Issued:
    with open_desk(works.folder) as desk:
        return desk.certify(serial, run, lambda: open_key(works, "salt-water-9", desk.clock()))


def run_once(works: Works, hands) -> Outcome:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        return bench.test("SKV-0001").verdict.outcome


def spoil(simulated: Bench) -> None:
    bad = (defect_from({"kind": "pass off", "cavity": 1, "khz": 200}),)
    simulated.place(build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, bad))


def test_a_certificate_asked_for_twice_is_the_same_file(works: Works, hands) -> None:
    run_once(works, hands)
    first, second = certify(works, "SKV-0001"), certify(works, "SKV-0001")
    assert (first.is_new, second.is_new) == (True, False)
    assert first.entry == second.entry
    assert first.path == second.path
    with open_desk(works.folder) as desk:
        assert len(desk.history("SKV-0001").certificates) == 1


def test_a_certificate_that_was_lost_or_altered_is_not_quietly_made_anew(works: Works, hands) -> None:
    run_once(works, hands)
    issued = certify(works, "SKV-0001")
    issued.path.write_bytes(issued.path.read_bytes() + b"\n")
    with pytest.raises(StoreFault, match="missing or altered"):
        certify(works, "SKV-0001")
    issued.path.unlink()
    with pytest.raises(StoreFault, match="put it back from your backup"):
        certify(works, "SKV-0001")


def test_a_pass_that_a_later_failure_has_overtaken_gets_no_certificate(
    works: Works, hands, simulated: Bench
) -> None:
    assert run_once(works, hands) is Outcome.PASS
    spoil(simulated)
    assert run_once(works, hands) is Outcome.FAIL
    with pytest.raises(UserMistake, match="run 1 of SKV-0001 passed, but run 2 after it says fail"):
        certify(works, "SKV-0001", 1)
    assert certify(works, "SKV-0001").path.name == "SKV-0001-2 failure sheet.pdf"
