"""Calibrations in the store: kept whole, found by their station, and part of every run that was corrected by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from station.database.entries import Calibration, CalibrationHead, DocumentKind, StoredText
from station.database.store import Store
from station.measurements.calibration import ErrorTerms
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.standards import Findings, Residual, Step, Use
from station.measurements.sweep import HOOKUPS, Hookup

KIT = StoredText.of(DocumentKind.KIT, "works kit 2", "", b"kit: works kit 2\n")
FILE = StoredText.of(DocumentKind.KIT, "open-7.s1p", "", b"# MHz S RI R 50\n1 1 0\n")


def terms(ports: int, seed: int) -> ErrorTerms:
    rng = np.random.default_rng(seed)
    planes = [rng.normal(size=(5, ports, ports)) + 1j * rng.normal(size=(5, ports, ports)) for _ in range(3)]
    return ErrorTerms(np.linspace(150e6, 170e6, 5), *planes, largest_step_hz=5e6)


def calibration(make: SimpleNamespace, station: str = "final test 1", hours: float = 0.0) -> Calibration:
    head = CalibrationHead(
        station=station,
        operator="Signe",
        made=make.started + timedelta(hours=hours),
        valid_for_s=43_200.0,
        analyzer="Skerry Works,Simulated vector analyzer,1,1.0",
        temperature_c=22.5,
        cables="N, 1.5 m, pair 3",
        kit=KIT,
        kit_files=(FILE,),
        load_return_loss_db=46.0,
    )
    findings = Findings(
        terms={**dict.fromkeys(HOOKUPS, terms(2, 1)), Hookup("TX"): terms(1, 2)},
        residuals=(Residual("directivity", 1, 57.25, 151e6), Residual("reflection", 2, 51.5, 160e6, 1.25)),
        noise=(MeasuredNoise(1e3, -114.2, 0.0021, -120.5), MeasuredNoise(100.0, -124.0, 0.0007)),
    )
    findings = replace(
        findings, loads={"ANT": Load("of ANT", np.linspace(1e8, 2e8, 3), np.array([0.01j, 0, 0.02]), (0, 0))}
    )
    step = Step("short", (1,), Use.CALIBRATE, HOOKUPS[0])
    return Calibration(head, findings, {step: [make.sweep()]})


def test_a_calibration_comes_back_as_it_was(store: Store, make: SimpleNamespace) -> None:
    made = calibration(make)

    number = store.keep_calibration(made)
    found = store.latest_calibration("final test 1")

    assert found is not None
    assert found.calibration_id == number
    assert found.head == made.head
    assert found.findings.residuals == made.findings.residuals
    assert found.findings.noise == made.findings.noise
    assert list(found.findings.terms) == list(made.findings.terms)
    assert found.findings.loads["ANT"].file == "of ANT"
    assert found.findings.loads["ANT"].reflection.tolist() == [0.01j, 0, 0.02]
    for hookup, kept in made.findings.terms.items():
        read = found.findings.terms[hookup]
        assert read.largest_step_hz == kept.largest_step_hz
        for name in ("freq_hz", "leak", "match", "tracking"):
            assert getattr(read, name).tobytes() == getattr(kept, name).tobytes()
    assert found.findings.terms[HOOKUPS[0]] is found.findings.terms[HOOKUPS[1]]


@pytest.mark.parametrize("clock_went_back", [False, True])
def test_the_one_that_was_kept_last_counts_whatever_its_clock_said(
    store: Store, make: SimpleNamespace, *, clock_went_back: bool
) -> None:
    made = [calibration(make, hours=0.0), calibration(make, hours=5.0)]
    if clock_went_back:
        made.reverse()
    for each in made:
        store.keep_calibration(each)
    store.keep_calibration(calibration(make, station="final test 2", hours=9.0))

    found = store.latest_calibration("final test 1")

    assert found is not None
    assert found.head.made == made[1].head.made
    assert store.latest_calibration("final test 3") is None


def test_a_run_knows_what_it_was_corrected_by_whatever_was_made_since(
    store: Store, make: SimpleNamespace
) -> None:
    number = store.keep_calibration(calibration(make))
    key = store.begin(replace(make.head(), calibration=number))
    store.keep_calibration(calibration(make, hours=5.0))

    run = store.run(key.run_id)

    assert run.head.calibration == number
    assert run.calibration is not None
    assert run.calibration.head.made == make.started


def test_a_run_without_one_says_so(store: Store, make: SimpleNamespace) -> None:
    run = store.run(store.begin(make.head()).run_id)
    assert run.head.calibration is None
    assert run.calibration is None
