"""The strict YAML reader: values as they were written, every mistake at once at its place."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from limits.errors import BadInput
from limits.quantity import Hertz, Text, Whole
from limits.yamlfile import MAX_BYTES, Form, editor_schema, parse, read, read_bytes

Mistakes = Callable[[Callable[[], object]], list[str]]


class Window(Form):
    """A part of the sample form."""

    name: Text
    step: Hertz = 1000.0
    mode: str = Field(default="fast", pattern="^(fast|slow)$")


class Plan(Form):
    """A form with everything a real one has."""

    title: Text
    averages: Whole = Field(default=1, ge=1, le=64)
    note: str = ""
    windows: tuple[Window, ...] = ()
    named: dict[str, Window] = Field(default_factory=dict)
    one: Window | None = None


def test_a_file_in_order_gives_its_value_text_and_digest(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    data = "title: Küste\r\naverages: 4\r\nwindows:\r\n  - {name: a, step: 2.5 MHz}\r\n".encode()
    path.write_bytes(data)
    file = read(path, Plan)
    assert file.value == Plan(title="Küste", averages=4, windows=(Window(name="a", step=2.5e6),))
    assert (file.file, file.text) == (str(path), data.decode())
    assert file.digest == hashlib.sha256(data).hexdigest()


def test_a_byte_order_mark_is_passed_over(tmp_path: Path, mistakes: Mistakes) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(b"\xef\xbb\xbftitle: x\n")
    file = read(path, Plan)
    assert file.value.title == "x"
    assert str(file.mistake(("title",), "odd")) == f"{path}:1:8: odd"
    assert mistakes(lambda: parse("\ufefftitel: x\n", Plan, "p.yaml"))[0].startswith("p.yaml:1:1:")


@pytest.mark.parametrize("data", [b"\xef\xbb\xbftitle: x\n", b"title: x\r\n", b"title: \xc3\xbc"])
def test_the_text_kept_has_the_digest_of_the_file(tmp_path: Path, data: bytes) -> None:
    """Byte order mark and line ends included, so that a record can be proved against the file."""
    path = tmp_path / "plan.yaml"
    path.write_bytes(data)
    file = read(path, Plan)
    assert file.text.encode() == data
    assert file.digest == hashlib.sha256(data).hexdigest()


def test_every_published_yaml_trap_is_read_as_the_text_that_was_written(reference: Path) -> None:
    """Plain scalars that a YAML 1.1 reader turns into something else; its own reader proves the trap."""
    lines = (reference / "yaml11_scalars.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(";") for line in lines if not line.startswith("#")][1:]
    assert len(rows) == 16
    for written, _ in rows:
        text = f"title: {written}\n"
        assert not isinstance(yaml.safe_load(text)["title"], str)
        assert parse(text, Plan, "plan.yaml").value.title == written


@pytest.mark.parametrize("written", ["1e6", "0o17", "y", "n", "=", "1.0"])
def test_scalars_that_readers_disagree_about_are_texts_too(written: str) -> None:
    assert parse(f"title: {written}", Plan, "plan.yaml").value.title == written


def test_traps_in_a_number_are_refused_with_a_hint(mistakes: Mistakes) -> None:
    def refusal(written: str) -> list[str]:
        return mistakes(lambda: parse(f"title: x\naverages: {written}", Plan, "p.yaml"))

    assert refusal("010") == ["p.yaml:2:11: '010' starts with a zero; write 10"]
    assert refusal("1e6") == ["p.yaml:2:11: expected a whole number like 4, in digits, got '1e6'"]
    assert refusal("no") == ["p.yaml:2:11: expected a whole number like 4, in digits, got 'no'"]
    assert refusal("12:30:00") == ["p.yaml:2:11: expected a whole number like 4, in digits, got '12:30:00'"]
    assert refusal("0") == ["p.yaml:2:11: expected at least 1, got '0'"]


def test_every_mistake_of_a_file_is_told_at_once_and_in_its_order(mistakes: Mistakes) -> None:
    text = (
        "titel: ± x\n"
        "averages: 1e6\n"
        "windows:\n"
        "  - {name: ±±, stp: 1 kHz}\n"
        "  - step: 5 mHz\n"
        "named:\n"
        "  first:\n"
        "    name: a\n"
        "    mode: brisk\n"
        "one: 5\n"
        "averages: 2\n"
        "note:\n"
    )
    assert mistakes(lambda: parse(text, Plan, "plan.yaml")) == [
        "plan.yaml:1:1: 'title' is missing here",
        "plan.yaml:1:1: unknown key 'titel'; did you mean 'title'?",
        "plan.yaml:2:11: expected a whole number like 4, in digits, got '1e6'",
        "plan.yaml:4:16: unknown key 'stp'; did you mean 'step'?",
        "plan.yaml:5:5: 'name' is missing here",
        "plan.yaml:5:11: 'mHz' in '5 mHz' means millihertz; did you mean 'MHz'?",
        "plan.yaml:9:11: expected a text that fits the pattern ^(fast|slow)$, got 'brisk'",
        "plan.yaml:10:6: expected a group of keys, got '5'",
        "plan.yaml:11:1: 'averages' is written twice; the first is on line 2",
        "plan.yaml:12:1: 'note' has no value; write one, or remove it",
    ]


def test_an_unknown_key_far_from_any_other_lists_the_valid_ones(mistakes: Mistakes) -> None:
    assert mistakes(lambda: parse("title: x\none: {name: y, zzz: 1}", Plan, "p.yaml")) == [
        "p.yaml:2:16: unknown key 'zzz'; valid are name, step, mode"
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("title: x\nnote: null", "2:1: 'null' means nothing in YAML; give 'note' a value, put it in quotes, "
         "or remove it"),
        ("title: x\nnote: ~", "2:1: '~' means nothing in YAML; give 'note' a value, put it in quotes, "
         "or remove it"),
        ("title: &t x\nnote: y", "1:8: '&t' is an anchor, which is not understood here; remove it"),
        ("title: *t", "1:8: '*t' refers to another place; write the value out here"),
        ("title: !!int 5", "1:8: '!!int' is a YAML tag, which is not understood here; remove it"),
        ("title: !!python/object:os.system x",
         "1:8: '!!python/object:os.system' is a YAML tag, which is not understood here; remove it"),
        ("title: x\n? [a]\n: 1", "2:3: a key must be a plain word"),
        ("title: x\n<<: {note: y}", "2:1: unknown key '<<'; valid are title, averages, note, windows, named, one"),
        ("title: x\n---\ntitle: y", "2:1: a second document begins here ('---'); one file holds one"),
        ("title: x\n\tnote: y", "2:1: a tab stands here; YAML is indented with spaces only"),
        ("title: a: b", "1:9: a ':' stands where no key can be; check the indentation, "
         "or put the text in quotes"),
        ("title: 'x", "1:8: the quote that opens here is not closed"),
        ('title: x\nnote: "open\none:\n  name: "y"\n',
         "2:7: the quote that opens here is not closed where it should be; it runs on to line 4"),
        ("title: 'a\nnote: b\none: {name: 'y'}",
         "1:8: the quote that opens here is not closed where it should be; it runs on to line 3"),
        ("{title: 'x\n  y', note: z: 1}",
         "1:1: what opens with '[' or '{' here is not closed, or a ',' is missing in it"),
        ("title: x\nnote: 'y' z", "2:11: the indentation does not fit the lines above"),
        ("title: [x", "1:8: what opens with '[' or '{' here is not closed, or a ',' is missing in it"),
        ("title: @x", "1:8: a text that starts with '@' must be put in quotes"),
        ("title: x\nnote\n", "2:1: a key without its ':'; write 'key: value'"),
        ("one:\n    name: x\n  step: y", "3:3: the indentation does not fit the lines above"),
        ('title: "C:\\works"', "1:11: a backslash in double quotes; use single quotes"),
        ("title: x\x07", "1:9: a control character (U+0007) that does not belong in a text; remove it"),
        ("- title", "1:1: expected a group of keys, got a list"),
        ("title", "1:1: expected a group of keys, got 'title'"),
        ("title: x\none: {name: 1,5 kHz}",
         "2:15: '5 kHz' stands alone after a comma; a decimal comma splits a number here, so write a point"),
    ],
)  # fmt: skip
def test_what_is_wrong_as_yaml_is_told_in_plain_words(text: str, message: str, mistakes: Mistakes) -> None:
    assert mistakes(lambda: parse(text, Plan, "p.yaml")) == [f"p.yaml:{message}"]


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing yet\n", "---\n"])
def test_an_empty_file_says_what_it_must_hold(text: str, mistakes: Mistakes) -> None:
    assert "title" in mistakes(lambda: parse(text, Plan, "p.yaml"))[-1]


@pytest.mark.parametrize(
    "bomb",
    ["[" * 100_000, "{" * 100_000, "- " * 50_000 + "x", "{a: " * 5_000, "? " * 50_000,
     "title: " + "[" * 21 + "]" * 21],
)  # fmt: skip
def test_a_text_nested_too_deep_is_refused_not_crashed_on(bomb: str, mistakes: Mistakes) -> None:
    assert any(
        "deep" in line or "plain word" in line for line in mistakes(lambda: parse(bomb, Plan, "p.yaml"))
    )


def test_a_bomb_of_aliases_stays_small(mistakes: Mistakes) -> None:
    lines = ["a0: &a0 [x, x]"]
    lines += [f"a{n}: &a{n} [" + ", ".join([f"*a{n - 1}"] * 9) + "]" for n in range(1, 12)]
    told = mistakes(lambda: parse("\n".join(lines), Plan, "p.yaml"))
    assert len([line for line in told if "refers to another place" in line]) == 99


def test_files_that_cannot_be_read_say_so_in_one_line(tmp_path: Path, mistakes: Mistakes) -> None:
    latin, huge, pipe = tmp_path / "latin.yaml", tmp_path / "huge.yaml", tmp_path / "pipe.yaml"
    latin.write_bytes("title: ± x\nnote: ±".encode() + b" K\xfcste")
    huge.write_bytes(b"#" * (MAX_BYTES + 1))
    os.mkfifo(pipe)
    for path, what in (
        (tmp_path / "no.yaml", ": there is no such file"),
        (tmp_path, ": this is a folder, not a file"),
        (pipe, ": this is not an ordinary file"),
        (huge, ": larger than 2 MB; is it the right file?"),
        (latin, ":2:10: byte 0xFC is not UTF-8; save the file as UTF-8 text"),
        (tmp_path / "a\0b", ": the file cannot be read: embedded null byte"),
        (
            latin / "x.yaml",
            ": the file cannot be read: [Errno 20] Not a directory: " + repr(str(latin / "x.yaml")),
        ),
    ):
        assert mistakes(lambda path=path: read(path, Plan)) == [f"{path}{what}"]


def test_the_bytes_of_a_file_are_read_with_the_same_care(tmp_path: Path, mistakes: Mistakes) -> None:
    path = tmp_path / "orders.csv"
    path.write_bytes(b"a,b\r\n\xff")
    assert read_bytes(path) == b"a,b\r\n\xff"
    assert mistakes(lambda: read_bytes(tmp_path / "no.csv")) == [
        f"{tmp_path / 'no.csv'}: there is no such file"
    ]


def test_a_file_that_may_not_be_read_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mistakes: Mistakes
) -> None:
    """Refused by hand, since tests may run as a user who may read everything."""
    path = tmp_path / "p.yaml"
    path.write_text("title: x")

    def refuse(*_: object, **__: object) -> object:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert mistakes(lambda: read(path, Plan)) == [f"{path}: the file may not be read; check its permissions"]


def test_a_later_mistake_points_at_the_same_file() -> None:
    file = parse("title: x\nnamed:\n  first:\n    name: a\nwindows:\n  - name: b\n", Plan, "p.yaml")
    for loc, place in (
        (("title",), "1:8"),
        (("named",), "2:1"),
        (("named", "first"), "3:3"),
        (("named", "first", "name"), "4:11"),
        (("named", "first", "step"), "3:3"),
        (("windows", 0), "6:5"),
        (("windows", 7), "5:1"),
        (("nowhere",), "1:1"),
    ):
        assert str(file.mistake(loc, "odd")) == f"p.yaml:{place}: odd"


def test_both_parsers_of_yaml_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """The compiled one is used where it is there; where it is not, nothing changes."""
    text = "title: ± x\nwindows: [{name: a, step: 1 kHz}]\nnamed:\n  b: {name: c}\n"
    fast = parse(text, Plan, "p.yaml")
    monkeypatch.delattr(yaml, "CBaseLoader")
    assert parse(text, Plan, "p.yaml") == fast


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_clear_lines(text: str) -> None:
    try:
        parse(text, Plan, "p.yaml")
    except BadInput as refused:
        assert refused.mistakes
        for mistake in refused.mistakes:
            assert "pydantic" not in mistake.what and "http" not in mistake.what


@given(st.text("abtile: -[]{},&*!?|>'\"#%@\n\t~1", max_size=40))
def test_any_text_of_yaml_marks_is_read_or_refused(text: str) -> None:
    try:
        parse("title: x\n" + text, Plan, "p.yaml")
    except BadInput as refused:
        assert refused.mistakes


def test_the_schema_for_editors_has_no_null() -> None:
    schema = editor_schema(Plan, "Plan")
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "null" not in str(schema) and "None" not in str(schema)
    assert schema["properties"]["one"] == {"$ref": "#/$defs/Window"}
