"""Records given away in open forms: tables, one JSON for each run, sweeps as Touchstone, and a data dictionary.

Everything is of one moment, in a fixed order, and in a memory that does not grow with the records; the same records
give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from station.database import unpacking
from station.database.dictionary import ColumnWords, columns_of, exported_tables, markdown
from station.database.outflow import Choice, Outflow, RunRows, tables_of_runs
from station.database.store import Store
from station.database.words import PACKED
from station.placing import clear_fault, new_place
from station.settings import Works
from station.tablefiles import CsvTable, ParquetTable, TableFile, plain

FORMS = ("csv", "parquet", "json")
"""Tables as CSV, tables as Parquet, and a JSON for each run."""

Row = dict[str, Any]

_OPENING = """\
# What is in this export

| where | what |
| --- | --- |
| `tables/` | the tables below, as CSV or Parquet |
| `runs/` | a JSON for each run: its order, its unit and all its rows of the tables below |
| `sweeps/` | the numbers of each sweep: Touchstone, or CSV of magnitudes where no phases were measured |
| `calibrations/` | the numbers of each calibration |
| `dictionary.csv` | the tables below, for a program |

Times are ISO 8601 in UTC; SHA-256 are 64 hexadecimal digits. Files are UTF-8, Touchstone files ASCII.

In CSV (RFC 4180) an empty cell is a missing value and `""` is an empty text. A text that a spreadsheet would take for
a formula, or that begins with an apostrophe, has an apostrophe in front: take one away from each text that begins
with one, and it is what was recorded. Parquet and JSON hold every text as it was recorded.

A file that ends with `.damaged` holds stored bytes that are not what was once written; `station ledger` tells more.

Columns in bold tell the rows of a table apart.
"""


@dataclass(slots=True)
class Exported:
    """What was written."""

    path: Path
    rows: dict[str, int] = field(default_factory=dict)
    """Of each table."""

    damaged: list[str] = field(default_factory=list)
    """Files of numbers that are not what was once stored."""


def export(works: Works, store: Store, target: Path, choice: Choice, forms: Sequence[str]) -> Exported:
    """Write the chosen records to `target`, which must not be there yet, in some of `FORMS`.

    Raises UserMistake for a place or an order that cannot be used, StoreFault when it cannot be written; then nothing
    is left.
    """
    done = Exported(target.absolute())
    with (
        new_place(target, works.folder, "export") as built,
        store.outflow(choice) as flow,
        # Within, so that a full disk here is not said of the database.
        clear_fault(target, "export"),
    ):
        _Export(built, forms, done).write(flow)
    return done


@dataclass(frozen=True, slots=True)
class _Export:
    built: Path
    forms: Sequence[str]
    done: Exported

    def write(self, flow: Outflow) -> None:
        words = {table.name: columns_of(table) for table in exported_tables()}
        (self.built / "dictionary.md").write_text(markdown(_OPENING), encoding="utf-8")
        _write_dictionary(self.built, [column for columns in words.values() for column in columns])
        (self.built / "tables").mkdir()
        of_runs = {table.name for table in tables_of_runs()}
        with ExitStack() as stack:
            files = {name: self._files(stack, name, columns) for name, columns in words.items()}
            for table in exported_tables():
                if table.name not in of_runs:
                    for rows in flow.other_rows(table):
                        self._add(files, table.name, [self._of_calibration(table.name, row) for row in rows])
            for run in flow.runs():
                self._run(files, run)

    def _files(self, stack: ExitStack, name: str, columns: Sequence[ColumnWords]) -> list[TableFile]:
        kinds: dict[str, type[CsvTable] | type[ParquetTable]] = {"csv": CsvTable, "parquet": ParquetTable}
        self.done.rows[name] = 0
        return [
            stack.enter_context(closing(kinds[form](self.built / "tables", name, columns)))
            for form in self.forms
            if form in kinds
        ]

    def _add(self, files: Mapping[str, list[TableFile]], name: str, rows: Sequence[Row]) -> None:
        self.done.rows[name] += len(rows)
        for file in files[name]:
            file.write(rows)

    def _run(self, files: Mapping[str, list[TableFile]], run: RunRows) -> None:
        name = f"{run.serial}-{run.run_number}"
        sweeps = [self._sweep(name, row) for row in run.parts["sweep"]]
        parts = {"run": [run.run], **run.parts, "sweep": sweeps}
        for table, rows in parts.items():
            self._add(files, table, rows)
        if "json" in self.forms:
            whole = {"order": run.order, "unit": run.unit, **parts, "run": run.run}
            text = json.dumps(whole, indent=1, ensure_ascii=False, default=plain)
            self._put(f"runs/{name}.json", f"{text}\n".encode())

    def _sweep(self, run: str, row: Row) -> Row:
        notes = _notes(f"run {run}, as the analyzer gave it", row, "sweep")
        ending, data = unpacking.s_parameters(row["data"], notes, phase=row["phase"])
        return {**row, "data": self._put(f"sweeps/{run}/{row['position']}-{row['ports']}{ending}", data)}

    def _of_calibration(self, table: str, row: Row) -> Row:
        """With the names of files in the place of what was packed; a row without any is as it was."""
        named = dict(row)
        for column in PACKED.get(table, ()):
            path = f"calibrations/{row['calibration_id']}/{table}-{row['position']}"
            if table == "error_terms":
                ending, data = unpacking.matrices(row[column], column)
                path = f"{path}-{column}"
            else:
                notes = _notes(f"calibration {row['calibration_id']}", row, table)
                ending, data = unpacking.s_parameters(row[column], notes, phase=row.get("phase", True))
            named[column] = self._put(f"{path}{ending}", data)
        return named

    def _put(self, name: str, data: bytes) -> str:
        path = self.built / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        if name.endswith(unpacking.DAMAGED):
            self.done.damaged.append(name)
        return name


def _notes(first: str, row: Row, table: str) -> list[str]:
    """Comment lines of a Touchstone file, which knows nothing but numbers."""
    told = {column: value for column, value in row.items() if column not in PACKED[table]}
    return [first, *(f"{column}: {plain(value)}" for column, value in told.items())]


def _write_dictionary(folder: Path, columns: Sequence[ColumnWords]) -> None:
    names = ("table", "name", "meaning", "unit", "kind", "may_be_missing", "is_key")
    heads = [ColumnWords("dictionary", name, "", "", "text", False, False) for name in names]
    with closing(CsvTable(folder, "dictionary", heads)) as file:
        file.write([asdict(column) for column in columns])
