"""Work orders and serials, and the strict reader of the CSV file that brings them.

One line per order: `order,customer,model,tx,rx,serials,due`, in any order of columns, separated by commas or,
as the spreadsheets of many countries write it, by semicolons. The serials of an order are separated by spaces or
semicolons, and a range like SKV-0101..SKV-0106 stands for all of its serials, at most 1000: `SKV-0101..SKV-0106
SKV-0110`. A field that holds the file's separator is put in quotes. Pure but for the reading of the file; which
models there are, and which orders are known already, is asked elsewhere.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NewType, TypeVar

from limits.errors import BadInput, Mistake
from limits.formwords import got, nearest
from limits.units import day, hertz
from limits.yamlfile import read_bytes

V = TypeVar("V")

Serial = NewType("Serial", str)
"""A unit's number, unique in the works whatever the case of its letters."""

COLUMNS = ("order", "customer", "model", "tx", "rx", "serials", "due")
MOST_IN_A_RANGE = 1000

_SERIAL = re.compile(r"(?=.{1,32}\Z)(?=.*[0-9])[A-Za-z0-9][A-Za-z0-9-]*")
_SERIAL_FORM = "a serial is up to 32 letters, digits and dashes with at least one digit, like SKV-0107"
_RANGE_FORM = (
    "the two serials of a range differ only in their last digits, of which both have as many, "
    f"like SKV-0101..SKV-0106; at most {MOST_IN_A_RANGE} serials"
)
_COUNTED = re.compile(r"(.*?)([0-9]+)")


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """What a customer ordered: units of one model, tuned to one pair of channels."""

    number: str
    customer: str
    model: str
    tx_hz: float
    rx_hz: float
    serials: tuple[Serial, ...]
    due: date


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of the file under the names of its columns."""

    line: int
    fields: dict[str, str]
    columns: dict[str, int]


class _Mistakes:
    """Everything found wrong in one file so far."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Mistake] = []

    def add(self, what: str, line: int = 0, column: int = 0) -> None:
        self.found.append(Mistake(what, self.file, line, column))

    def at(self, row: _Row, column: str, what: str) -> None:
        self.add(f"{column}: {what}", row.line, row.columns[column])

    def settle(self) -> None:
        """Raise BadInput when there are any."""
        if self.found:
            raise BadInput(tuple(sorted(self.found, key=lambda mistake: (mistake.line, mistake.column))))


def serial(text: str) -> Serial:
    """The serial that somebody typed or scanned. Raises BadInput."""
    stripped = text.strip()
    if not _SERIAL.fullmatch(stripped):
        raise BadInput((Mistake(f"{got(text)} is not a serial; {_SERIAL_FORM}"),))
    return Serial(stripped)


def serial_key(text: str) -> str:
    """What makes two serials the same one."""
    return text.upper()


def read_orders(path: Path) -> tuple[WorkOrder, ...]:
    """The orders in the CSV file at `path`, in the file's order.

    Raises BadInput with every mistake of the file; the column of a mistake counts fields, as a spreadsheet
    does, so that 3 is column C.
    """
    return parse_orders(_text(path), str(path))


def parse_orders(text: str, file: str) -> tuple[WorkOrder, ...]:
    """The orders in a text; `file` is what mistakes call it. Raises BadInput like `read_orders`."""
    mistakes = _Mistakes(file)
    rows = _rows(text, mistakes)
    orders = [order for row in rows if (order := _order(row, mistakes)) is not None]
    _refuse_twice(rows, mistakes)
    if not rows and not mistakes.found:
        mistakes.add("there is no order in it, only the header")
    mistakes.settle()
    return tuple(orders)


def _text(path: Path) -> str:
    data = read_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"byte 0x{data[error.start]:02X} is not UTF-8; save the sheet as CSV in UTF-8"
        raise BadInput((Mistake(what, str(path), line),)) from error


def _rows(text: str, mistakes: _Mistakes) -> list[_Row]:
    records = _records(text, mistakes)
    if not records:
        mistakes.add(f"the file is empty; its first line must be {','.join(COLUMNS)}")
        mistakes.settle()
    line, header = records[0]
    columns = _header(line, header, mistakes)
    # Without a sound header every further line would be told off for the same one thing.
    mistakes.settle()
    rows = []
    for line, fields in records[1:]:
        if len(fields) == len(header):
            named = {name: fields[column - 1].strip() for name, column in columns.items()}
            rows.append(_Row(line, named, columns))
        else:
            mistakes.add(_miscounted(fields, header), line)
    return rows


def _records(text: str, mistakes: _Mistakes) -> list[tuple[int, list[str]]]:
    """Line and fields of every line that is not blank."""
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records = []
    line = 1
    try:
        for fields in reader:
            if any(field.strip() for field in fields):
                records.append((line, fields))
            line = reader.line_num + 1
    except csv.Error as error:
        mistakes.add(f"not CSV from here on ({error}); is a quotation mark not closed?", line)
        mistakes.settle()
    return records


def _delimiter(text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")
    return ";" if header.count(";") > header.count(",") else ","


def _header(line: int, header: Sequence[str], mistakes: _Mistakes) -> dict[str, int]:
    """Number of each column, from 1."""
    columns: dict[str, int] = {}
    for number, cell in enumerate(header, start=1):
        name = cell.strip().casefold()
        if name not in COLUMNS:
            hint = nearest(name, [column for column in COLUMNS if column not in columns])
            what = f"unknown column {got(cell)}" if name else "a column without a name"
            mistakes.add(f"{what}{hint or '; valid are ' + ', '.join(COLUMNS)}", line, number)
        elif name in columns:
            mistakes.add(f"column '{name}' is there twice; the first is column {columns[name]}", line, number)
        else:
            columns[name] = number
    if not columns:
        mistakes.found = []
        what = f"this is not the header of work orders; the first line must be {','.join(COLUMNS)}"
        mistakes.add(f"{what}, separated by commas or semicolons", line)
        return columns
    for name in COLUMNS:
        if name not in columns:
            mistakes.add(f"column '{name}' is missing", line)
    return columns


def _miscounted(fields: Sequence[str], header: Sequence[str]) -> str:
    what = f"{len(fields)} fields where the header has {len(header)}"
    if len(fields) > len(header):
        return (
            f"{what}; separate serials by spaces, write decimals with a point, and put a text that holds the "
            "separator in quotes"
        )
    return what


def _order(row: _Row, mistakes: _Mistakes) -> WorkOrder | None:
    """The order of one row, or None when anything in it is wrong."""
    before = len(mistakes.found)
    number, customer, model = (_name(row, column, mistakes) for column in ("order", "customer", "model"))
    tx_hz, rx_hz = (_converted(row, column, hertz, mistakes) for column in ("tx", "rx"))
    if tx_hz is not None and tx_hz == rx_hz:
        mistakes.at(row, "rx", "the same as tx; a duplexer separates two frequencies")
    serials = tuple(_serials(row, mistakes))
    due = _converted(row, "due", day, mistakes)
    if len(mistakes.found) > before or tx_hz is None or rx_hz is None or due is None:
        return None
    return WorkOrder(number, customer, model, tx_hz, rx_hz, serials, due)


def _name(row: _Row, column: str, mistakes: _Mistakes) -> str:
    text = row.fields[column]
    if not text:
        mistakes.at(row, column, "nothing is written here")
    elif len(text) > 100:
        mistakes.at(row, column, f"{len(text)} characters; at most 100 are printed")
    elif not text.isprintable():
        mistakes.at(row, column, "holds a line break or another character that cannot be printed")
    return text


def _converted(row: _Row, column: str, convert: Callable[[str], V], mistakes: _Mistakes) -> V | None:
    try:
        return convert(row.fields[column])
    except ValueError as error:
        mistakes.at(row, column, str(error))
        return None


def _serials(row: _Row, mistakes: _Mistakes) -> Iterator[Serial]:
    text = re.sub(r"\s*\.\.\s*", "..", row.fields["serials"])
    words = [word for word in re.split(r"[\s;]+", text) if word]
    if not words:
        mistakes.at(
            row,
            "serials",
            "nothing is written here; write serials with spaces between them, or a range like SKV-0101..SKV-0106",
        )
    for word in words:
        first, dots, last = word.partition("..")
        ends = (first, last) if dots else (first,)
        wrong = [end for end in ends if not _SERIAL.fullmatch(end)]
        for end in wrong:
            hint = "; separate serials by spaces or semicolons" if "," in end else ""
            mistakes.at(row, "serials", f"{got(end)} is not a serial; {_SERIAL_FORM}{hint}")
        if dots and not wrong:
            yield from _range(row, first, last, mistakes)
        elif not wrong:
            yield Serial(first)


def _range(row: _Row, first: str, last: str, mistakes: _Mistakes) -> Iterator[Serial]:
    low, high = _COUNTED.fullmatch(first), _COUNTED.fullmatch(last)
    if low is None or high is None or low[1] != high[1] or len(low[2]) != len(high[2]):
        mistakes.at(row, "serials", f"{got(f'{first}..{last}')}: {_RANGE_FORM}")
        return
    count = int(high[2]) - int(low[2]) + 1
    if not 1 <= count <= MOST_IN_A_RANGE:
        said = (
            "runs backwards" if count < 1 else f"has {count} serials; a range has at most {MOST_IN_A_RANGE}"
        )
        mistakes.at(row, "serials", f"{got(f'{first}..{last}')} {said}")
        return
    for number in range(int(low[2]), int(high[2]) + 1):
        yield Serial(f"{low[1]}{number:0{len(low[2])}d}")


def _refuse_twice(rows: Sequence[_Row], mistakes: _Mistakes) -> None:
    """An order number or a serial that the file has already used."""
    orders: dict[str, int] = {}
    serials: dict[str, int] = {}
    for row in rows:
        number = row.fields["order"]
        if number and orders.setdefault(number, row.line) != row.line:
            mistakes.at(row, "order", f"{got(number)} is there twice; the first is on line {orders[number]}")
        for each in _serials(row, _Mistakes(mistakes.file)):
            key = serial_key(each)
            if key in serials:
                mistakes.at(
                    row, "serials", f"{got(each)} is there twice; the first is on line {serials[key]}"
                )
            serials.setdefault(key, row.line)
