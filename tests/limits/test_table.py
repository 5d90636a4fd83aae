"""The limit table: every mistake at once, what does not fit a recipe, and the tables that ship."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import pytest
import yaml

import limits
from limits.quantity import Channels
from limits.table import LimitRow, LimitTable, load, misfits, schema
from limits.verdict import Level

TABLES = sorted((Path(limits.__file__).parent / "tables").glob("*.yaml"))
DB = ("tx_loss", "tx_loss_band", "rx_loss", "rx_loss_band", "tx_ripple", "rx_ripple", "isolation_at_tx",
      "isolation_at_rx", "isolation_window", "tx_return_loss", "rx_return_loss", "ant_return_loss_tx",
      "ant_return_loss_rx", "tx_notch_depth", "rx_notch_depth")  # fmt: skip
HZ = ("tx_notch_frequency", "rx_notch_frequency", "tx_match_bandwidth", "rx_match_bandwidth")

MakeTable = Callable[[str], LimitTable]
Mistakes = Callable[[Callable[[], object]], list[str]]


@dataclass(frozen=True)
class Measured:
    """As a recipe tells the table what it measures."""

    unit: str
    is_curve: bool = False


ALL = {name: Measured("dB") for name in DB} | {name: Measured("Hz") for name in HZ}


def test_a_table_keeps_its_words_rows_text_and_digest(tmp_path: Path) -> None:
    text = (
        "limit_table: SK-V4\nrevision: 010\nmodel: SK-V4\ndecision_rule: simple acceptance\n"
        "limits:\n  b: {works: {at_most: 1.5 dB}, specification: {at_most: 1.7 dB}}\n  a: {works: {at_least: 1 dB}}\n"
    )
    path = tmp_path / "SK-V4.yaml"
    path.write_text(text)
    table = load(path)
    assert (table.name, table.revision, table.model, table.rules[Level.WORKS].name) == (
        "SK-V4", "010", "SK-V4", "simple acceptance",
    )  # fmt: skip
    assert [(row.name, [level for level, _ in row.bounds]) for row in table.rows] == [
        ("b", [Level.SPECIFICATION, Level.WORKS]),
        ("a", [Level.WORKS]),
    ]
    assert (table.text, table.source.digest) == (text, hashlib.sha256(text.encode()).hexdigest())


def test_every_mistake_of_a_table_is_told_at_once(mistakes: Mistakes, table_file: MakeTable) -> None:
    text = (
        "limit_tabel: SK-V4\n"
        "revision: no\n"
        "model: SK-V4\n"
        "decision_rule: simple aceptance\n"
        "limits:\n"
        "  TX: {works: {at_most: 1 dB}}\n"
        "  a: {}\n"
        "  b: {works: {}}\n"
        "  c: {works: {at_most: 2 dB, at_least: 1 dB}}\n"
        "  d: {works: {at_mots: 1 dB}}\n"
        "  e:\n"
        "    specification: {at_most: 1.5 dB}\n"
        "    works: {at_most: 1.6 dB}\n"
        "  f: {spec: {at_most: 1 dB}}\n"
        "  g:\n"
        "    works:\n"
        "      at_most: 1,5 dB\n"
        "  h: {works: {mask: [{over: tx, at_least: 70 dB}, {over: rx ± 1 kHz}, {over: rx ± 1 kHz, at_most: 5 Hz}]}}\n"
        "  i: {works: {between: 157.05 mHz to 158 MHz}}\n"
        "  j: {specification: {at_most: 1 dB}, works: {at_most: 1 kHz}}\n"
        "  k: {works: {at_most: 1.5 dB}}\n"
        "  k: {works: {at_most: 1.5 dB}}\n"
        "  l: {works: {mask: []}}\n"
    )
    assert mistakes(lambda: table_file(text)) == [
        "T.yaml:1:1: 'limit_table' is missing here",
        "T.yaml:1:1: unknown key 'limit_tabel'; did you mean 'limit_table'?",
        "T.yaml:4:16: unknown decision rule 'simple aceptance'; did you mean 'simple acceptance'?",
        "T.yaml:6:3: 'TX' is no name of a characteristic: small letters, digits and '_', like 'tx_loss'",
        "T.yaml:7:3: no limit is given; write 'specification', 'works' or both",
        "T.yaml:8:7: a limit is one of at_most, at_least, between, mask; this has none",
        "T.yaml:9:7: a limit is one of at_most, at_least, between, mask; this has at_most and at_least",
        "T.yaml:10:15: unknown key 'at_mots'; did you mean 'at_most'?",
        "T.yaml:13:5: the works limit is looser than the specification; tighten it",
        "T.yaml:14:7: unknown key 'spec'; did you mean 'specification'?",
        "T.yaml:17:16: a comma in the number '1,5 dB'; write 1.5 dB",
        "T.yaml:18:29: expected a span like 'tx ± 12.5 kHz' or 'low - 2.5 MHz to high + 2.5 MHz', got 'tx'",
        "T.yaml:18:51: a stretch of a mask has either 'at_least' or 'at_most'",
        "T.yaml:18:99: a mask is in dB, got '5 Hz'",
        "T.yaml:19:24: 'mHz' in '157.05 mHz' means millihertz; did you mean 'MHz'?",
        "T.yaml:20:39: the works limit is of another sort than the specification; use the same kind and unit",
        "T.yaml:22:3: 'k' is written twice; the first is on line 21",
        "T.yaml:23:15: expected 1 or more entries, got none",
    ]


def test_a_table_without_limits_is_refused(
    mistakes: Mistakes, table: MakeTable, table_file: MakeTable
) -> None:
    head = "limit_table: T\nrevision: A\nmodel: M\ndecision_rule: simple acceptance\n"
    assert mistakes(lambda: table_file(head)) == ["T.yaml:1:1: 'limits' is missing here"]
    assert mistakes(lambda: table("")) == ["T.yaml:5:1: 'limits' has no value; write one, or remove it"]


def test_a_table_that_does_not_fit_what_is_measured_says_where(table: MakeTable) -> None:
    limit_table = table(
        "  tx_los: {works: {at_most: 1.5 dB}}\n"
        "  zzz: {works: {at_most: 1.5 dB}}\n"
        "  tx_loss:\n"
        "    specification: {at_most: 2 kHz}\n"
        "    works: {at_most: 1 kHz}\n"
        "  rx_loss: {works: {mask: [{over: tx ± 1 kHz, at_most: 1 dB}]}}\n"
        "  isolation: {works: {at_least: 75 dB}}\n"
        "  ripple: {works: {at_most: 0.2 dB}}\n"
    )
    measured = {
        "tx_loss": Measured("dB"),
        "rx_loss": Measured("dB"),
        "isolation": Measured("dB", is_curve=True),
        "ripple": Measured("dB"),
        "not_judged": Measured("Hz"),
    }
    assert [str(mistake) for mistake in misfits(limit_table, measured)] == [
        "T.yaml:6:3: a limit for 'tx_los', which is not measured; did you mean 'tx_loss'?",
        "T.yaml:7:3: a limit for 'zzz', which is not measured; measured are "
        "tx_loss, rx_loss, isolation, ripple, not_judged",
        "T.yaml:9:5: the limit is in Hz, but 'tx_loss' is measured in dB",
        "T.yaml:10:5: the limit is in Hz, but 'tx_loss' is measured in dB",
        "T.yaml:11:13: 'rx_loss' is measured as one number; 'mask' is for curves",
        "T.yaml:12:15: 'isolation' is measured as a curve; use 'mask'",
    ]


def test_a_table_bears_the_name_of_its_file(mistakes: Mistakes, table_file: MakeTable) -> None:
    """A table is found by its file, and told of by its name: one of another name would be quoted wrongly."""
    good = "revision: A\nmodel: M\ndecision_rule: simple acceptance\nlimits: {a: {works: {at_most: 1 dB}}}\n"
    assert table_file("limit_table: T\n" + good).name == "T"
    assert mistakes(lambda: table_file("limit_table: OTHER\n" + good)) == [
        "T.yaml:1:14: the table is called 'OTHER', but its file 'T.yaml'; make the two the same"
    ]


def test_the_name_and_the_model_cannot_lead_out_of_the_folder(
    mistakes: Mistakes, table_file: MakeTable
) -> None:
    text = (
        "limit_table: ../T\nrevision: A\nmodel: .M\ndecision_rule: simple acceptance\n"
        "limits: {a: {works: {at_most: 1 dB}}}\n"
    )
    said = "names a file, so it has no '/' or '\\' and does not begin with a '.'"
    assert mistakes(lambda: table_file(text)) == [f"T.yaml:1:14: '../T' {said}", f"T.yaml:3:8: '.M' {said}"]


def test_what_crosses_for_an_order_is_told_for_that_order_with_its_place(
    table: MakeTable, channels: Channels
) -> None:
    limit_table = table(
        "  notch:\n"
        "    specification:\n"
        "      between: low + 400 kHz to high - 400 kHz\n"
        "  isolation: {works: {mask: [{over: tx ± 1 kHz, at_least: 70 dB}, {over: 157 MHz to tx, at_least: 7 dB}]}}\n"
        "  loss: {works: {at_most: 1.5 dB}}\n"
    )
    said = "does not rise for TX 156.45 MHz and RX 157.05 MHz: it would run from"
    assert [str(mistake) for mistake in limit_table.mistakes(channels)] == [
        f"T.yaml:8:16: 'low + 400 kHz to high - 400 kHz' {said} 156.85 MHz to 156.65 MHz",
        f"T.yaml:9:74: '157 MHz to tx' {said} 157 MHz to 156.45 MHz",
    ]
    assert limit_table.mistakes(Channels(158e6, 150e6)) == ()


LIMITS = "limits: {a: {works: {at_most: 1 dB}}}\n"


@pytest.mark.parametrize(
    ("written", "specification", "works"),
    [
        ("simple acceptance", "simple acceptance", "simple acceptance"),
        (
            "guarded acceptance with w = 0.83 U",
            "guarded acceptance with w = 0.83 U",
            "guarded acceptance with w = 0.83 U",
        ),
        (
            "{specification: guarded acceptance, works: simple acceptance}",
            "guarded acceptance with w = U",
            "simple acceptance",
        ),
    ],
)
def test_the_rule_is_one_for_both_levels_or_one_for_each(
    table_file: MakeTable, written: str, specification: str, works: str
) -> None:
    text = f"limit_table: T\nrevision: A\nmodel: M\ndecision_rule: {written}\n{LIMITS}"
    rules = table_file(text).rules
    assert {level: rule.name for level, rule in rules.items()} == {
        Level.SPECIFICATION: specification,
        Level.WORKS: works,
    }
    jsonschema.Draft202012Validator(schema()).validate(yaml.safe_load(text))


@pytest.mark.parametrize(
    ("written", "said"),
    [
        (
            "guarded acceptance with w = 0.83",
            ["T.yaml:4:16: expected a rule like 'guarded acceptance with w = U' or 'guarded acceptance with "
             "w = 0.83 U', got 'guarded acceptance with w = 0.83'"],
        ),
        (
            "{specification: guarded acceptance, works: simple aceptance}",
            ["T.yaml:4:59: unknown decision rule 'simple aceptance'; did you mean 'simple acceptance'?"],
        ),
        ("{specification: guarded acceptance}", ["T.yaml:4:1: 'works' is missing here"]),
        (
            "{specification: simple acceptance, work: simple acceptance}",
            ["T.yaml:4:1: 'works' is missing here", "T.yaml:4:51: unknown key 'work'; did you mean 'works'?"],
        ),
        (
            "[simple acceptance]",
            ["T.yaml:4:1: expected a decision rule, or one each for 'specification' and 'works', got a list"],
        ),
    ],
)  # fmt: skip
def test_a_rule_that_cannot_be_meant_is_told_at_its_place(
    mistakes: Mistakes, table_file: MakeTable, written: str, said: list[str]
) -> None:
    text = f"limit_table: T\nrevision: A\nmodel: M\ndecision_rule: {written}\n{LIMITS}"
    assert mistakes(lambda: table_file(text)) == said
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(yaml.safe_load(text))


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_a_table_that_ships_is_in_order_and_named_like_its_model(path: Path) -> None:
    table = load(path)
    assert table.model == table.name == path.stem
    assert not [row.name for row in table.rows if len(row.bounds) == 2 and not tighter_for_works(row)]


def tighter_for_works(row: LimitRow) -> bool:
    (first, specification), (second, works) = row.bounds
    return (first, second) == (Level.SPECIFICATION, Level.WORKS) and specification.looser_than(works)


@pytest.mark.parametrize("model", ["SK-V4", "SK-U4"])
def test_the_tables_of_both_families_judge_everything_that_is_measured(model: str) -> None:
    table = load(Path(limits.__file__).parent / "tables" / f"{model}.yaml")
    assert {row.name for row in table.rows} == set(DB + HZ)
    assert {len(row.bounds) for row in table.rows} == {2}
    assert misfits(table, ALL) == ()


@pytest.mark.parametrize("loader", [yaml.BaseLoader, yaml.SafeLoader])
@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_the_schema_for_editors_takes_the_tables_that_ship(path: Path, loader: type) -> None:
    """As the station reads them, all texts, and as an editor does by YAML's own rules."""
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.Draft202012Validator(schema()).validate(yaml.load(path.read_text("utf-8"), Loader=loader))


@pytest.mark.parametrize(
    "limits_part",
    [
        {},
        {"TX": {"works": {"at_most": "1 dB"}}},
        {"a": {}},
        {"a": {"works": {}}},
        {"a": {"works": {"at_most": "1 dB", "at_least": "1 dB"}}},
        {"a": {"works": {"at_mots": "1 dB"}}},
        {"a": {"works": {"at_most": "1"}}},
        {"a": {"works": {"at_most": "1 mHz"}}},
        {"a": {"works": {"at_most": None}}},
        {"a": {"works": {"mask": [{"over": "tx", "at_least": "1 dB"}]}}},
    ],
)
def test_the_schema_for_editors_refuses_what_the_station_refuses(limits_part: dict[str, object]) -> None:
    good = {"limit_table": "T", "revision": "A", "model": "M", "decision_rule": "simple acceptance"}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(good | {"limits": limits_part})
