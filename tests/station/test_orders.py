"""Work orders from CSV: what a spreadsheet writes is read, and every slip is said once, at its place."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.errors import BadInput
from station.orders import WorkOrder, parse_orders, read_orders, serial

HEADER = "order,customer,model,tx,rx,serials,due\n"
LINE = "SW-31,Outer Isles Rescue,SK-V4,156.800 MHz,161.4 MHz,SKV-0101..SKV-0103 SKV-0110,2025-04-01\n"
ORDER = WorkOrder(
    "SW-31",
    "Outer Isles Rescue",
    "SK-V4",
    156.8e6,
    161.4e6,
    ("SKV-0101", "SKV-0102", "SKV-0103", "SKV-0110"),
    date(2025, 4, 1),
)


def told(text: str) -> list[str]:
    with pytest.raises(BadInput) as caught:
        parse_orders(text, "orders.csv")
    return [str(mistake) for mistake in caught.value.mistakes]


def line(**fields: str) -> str:
    """A sound line with some fields written otherwise."""
    sound = dict(zip(HEADER.strip().split(","), LINE.strip().split(","), strict=True))
    return ",".join({**sound, **fields}.values()) + "\n"


def test_a_line_becomes_an_order(tmp_path):
    file = tmp_path / "orders.csv"
    file.write_text(HEADER + LINE)
    assert read_orders(file) == (ORDER,)


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HEADER + LINE,
        (HEADER + LINE).replace("\n", "\r\n"),
        (HEADER + LINE).replace(",", ";"),
        HEADER.upper() + "\n" + LINE + ",,,,,,\n\n",
        HEADER + line(customer='"Outer Isles Rescue"', serials='"SKV-0101;SKV-0102; SKV-0103 SKV-0110"'),
        HEADER + line(serials="SKV-0101 .. SKV-0103 SKV-0110"),
        "due,serials,rx,tx,model,customer,order\n" + ",".join(reversed(LINE.strip().split(","))),
        (HEADER + LINE).strip(),
    ],
    ids=[
        "BOM",
        "CRLF",
        "semicolons",
        "blank lines",
        "quotes",
        "spaced range",
        "other order",
        "no last line end",
    ],
)
def test_what_spreadsheets_make_of_the_same_line(tmp_path, text):
    file = tmp_path / "orders.csv"
    file.write_bytes(text.encode())
    assert read_orders(file) == (ORDER,)


def test_a_text_that_holds_the_separator_or_a_quotation_mark(tmp_path):
    (order,) = parse_orders(HEADER + line(customer='"Rescue, ""Outer Isles"""'), "f")
    assert order.customer == 'Rescue, "Outer Isles"'


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"order": ""}, "2:1: order: nothing is written here"),
        ({"customer": " "}, "2:2: customer: nothing is written here"),
        ({"customer": "x" * 101}, "2:2: customer: 101 characters; at most 100 are printed"),
        ({"tx": "156.8 mHz"}, "2:4: tx: 'mHz' in '156.8 mHz' means millihertz; did you mean 'MHz'"),
        ({"tx": "156.8"}, "2:4: tx: '156.8' has no unit; write a frequency like '2.5 MHz'"),
        ({"tx": '"156,800 MHz"'}, "2:4: tx: a comma in the number '156,800 MHz'; write 156.800 MHz"),
        ({"rx": "0 MHz"}, "2:5: rx: expected a frequency above 0 Hz, got '0 MHz'"),
        ({"rx": "156.8 MHz"}, "2:5: rx: the same as tx; a duplexer separates two frequencies"),
        ({"serials": ""}, "2:6: serials: nothing is written here; write serials with spaces between"),
        ({"serials": "SKV"}, "2:6: serials: 'SKV' is not a serial; a serial is up to 32"),
        ({"serials": "-7"}, "2:6: serials: '-7' is not a serial"),
        ({"serials": "S" * 32 + "1"}, "is not a serial"),
        ({"serials": "SKV_1"}, "2:6: serials: 'SKV_1' is not a serial"),
        ({"serials": "Ä1"}, "2:6: serials: 'Ä1' is not a serial"),
        ({"serials": '"S-1, S-2"'}, "'S-1,' is not a serial; .*; separate serials by spaces or semicolons"),
        ({"serials": "S-1..T-2"}, "'S-1..T-2': .* as many, like SKV-01"),
        ({"serials": "S-9..S-10"}, "'S-9..S-10': .* as many, like SKV-01"),
        ({"serials": "S-1A..S-2A"}, "'S-1A..S-2A': .* as many, like SKV-01"),
        ({"serials": "A-1..A-999999999"}, "as many, like SKV-0101..SKV-0106; at most 1000 serials"),
        ({"serials": "S-3..S-1"}, r"'S-3..S-1' runs backwards"),
        ({"serials": "S-0001..S-9999"}, "has 9999 serials; a range has at most 1000"),
        ({"serials": "S-1 s-1"}, "2:6: serials: 's-1' is there twice; the first is on line 2"),
        ({"due": "01/04/2025"}, "2:7: due: expected a date like .*, got '01/04/2025'"),
        ({"due": "2025-02-29"}, "2:7: due: '2025-02-29' is not a day of the calendar"),
        ({"due": "20250401"}, "2:7: due: expected a date like"),
    ],
)  # fmt: skip
def test_a_slip_in_a_field_is_said_once_at_its_line_and_column(fields, said):
    with pytest.raises(BadInput, match=said) as caught:
        parse_orders(HEADER + line(**fields), "orders.csv")
    assert len(caught.value.mistakes) == 1
    assert caught.value.mistakes[0].file == "orders.csv"


def test_every_mistake_of_a_file_is_said_at_once_in_its_order():
    text = HEADER + line(model="", tx="1", due="soon") + LINE + line(order="X", rx="2 dB", serials="S")
    assert [text.split(": ")[0] for text in told(text)] == [
        "orders.csv:2:3", "orders.csv:2:4", "orders.csv:2:7", "orders.csv:3:1", "orders.csv:3:6",
        "orders.csv:3:6", "orders.csv:3:6", "orders.csv:3:6", "orders.csv:4:5", "orders.csv:4:6",
    ]  # fmt: skip


def test_an_order_and_a_serial_that_come_twice_name_the_first_line():
    said = told(HEADER + LINE + line(serials="skv-0110"))
    assert said == [
        "orders.csv:3:1: order: 'SW-31' is there twice; the first is on line 2",
        "orders.csv:3:6: serials: 'skv-0110' is there twice; the first is on line 2",
    ]


def test_a_line_break_within_quotes_counts_as_a_line():
    said = told(HEADER + line(customer='"Outer\nIsles"') + line(order="X", due="soon", serials="S-1"))
    assert [text.split(": ")[0] for text in said] == ["orders.csv:2:2", "orders.csv:4:7"]


@pytest.mark.parametrize(
    ("header", "said"),
    [
        (
            "order,custommer,model,tx,rx,serials,due",
            "1:2: unknown column 'custommer'; did you mean 'customer'?",
        ),
        ("order,customer,model,tx,rx,serials", "1: column 'due' is missing"),
        (
            "order,customer,model,tx,tx,rx,serials,due",
            "1:5: column 'tx' is there twice; the first is column 4",
        ),
        (
            "order,customer,model,tx,rx,serials,due,",
            "1:8: a column without a name; valid are order, customer",
        ),
        (
            "order\tcustomer",
            "1: this is not the header of work orders; the first line must be order,customer,",
        ),
    ],
)
def test_a_header_that_is_not_as_it_should_be(header, said):
    assert any(text.startswith(f"orders.csv:{said}") for text in told(header + "\n" + LINE))


def test_a_decimal_comma_in_a_file_of_commas_is_told_as_what_it_is():
    (said,) = told(HEADER + line(tx="156,800 MHz"))
    assert said.startswith("orders.csv:2: 8 fields where the header has 7; ")
    assert "write decimals with a point" in said


def test_a_decimal_comma_in_a_file_of_semicolons_is_refused_as_well():
    (said,) = told((HEADER + line(tx="156.800 MHz")).replace(",", ";").replace("156.800", "156,800"))
    assert said.startswith("orders.csv:2:4: tx: ")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "the file is empty"),
        (b"\n \n", "the file is empty"),
        (HEADER.encode(), "there is no order in it, only the header"),
        (HEADER.encode() + b"SW-31,K\xfcste\n", ":2: byte 0xFC is not UTF-8; save the sheet as CSV in UTF-8"),
        ((HEADER + LINE).encode("utf-16"), "is not UTF-8"),
        (HEADER.encode() + b'SW-31,"Outer\n' + LINE.encode(), ":2: not CSV from here on"),
        (b"PK\x03\x04\x14\0", ":1: this is not the header of work orders"),
        (HEADER.encode() + LINE.replace("SK-V4", "SK\0").encode(), ":2:3: model: holds a line break"),
    ],
    ids=["empty", "blank", "header only", "Latin-1", "UTF-16", "open quote", "spreadsheet itself", "NUL"],
)
def test_a_file_that_is_not_a_csv_of_orders(tmp_path, data, said):
    file = tmp_path / "orders.csv"
    file.write_bytes(data)
    with pytest.raises(BadInput, match=said):
        read_orders(file)


@pytest.mark.parametrize(
    ("path", "said"),
    [("nowhere.csv", "no such file"), (".", "a folder, not a file"), ("a\0b", "cannot be read")],
)
def test_a_path_that_is_no_file(tmp_path, path, said):
    with pytest.raises(BadInput, match=said):
        read_orders(tmp_path / path)


def test_serials_with_commas_between_them_are_told_as_what_they_are():
    (said,) = told(HEADER + line(serials="SKV-0101,SKV-0102"))
    assert said.startswith("orders.csv:2: 8 fields where the header has 7; ")
    assert "separate serials by spaces" in said


def test_a_pipe_is_no_file_of_orders(tmp_path):
    os.mkfifo(tmp_path / "orders.csv")
    with pytest.raises(BadInput, match=r"orders\.csv: this is not an ordinary file"):
        read_orders(tmp_path / "orders.csv")


def test_a_huge_file_is_refused_before_it_is_read_whole(tmp_path):
    file = tmp_path / "orders.csv"
    with file.open("wb") as stream:
        stream.truncate(50_000_000)
    with pytest.raises(BadInput, match="larger than 2 MB"):
        read_orders(file)


@given(st.text(max_size=300))
def test_no_text_whatever_gets_past_as_anything_but_orders_or_mistakes(text):
    for candidate in (text, HEADER + text, HEADER + line(serials=text)):
        try:
            orders = parse_orders(candidate, "f")
        except BadInput as error:
            assert error.mistakes
        else:
            assert orders


def test_a_scanned_serial_loses_only_the_blanks_around_it():
    assert serial(" skv-0101\n") == "skv-0101"


@pytest.mark.parametrize("text", ["", "SKV", "S 1", "../1", "S-1\n2", "x" * 33 + "1"])
def test_what_is_no_serial_says_what_one_is(text):
    with pytest.raises(BadInput, match="is not a serial; a serial is up to 32 letters, digits and dashes"):
        serial(text)


def test_a_path_is_named_as_the_user_named_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadInput, match=r"^gone\.csv: "):
        read_orders(Path("gone.csv"))
