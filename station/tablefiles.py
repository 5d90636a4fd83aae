"""Tables as files, row by row: CSV by RFC 4180, and Parquet where its library is installed.

In CSV an empty cell is a missing value, and an empty text is `""`: texts stand in quotes, all else does not. A text
that a spreadsheet would take for a formula gets an apostrophe in front; so does one that begins with an apostrophe,
which makes it reversible: one apostrophe at the beginning of a text is always to be taken away.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TextIO

from station.database.dictionary import ColumnWords
from station.errors import UserMistake

if TYPE_CHECKING:
    import pyarrow as pa

Row = Mapping[str, Any]

FORMULA_BEGINS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
"""As which characters a spreadsheet takes a text for a formula, and the one that says it is none."""

_ROWS = 5000
"""Of a group in a Parquet file."""


class TableFile(Protocol):
    """A table that is being written."""

    def write(self, rows: Sequence[Row]) -> None:
        """Add some rows."""

    def close(self) -> None:
        """There are no more."""


class CsvTable:
    """A table as `NAME.csv`."""

    def __init__(self, folder: Path, name: str, columns: Sequence[ColumnWords]) -> None:
        """Made at once, with its head."""
        self._names = [column.name for column in columns]
        self._stream: TextIO = (folder / f"{name}.csv").open("x", encoding="utf-8", newline="")
        self._line(self._names)

    def write(self, rows: Sequence[Row]) -> None:
        """Add some rows."""
        for row in rows:
            self._line(cell(row[name]) for name in self._names)

    def _line(self, cells: Iterable[str]) -> None:
        self._stream.write(f"{','.join(cells)}\r\n")

    def close(self) -> None:
        """There are no more."""
        self._stream.close()


def cell(value: object) -> str:
    """One value as it stands in a CSV file."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    text = str(plain(value)) if not isinstance(value, list | dict) else json.dumps(value, ensure_ascii=False)
    if isinstance(value, date):
        return text
    guarded = f"'{text}" if text.startswith(FORMULA_BEGINS) else text
    return '"{}"'.format(guarded.replace('"', '""'))


def plain(value: object) -> object:
    """A value as JSON can hold it: times in ISO 8601, bytes in hexadecimal."""
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value.hex() if isinstance(value, bytes | memoryview) else value


class ParquetTable:
    """A table as `NAME.parquet`; each column carries its words."""

    def __init__(self, folder: Path, name: str, columns: Sequence[ColumnWords]) -> None:
        """Made at once. Raises UserMistake where the library is not installed."""
        try:
            import pyarrow.parquet as parquet
        except ImportError as error:
            way_out = "pip install 'duplexer-final-test[parquet]', or leave out --form parquet"
            raise UserMistake(f"the library that writes Parquet is not installed: {way_out}") from error
        self._schema = _schema(columns)
        self._json = {column.name for column in columns if column.kind == "JSON"}
        self._writer = parquet.ParquetWriter(folder / f"{name}.parquet", self._schema)
        self._waiting: list[Row] = []

    def write(self, rows: Sequence[Row]) -> None:
        """Add some rows."""
        self._waiting += [self._row(row) for row in rows]
        if len(self._waiting) >= _ROWS:
            self._flush()

    def _row(self, row: Row) -> Row:
        return {
            name: json.dumps(row[name], ensure_ascii=False) if name in self._json else row[name]
            for name in self._schema.names
        }

    def _flush(self) -> None:
        import pyarrow as pa

        self._writer.write_table(pa.Table.from_pylist(self._waiting, schema=self._schema))
        self._waiting = []

    def close(self) -> None:
        """There are no more."""
        if self._waiting:
            self._flush()
        self._writer.close()


def _schema(columns: Sequence[ColumnWords]) -> pa.Schema:
    import pyarrow as pa

    kinds = {
        "text": pa.string(),
        "JSON": pa.string(),
        "integer": pa.int64(),
        "real": pa.float64(),
        "true or false": pa.bool_(),
        "day": pa.date32(),
        "time": pa.timestamp("us", tz="UTC"),
        "bytes": pa.binary(),
    }
    return pa.schema(
        [
            pa.field(
                column.name,
                kinds[column.kind],
                nullable=column.may_be_missing,
                metadata={"meaning": column.meaning, "unit": column.unit},
            )
            for column in columns
        ]
    )
