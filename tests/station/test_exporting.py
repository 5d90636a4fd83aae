"""What is given away equals what is stored, as programs of others read it; of one moment, the same each time."""

from __future__ import annotations

import csv
import json
import tracemalloc
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
import skrf

from station import settings
from station.backup import back_up
from station.database import sweep_codec
from station.database.dictionary import columns_of, exported_tables
from station.database.outflow import Choice
from station.database.store import Store
from station.database.words import PACKED, SECRET
from station.errors import UserMistake
from station.exporting import FORMS, Exported, export
from station.restoring import restore
from station.settings import Works

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NOW = datetime(2026, 11, 25, 16, 0, tzinfo=UTC)
Rows = list[dict[str, Any]]
TABLES = {table.name: table for table in exported_tables()}


def exported(
    works: Works, target: Path, choice: Choice | None = None, forms: Sequence[str] = FORMS
) -> Exported:
    with Store.open(works.database) as store:
        return export(works, store, target, choice or Choice(), forms)


def stored(works: Works) -> dict[str, Rows]:
    """Every row that the database holds, by the schema's own types."""
    with Store.open(works.database) as store, store.outflow(Choice()) as flow:
        query = {name: table.select().order_by(*table.primary_key.columns) for name, table in TABLES.items()}
        return {
            name: [dict(row) for row in flow.connection.execute(each).mappings()]
            for name, each in query.items()
        }


def without_files(name: str, rows: Rows) -> Rows:
    """Without the columns that hold names of files in an export."""
    return [
        {key: value for key, value in row.items() if key not in PACKED.get(name, ())}
        for row in sorted(rows, key=lambda row: [row[key.name] for key in TABLES[name].primary_key.columns])
    ]


def read_back(name: str, row: dict[str, Any]) -> dict[str, Any]:
    """What the dictionary says of a CSV's texts, done by hand."""
    kinds = {column.name: column.kind for column in columns_of(TABLES[name])}

    def value(kind: str, text: Any) -> Any:
        if text is None:
            return None
        if kind in ("text", "JSON", "bytes"):
            plain = text.removeprefix("'")
            return {"JSON": json.loads, "bytes": bytes.fromhex}.get(kind, str)(plain)
        kinds = {"integer": int, "real": float, "day": date.fromisoformat, "time": datetime.fromisoformat}
        return text == "true" if kind == "true or false" else kinds[kind](text)

    return {key: value(kinds[key], text) for key, text in row.items()}


def test_every_table_as_csv_is_what_is_stored_as_duckdb_reads_it(rich_works, tmp_path):
    done = exported(rich_works, tmp_path / "out")
    known = stored(rich_works)
    assert sum(map(bool, known.values())) >= 15
    for name, rows in known.items():
        file = tmp_path / "out" / "tables" / f"{name}.csv"
        relation = duckdb.connect().execute(
            "SELECT * FROM read_csv(?, all_varchar = true, allow_quoted_nulls = false, nullstr = '')",
            [str(file)],
        )
        heads = [column[0] for column in relation.description]
        found = [read_back(name, dict(zip(heads, row, strict=True))) for row in relation.fetchall()]
        assert without_files(name, found) == without_files(name, rows), name
        assert done.rows[name] == len(rows)


def test_numbers_as_csv_are_what_is_stored_to_the_last_bit_as_pandas_reads_it(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out")
    readings = pd.read_csv(tmp_path / "out" / "tables" / "reading.csv")
    assert readings["value"].tolist() == [row["value"] for row in stored(rich_works)["reading"]]
    runs = pd.read_csv(tmp_path / "out" / "tables" / "run.csv", parse_dates=["started"])
    assert [each.to_pydatetime() for each in runs["started"]] == [
        row["started"] for row in stored(rich_works)["run"]
    ]


def test_every_table_as_parquet_is_what_is_stored_as_duckdb_reads_it(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out", forms=["parquet"])
    for name, rows in stored(rich_works).items():
        file = tmp_path / "out" / "tables" / f"{name}.parquet"
        times = [column.name for column in columns_of(TABLES[name]) if column.kind == "time"]
        replaced = ", ".join(f"epoch_us({each}) AS {each}" for each in times)
        what = f"* REPLACE ({replaced})" if times else "*"
        relation = duckdb.connect().execute(f"SELECT {what} FROM read_parquet(?)", [str(file)])
        heads = [column[0] for column in relation.description]
        found = [dict(zip(heads, row, strict=True)) for row in relation.fetchall()]
        for row in found:
            row |= {key: json.loads(row[key]) for key in ("lines",) if key in row}
            row |= {key: EPOCH + timedelta(microseconds=row[key]) for key in times if row[key] is not None}
        assert without_files(name, found) == without_files(name, rows), name
    assert not (tmp_path / "out" / "runs").exists()


def test_each_column_of_a_parquet_file_carries_its_words_and_type(rich_works, tmp_path):
    import pyarrow.parquet as parquet

    exported(rich_works, tmp_path / "out", forms=["parquet"])
    for name, table in TABLES.items():
        found = parquet.read_schema(tmp_path / "out" / "tables" / f"{name}.parquet")
        for column in columns_of(table):
            field = found.field(column.name)
            assert field.metadata[b"meaning"].decode() == column.meaning
            assert field.nullable is column.may_be_missing


def test_a_json_of_each_run_holds_all_of_its_rows(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out")
    known = stored(rich_works)
    names = sorted(path.name for path in (tmp_path / "out" / "runs").iterdir())
    assert names == [f"{serial}-1.json" for serial in ("SKV-0101", "SKV-0102", "SKV-0201", "SKV-0301")]
    for path in (tmp_path / "out" / "runs").iterdir():
        whole = json.loads(path.read_bytes())
        run_id = whole["run"]["id"]
        assert whole["unit"]["serial"] + "-1.json" == path.name
        assert whole["order"]["id"] == whole["unit"]["order_id"]
        for name in ("reading", "sweep", "decision", "instrument", "certificate"):
            keys = ("run_id", "position", "number", "value", "at_hz", "doubt", "lines", "identity")
            assert [{key: row[key] for key in keys if key in row} for row in whole[name]] == [
                {key: row[key] for key in keys if key in row}
                for row in known[name]
                if row["run_id"] == run_id
            ]


def test_sweeps_as_touchstone_are_what_is_stored_to_the_last_bit(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out", forms=["csv"])
    packed = {(row["run_id"], row["position"]): row for row in stored(rich_works)["sweep"]}
    with (tmp_path / "out" / "tables" / "sweep.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        kept = packed[int(row["run_id"]), int(row["position"])]
        freq_hz, s = sweep_codec.decode(kept["data"])
        file = tmp_path / "out" / row["data"]
        if kept["phase"]:
            network = skrf.Network(str(file))
            assert network.f.tolist() == freq_hz.tolist()
            assert np.array_equal(network.s, s)
        else:
            table = pd.read_csv(file)
            assert table["freq_hz"].tolist() == freq_hz.tolist()
            assert np.array_equal(table[["s11", "s12", "s21", "s22"]], s.real.reshape(-1, 4), equal_nan=True)
    assert {Path(row["data"]).suffix for row in rows} == {".s2p", ".csv"}


def test_error_terms_of_a_calibration_are_what_is_stored(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out", forms=["csv"])
    (kept,) = stored(rich_works)["error_terms"]
    for name in ("leak", "match", "tracking"):
        freq_hz, values = sweep_codec.decode(kept[name])
        table = pd.read_csv(tmp_path / f"out/calibrations/1/error_terms-0-{name}.csv")
        assert table["freq_hz"].tolist() == freq_hz.tolist()
        assert (table[f"{name}21_re"] + 1j * table[f"{name}21_im"]).tolist() == values[:, 1, 0].tolist()
    assert (tmp_path / "out/calibrations/1/calibration_load-0.s1p").exists()
    assert (tmp_path / "out/calibrations/1/standard_sweep-0.s2p").exists()


def test_the_dictionary_tells_exactly_the_columns_that_are_there(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out")
    with (tmp_path / "out" / "dictionary.csv").open(newline="", encoding="utf-8") as stream:
        told = {(row["table"], row["name"]) for row in csv.DictReader(stream) if row["meaning"]}
    found = set()
    for file in (tmp_path / "out" / "tables").glob("*.csv"):
        with file.open(newline="") as stream:
            found |= {(file.stem, name) for name in next(csv.reader(stream))}
    assert told == found
    page = (tmp_path / "out" / "dictionary.md").read_text(encoding="utf-8")
    assert all(f"\n## {table}\n" in page and f" {name} " in page.replace("*", " ") for table, name in told)


def test_secrets_are_not_in_it(rich_works, tmp_path):
    exported(rich_works, tmp_path / "out")
    names = {path.stem for path in (tmp_path / "out").rglob("*")}
    assert not names & {*SECRET, "signing", "passphrase"}


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def test_the_same_records_give_the_same_bytes_on_either_engine(rich_works, tmp_path, postgresql_url):
    exported(rich_works, tmp_path / "first")
    exported(rich_works, tmp_path / "second")
    with Store.open(rich_works.database) as store:
        back_up(rich_works, store, tmp_path / "backup", NOW)
    restore(tmp_path / "backup", tmp_path / "on server", postgresql_url)
    exported(settings.load(tmp_path / "on server"), tmp_path / "third")
    assert files(tmp_path / "first") == files(tmp_path / "second") == files(tmp_path / "third")


def test_of_one_order_all_that_belongs_to_it_and_nothing_else(rich_works, tmp_path):
    done = exported(rich_works, tmp_path / "out", Choice(order="SKO-1"))
    assert (done.rows["work_order"], done.rows["unit"], done.rows["run"]) == (1, 2, 2)
    assert (done.rows["reading"], done.rows["sweep"], done.rows["certificate"]) == (2, 6, 2)
    assert (done.rows["document"], done.rows["cable_event"], done.rows["calibration"]) == (3, 0, 0)
    assert {path.name for path in (tmp_path / "out" / "runs").iterdir()} == {
        "SKV-0101-1.json",
        "SKV-0102-1.json",
    }


def test_of_some_days_the_runs_that_began_on_them(rich_works, tmp_path, one_more):
    with Store.open(rich_works.database) as store:
        for _ in range(15):
            one_more(rich_works, store)
    next_day = date(2026, 11, 26)
    late = exported(rich_works, tmp_path / "late", Choice(since=next_day))
    early = exported(rich_works, tmp_path / "early", Choice(until=date(2026, 11, 25)))
    both = exported(rich_works, tmp_path / "both", Choice(since=date(2026, 11, 25), until=next_day))
    assert (late.rows["run"], early.rows["run"], both.rows["run"]) == (13, 6, 19)
    assert (late.rows["unit"], late.rows["work_order"]) == (1, 1)


def test_an_order_that_is_not_there_is_said_and_nothing_made(rich_works, tmp_path):
    with pytest.raises(UserMistake, match="there is no work order SKO-9"):
        exported(rich_works, tmp_path / "out", Choice(order="SKO-9"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["works"]


def test_a_damaged_sweep_is_given_away_as_it_is_and_named(rich_works, tmp_path):
    import sqlite3

    with sqlite3.connect(rich_works.folder / "records.sqlite") as careless:
        careless.execute(
            "UPDATE sweep SET data = CAST(substr(data, 1, 90) AS BLOB) WHERE run_id = 2 AND position = 1"
        )
    careless.close()
    done = exported(rich_works, tmp_path / "out")
    assert done.damaged == ["sweeps/SKV-0102-1/1-ANT-RX.damaged"]
    kept = next(row for row in stored(rich_works)["sweep"] if (row["run_id"], row["position"]) == (2, 1))
    assert (tmp_path / "out" / done.damaged[0]).read_bytes() == kept["data"]


def test_it_takes_no_more_memory_for_more_runs(small_works, tmp_path, one_more):
    def peak(target: Path) -> int:
        tracemalloc.start()
        exported(small_works, target, forms=["csv", "json"])
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    with Store.open(small_works.database) as store:
        for _ in range(40):
            one_more(small_works, store)
        peak(tmp_path / "what is loaded on first use")
        few = peak(tmp_path / "few")
        for _ in range(200):
            one_more(small_works, store)
    assert peak(tmp_path / "many") < 1.5 * few
