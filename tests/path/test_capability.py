"""Capability and differences on the command line, from runs that are in the store."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from station.database.entries import DocumentKind, RunHead, StoredText
from station.desk import open_desk
from station.orders import WorkOrder
from station.settings import Works

NOW = datetime(2026, 11, 25, tzinfo=UTC)
COUNT = 20
LOSSES = np.random.default_rng(12).normal(1.4, 0.05, COUNT)


@pytest.fixture
def said(works: Works, station: Callable[..., Any]) -> Callable[..., Any]:
    """The command line of a works with twenty units of SK-V4 judged, half by each of two operators.

    B. Lund reads 0.2 dB more of the receive loss; the isolation of the last unit is only known to be large.
    """
    text = StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", b"recipe\n")
    with open_desk(works.folder) as desk:
        first = desk.store.orders()[0]
        serials = tuple(f"CAP-{number:04d}" for number in range(COUNT))
        desk.store.add_orders(
            [WorkOrder("SKO-900", "Harbour", "SK-V4", first.tx_hz, first.rx_hz, serials, first.due)]
        )
        for number, (serial, loss) in enumerate(zip(serials, LOSSES, strict=True)):
            who = ("A. Vik", "B. Lund")[number % 2]
            bound = Claim.AT_LEAST if number == COUNT - 1 else Claim.VALUE
            readings = [
                Reading("tx_loss", "TX loss", "dB", float(loss)),
                Reading("rx_loss", "RX loss", "dB", float(loss) + 0.2 * (number % 2)),
                Reading("isolation_at_tx", "Isolation", "dB", 80.0 + float(loss), claim=bound),
            ]
            decision = Decision(readings[0], Level.WORKS, "at most 1.65 dB", "simple", Outcome.PASS, 0.1)
            begun = NOW + timedelta(hours=number)
            run = desk.store.begin(RunHead(serial, who, "final test 1", begun, text, text, text, None, ()))
            desk.store.finish(run.run_id, readings, Verdict((decision,)), begun)
    return lambda *words, **more: station(*words, "--works", works.folder, **more)


def test_a_limit_with_one_end_is_judged_by_that_end(said: Callable[..., Any]) -> None:
    """By hand: (limit - mean) / (3 s) of the values that were stored; of the last ones where that is asked."""
    for words, losses in (((), LOSSES), (("--last", "10"), LOSSES[-10:])):
        told = said("capability", "SK-V4", "--characteristic", "tx_loss", "--json", *words)
        for each in json.loads(told.out):
            limit = float(each["limit"].removeprefix("at most ").removesuffix(" dB"))
            found = each["capability"]
            expected = (limit - losses.mean()) / (3 * losses.std(ddof=1))
            assert found["values"] == len(losses)
            assert found["ppk"]["value"] == pytest.approx(expected)
            assert found["ppk"]["low"] < expected < found["ppk"]["high"]
            assert found["pp"] is None
            assert each["stable"] is True


def test_the_table_fits_80_columns_and_says_what_is_left_out(said: Callable[..., Any]) -> None:
    told = said("capability", "SK-V4", env={"COLUMNS": "80"})
    assert (told.code, told.err) == (0, "")
    assert max(map(len, told.out.splitlines())) <= 80
    assert "isolation_at_tx: 1 of 20 units are left out" in " ".join(told.out.split())


def test_an_operator_who_reads_more_is_found_with_how_much(said: Callable[..., Any]) -> None:
    (pair,) = json.loads(said("compare", "SK-V4", "rx_loss", "--by", "operator", "--json").out)["pairs"]
    assert (pair["first"], pair["second"]) == ("A. Vik", "B. Lund")
    assert pair["low"] < -0.2 < pair["high"] < 0
    assert pair["p"] < 1e-3
    told = said("compare", "SK-V4", "tx_loss", env={"COLUMNS": "80"})
    assert (told.code, told.err) == (0, "")
    assert "A. Vik" in told.out


MISTAKES = (
    (("capability", "SK-V5"), "there is no recipe for model 'SK-V5'"),
    (("capability", "SK-V4", "--characteristic", "tx_los"), "has no 'tx_los'; did you mean 'tx_loss'?"),
    (("capability", "SK-U4"), "no unit has a reading of model SK-U4 yet"),
    (("compare", "SK-V4", "tx_los"), "has a reading of 'tx_los'; did you mean 'tx_loss'?"),
    (("compare", "SK-V4", "tx_loss", "--by", "operater"), "units have no 'operater'; did you mean"),
    (("compare", "SK-V4", "tx_loss", "--by", "station"), "there is nothing to compare"),
)


def test_a_mistake_gives_one_message(said: Callable[..., Any]) -> None:
    for words, message in MISTAKES:
        told = said(*words)
        assert told.code == 2
        assert message in " ".join(told.err.split())
