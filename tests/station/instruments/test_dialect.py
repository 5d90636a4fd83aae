"""Dialects as data: the shipped ones, and what is said of a file with mistakes."""

from __future__ import annotations

import jsonschema
import numpy as np
import pytest
import yaml

from limits.errors import BadInput
from station.errors import UserMistake
from station.instruments.dialect import (
    SHIPPED,
    dialect_names,
    dialect_schema,
    find_dialect,
    load_dialect,
    number_text,
    same_answer,
    words_for,
)
from station.measurements.sweep import SweepSettings

LINEAR = (SHIPPED / "linear-single.yaml").read_text(encoding="utf-8")
LIST = (SHIPPED / "list-all.yaml").read_text(encoding="utf-8")
WORDS = words_for(SweepSettings(1000.0, 4, -10.0), np.array([157.05e6, 157.0625e6, 157.075e6]))


def changed(tmp_path, text, *changes, name="mine"):
    """A file of the works made from a shipped one."""
    for old, new in (*changes, ("dialect: linear-single", f"dialect: {name}")):
        assert old in text or old.startswith("dialect:")
        text = text.replace(old, new, 1)
    path = tmp_path / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def mistakes_of(path):
    with pytest.raises(BadInput) as caught:
        load_dialect(path)
    return [str(mistake) for mistake in caught.value.mistakes]


def test_the_shipped_dialects_are_in_order():
    assert dialect_names(None) == ("linear-single", "list-all", "list-nine", "power-single")
    for name in dialect_names(None):
        assert find_dialect(name, None).name == name


def test_a_linear_sweep_is_ordered_by_its_ends_and_its_points():
    commands = find_dialect("linear-single", None).arrange(WORDS)
    assert commands == (
        "SENS:BAND 1000",
        "SENS:AVER:COUN 4",
        "SENS:AVER ON",
        "SOUR:POW -10",
        "SENS:FREQ:STAR 157050000",
        "SENS:FREQ:STOP 157075000",
        "SENS:SWE:POIN 3",
    )


def test_a_list_sweep_names_every_frequency():
    commands = find_dialect("list-all", None).arrange(WORDS)
    assert "SENS:LIST:FREQ 157050000,157062500,157075000" in commands


def test_an_s_parameter_is_spelled_to_before_from():
    dialect = find_dialect("linear-single", None)
    assert dialect.path(to=2, source=1) == "XFR:POW:S21"
    assert dialect.choose("XFR:POW:S21") == ("SENS:FUNC 'XFR:POW:S21'",)


@pytest.mark.parametrize("value", [157.05e6, 1 / 3, 1e-7, 1.5e9, -20.0, 157062500.125])
def test_a_number_in_a_command_reads_back_as_itself(value):
    assert float(number_text(value)) == value


@pytest.mark.parametrize(
    ("answer", "expected", "same"),
    [
        ("1.5705E+8", "157050000", True),
        ("+1.57050001E+08", "157050000", True),
        ("157050100", "157050000", False),
        ("201", "1601", False),
        ("0", "0", True),
        ("0.1", "0", False),
        ('"ON"', "on", True),
        ("OFF", "ON", False),
        ("nan", "1", False),
    ],
)
def test_a_setting_that_reads_back_otherwise_is_noticed(answer, expected, same):
    assert same_answer(answer, expected) is same


def test_a_dialect_of_the_works_goes_before_a_shipped_one(tmp_path):
    changed(tmp_path, LINEAR, ("about: One", "about: Our one"), name="linear-single")
    assert find_dialect("linear-single", tmp_path).form.about.startswith("Our one")
    assert find_dialect("list-all", tmp_path).name == "list-all"


def test_an_unknown_dialect_is_told_with_the_nearest_name(tmp_path):
    with pytest.raises(UserMistake, match="unknown dialect 'linear-singel'; did you mean 'linear-single'"):
        find_dialect("linear-singel", tmp_path)
    with pytest.raises(UserMistake, match="valid are linear-single, list-all"):
        find_dialect("../../etc/passwd", tmp_path)


def test_an_unknown_word_in_braces_is_told_with_its_place_and_the_nearest(tmp_path):
    path = changed(tmp_path, LINEAR, ("SENS:SWE:POIN {points}", "SENS:SWE:POIN {point}"))
    line = path.read_text(encoding="utf-8").splitlines().index("  - SENS:SWE:POIN {point}") + 1
    assert f"{path}:{line}:5: unknown word '{{point}}'; did you mean 'points'?" in mistakes_of(path)


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (LINEAR, "  - SENS:BAND {bandwidth_hz}\n", "", "no command has '{bandwidth_hz}'"),
        (LINEAR, "{start_hz}", "{frequencies}", "unknown word '{frequencies}'"),
        (LINEAR, "SENS:FUNC '{path}'", "SENS:FUNC 'XFR:POW:S21'", "must have '{path}'"),
        (LINEAR, "- INIT\n", "- INIT {points}\n", "no word in braces can stand here"),
        (LINEAR, "S{to}{from}", "S{to}1", "must have '{from}'"),
        (LINEAR, "{averages}", "{averages", "braces that do not close"),
        (LINEAR, "fetch: CALC:DATA?\n", "", "fetch"),
        (LINEAR, "form: REAL,64", "form: REAL,128", "REAL,64"),
        (LINEAR, "paths: one", "paths: two", "one"),
        (LINEAR, "sweep_time:", "sweep_tim:", "did you mean 'sweep_time'"),
        (LIST, "SENS:DATA? '{path}'", "SENS:DATA?", "with 'paths: all' it must have '{path}'"),
        (LIST, "{frequencies}", "{start_hz}", "unknown word '{start_hz}'"),
        (LIST, "start:\n", "choose:\n  - SENS:FUNC '{path}'\nstart:\n", "nothing to choose"),
    ],
)
def test_each_mistake_of_a_file_is_told_at_its_place(tmp_path, text, old, new, said):
    text = text.replace("dialect: list-all", "dialect: linear-single")
    path = changed(tmp_path, text, (old, new))
    told = mistakes_of(path)
    assert any(said in each for each in told), told
    assert all(each.startswith(f"{path}:") for each in told)


@pytest.mark.parametrize(
    ("old", "new", "place", "wrong"),
    [
        ("fetch: CALC:DATA?", "fetch: CALC:DATA", "fetch: CALC:DATA", "'CALC:DATA' is no question"),
        ('wait: "*OPC?"', 'wait: "*OPC"', 'wait: "*OPC"', "'*OPC' is no question"),
        ("errors: SYST:ERR?", "errors: SYST:ERR", "errors: SYST:ERR", "'SYST:ERR' is no question"),
        ("sweep_time: SENS:SWE:TIME?", "sweep_time: SENS:SWE:TIME", "sweep_time: ", "is no question"),
        ('ask: "SENS:BAND?"', 'ask: "SENS:BAND"', '{ask: "SENS:BAND"', "'SENS:BAND' is no question"),
        ("- ABOR\n", "- ABORT µ\n", "- ABORT", "'µ' is no ASCII"),
        ("- INIT\n", '- "INIT\\t1"\n', '- "INIT', "is no ASCII character that can be printed"),
        ("path: XFR:POW:S{to}{from}", "path: XFR:POW:Ŝ{to}{from}", "path: ", "'Ŝ' is no ASCII"),
        ('expect: "{points}"', 'expect: "{points}°"', '"{points}°"', "'°' is no ASCII"),
        ("- INIT\n", '- "INIT\\n*WAI"\n', '- "INIT', "expected a text of one line"),
    ],
)
def test_what_no_instrument_could_be_told_or_asked_is_a_mistake(tmp_path, old, new, place, wrong):
    path = changed(tmp_path, LINEAR, (old, new))
    lines = path.read_text(encoding="utf-8").splitlines()
    line = next(number for number, each in enumerate(lines, 1) if place in each)
    told = mistakes_of(path)
    assert len(told) == 1
    assert told[0].startswith(f"{path}:{line}:")
    assert wrong in told[0]


def test_all_mistakes_are_told_at_once(tmp_path):
    path = changed(tmp_path, LINEAR, ("{start_hz}", "{begin_hz}"), ("{power_dbm}", "{power}"))
    assert len(mistakes_of(path)) == 4  # two unknown words, and two settings that would never be set


def test_a_file_that_is_called_otherwise_than_its_dialect_is_refused(tmp_path):
    path = tmp_path / "other.yaml"
    path.write_text(LINEAR, encoding="utf-8")
    assert "must be called 'other'" in mistakes_of(path)[0]


def test_the_schema_for_editors_takes_the_shipped_files():
    schema = dialect_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for text in (LINEAR, LIST):
        jsonschema.validate(yaml.safe_load(text), schema)


def test_a_language_without_s_parameters_cannot_name_one(tmp_path):
    power = (SHIPPED / "power-single.yaml").read_text(encoding="utf-8")
    path = changed(
        tmp_path,
        power,
        ("dialect: power-single", "dialect: mine"),
        ("frequencies: linear", "path: S{to}{from}\nfrequencies: linear"),
        ("fetch: CALC:DATA?", "fetch: CALC:DATA? {path}"),
    )
    told = mistakes_of(path)
    assert any("'paths: none' there is no S-parameter to name" in each for each in told)
    assert any("'paths: none' it cannot have '{path}'" in each for each in told)


def test_a_language_of_s_parameters_must_say_how_one_is_spelled(tmp_path):
    path = changed(tmp_path, LINEAR, ("path: XFR:POW:S{to}{from}", "# path is missing"))
    assert any("how an S-parameter is spelled" in each for each in mistakes_of(path))
