"""What the verbs on the works folder do: one call on the desk, then the showing of what came back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reports import wording
from station.cli.asking import out
from station.cli.exits import Exit
from station.cli.signing_in import signed_in
from station.cli.tables import Column, print_json, say, show, there
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.progress import Progress

BENCH_TO_EDIT = """\
# The instruments of this station. Put in your own analyzer: its VISA address, the dialect it speaks, a part of
# its answer to *IDN? and its range. `station try-dialect` tells whether they understand each other.

bench: {name}
analyzer:
  kind: vector
  address: TCPIP::192.0.2.10::5025::SOCKET
  dialect: linear-single
  identity:
  from: 300 kHz
  to: 3 GHz
  most_points: 1601

# What makes readings trustworthy is told in the README; take out the '#' and write in your own:
# calibration: {{by: station, kit: works-n, cables: N 1.5 m, valid_for: 12 h}}    # or by: analyzer
# uncertainty:
#   noise_floor: -115 dBm at 1 kHz
#   trace_noise: 0.002 dB
#   connector_repeatability: 0.02 dB
#   drift: 0.02 dB
#   directivity: 40 dB
#   port_match: 38 dB
#   load_match: 38 dB
# check_standard: {{serial: SKC-001, every: 12 h}}
# cables:
#   cable 1: {{port: 1, service_after: 500 matings}}
#   cable 2: {{port: 2, service_after: 500 matings}}
# thermometer: {{address: "TCPIP::192.0.2.12::5025::SOCKET", identity: Thermometer}}
"""


def create(folder: Path, name: str, address: tuple[str, ...], bench: str) -> None:
    """Make an empty works folder."""
    from station.desk import make_works

    works = make_works(folder, name, address, BENCH_TO_EDIT.format(name=bench))
    say(
        out(),
        f"{folder} is ready. Next:\n"
        f"  put your analyzer into {folder / works.bench.name}\n"
        f"  station key{there(folder)}\n"
        f"  station import ORDERS.csv{there(folder)}",
    )


def import_orders(folder: Path, file: Path, by: str, *, as_json: bool) -> None:
    """Take in work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        taken_in = {order.number for order in signed_in(desk, by).import_orders(file)}
        progress = [each for each in desk.orders() if each.order.number in taken_in]
    _show_orders(progress, as_json=as_json)


def orders(folder: Path, *, as_json: bool) -> None:
    """List the work orders."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        progress = desk.orders()
    if not progress and not as_json:
        say(out(), f"No work orders yet. Next: station import ORDERS.csv{there(folder)}")
        return
    _show_orders(progress, as_json=as_json)


ORDERS = (
    Column("order", "Order", least=8),
    Column("customer", "Customer"),
    Column("model", "Model"),
    Column("tx_hz", "TX, MHz", wording.megahertz, right=True, least=9),
    Column("rx_hz", "RX, MHz", wording.megahertz, right=True, least=9),
    Column("due", "Due", least=10),
    Column("progress", "Units"),
)


def _show_orders(progress: Sequence[Progress], *, as_json: bool) -> None:
    rows = [
        {
            "order": each.order.number,
            "customer": each.order.customer,
            "model": each.order.model,
            "tx_hz": each.order.tx_hz,
            "rx_hz": each.order.rx_hz,
            "due": each.order.due,
            "units": len(each.order.serials),
            "passed": each.passed,
            "failed": each.failed,
            "undecided": each.undecided,
            "released": each.released,
            "rejected": each.rejected,
            "untested": each.untested,
            "serials": list(each.order.serials),
        }
        for each in progress
    ]
    if as_json:
        print_json(rows, out())
    else:
        show([{**row, "progress": _progress_words(row)} for row in rows], ORDERS, out(), as_json=False)


def _progress_words(row: dict[str, Any]) -> str:
    names = ("passed", "released", "failed", "rejected", "undecided", "untested")
    counted = [f"{row[name]} {name}" for name in names if row[name]]
    return f"{row['units']}: {', '.join(counted)}"


def check(folder: Path, files: tuple[Path, ...], *, as_json: bool) -> Exit:
    """Check files of the works."""
    from station.desk import check_files

    checked = check_files(folder, files)
    if as_json:
        rows = [
            {
                "file": str(one.path),
                "kind": one.kind,
                "mistakes": [asdict(mistake) for mistake in one.mistakes],
            }
            for one in checked
        ]
        print_json(rows, out())
    else:
        for one in checked:
            say(out(), "\n".join(map(str, one.mistakes)) or f"{one.path}: {one.kind}, in order")
    return Exit.MISTAKE if any(one.mistakes for one in checked) else Exit.PASS


def schema(kind: str) -> None:
    """Print the JSON Schema of a kind of file."""
    from limits.formwords import nearest
    from limits.known import schema as known_values_schema
    from limits.table import schema as limit_table_schema
    from reports.twin import schema as certificate_schema
    from station.bench.form import bench_schema
    from station.instruments.dialect import dialect_schema
    from station.measurements.kit import kit_schema
    from station.sequencer.recipe import schema as recipe_schema

    schemas: dict[str, Callable[[], dict[str, object]]] = {
        "recipe": recipe_schema,
        "limit-table": limit_table_schema,
        "bench": bench_schema,
        "dialect": dialect_schema,
        "known-values": known_values_schema,
        "kit": kit_schema,
        "certificate": certificate_schema,
    }
    if kind not in schemas:
        raise UserMistake(
            f"no schema of '{kind}'{nearest(kind, schemas) or '; there are ' + ', '.join(schemas)}"
        )
    print_json(schemas[kind](), out())
