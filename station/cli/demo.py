"""The demo: a small production of Skerry Works on a simulated bench, from work orders to signed certificates.

Everything goes through the doors a real works uses: a bench file, a CSV of orders, VISA, the store, the key. Only
the hands that cable the units are software, and only they know which units were built wrong on purpose.
"""

from __future__ import annotations

import secrets
import shlex
import sys
import time
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from limits.verdict import Outcome, Verdict
from reports import wording
from station import desk as desks
from station import settings
from station.cli.exits import Exit
from station.cli.simulator import Hands, Ports, hands_of, simulated_bench
from station.cli.tables import Column, print_json, say, show, verdict_style
from station.desk import Desk, open_desk
from station.errors import UserMistake
from station.files import write_whole
from station.keyring import make_key, open_key
from station.sequencer.events import Event, HookupAsked, StandardAsked

NAME = "Skerry Works, demonstration"
ADDRESS = ("Net Loft Quay 3", "Holmsund Skerries")
ORDERS = """\
order,customer,model,tx,rx,serials,due
SKO-2604,Northern Skerries Coastal Rescue,SK-V4,156.600 MHz,157.400 MHz,SKV-0101..SKV-0107,2026-12-18
SKO-2605,Lantern Sound Harbour Watch,SK-U4,455.000 MHz,460.500 MHz,SKU-0201..SKU-0206,2027-01-15
SKO-2606,Outer Banks Relay Association,SK-L2,1575 MHz,1622 MHz,SKL-0301,2027-01-29
"""

BENCH = """\
bench: final test 1
analyzer:
  kind: vector
  address: {address}
  dialect: linear-single
  identity: Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
  calibrated: 2026-09-14, Holm Calibration 2026-104
thermometer:
  address: {thermometer}
  identity: Simulated thermometer
  calibrated: 2026-09-14, Holm Calibration 2026-105
cables:
  cable 1: {{port: 1, service_after: 500 matings}}
  cable 2: {{port: 2, service_after: 500 matings}}
calibration:
  by: station
  kit: works-n
  cables: N, 1.5 m, pair 3
  valid_for: 12 h
  temperature_change: 3 K
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.03 dB
  drift: 0.03 dB
  directivity: 40 dB
  port_match: 38 dB
  load_match: 38 dB
check_standard: {{serial: SKC-001, every: 12 h}}
"""

CONDITIONS = """\
conditions: {settle: 20 min, temperature: 18 to 28 °C, most_change: 2 K}
"""
"""Of every product's recipe in this works; the hands say that each unit has lain there for as long."""

STANDARD = "SKC-001"
KNOWN = """\
standard: SKC-001
certificate: Holm Calibration 2026-117 of 2026-10-02
known:
  tx_loss_160:          6.431 dB ± 0.05 dB
  rx_loss_160:          53.855 dB ± 0.10 dB
  isolation_160:        53.855 dB ± 0.10 dB
  tx_return_loss_160:   32.45 dB ± 1.0 dB
  ant_return_loss_160:  32.45 dB ± 1.0 dB
  rx_return_loss_160:   26.59 dB ± 0.5 dB

  tx_loss_455:          6.436 dB ± 0.05 dB
  rx_loss_455:          53.860 dB ± 0.10 dB
  isolation_455:        53.860 dB ± 0.10 dB
  tx_return_loss_455:   32.40 dB ± 1.0 dB
  ant_return_loss_455:  32.40 dB ± 1.0 dB
  rx_return_loss_455:   26.59 dB ± 0.5 dB

  tx_loss_1600:         6.448 dB ± 0.05 dB
  rx_loss_1600:         53.872 dB ± 0.10 dB
  isolation_1600:       53.872 dB ± 0.10 dB
  tx_return_loss_1600:  31.82 dB ± 1.0 dB
  ant_return_loss_1600: 31.82 dB ± 1.0 dB
  rx_return_loss_1600:  26.60 dB ± 0.5 dB
"""
"""What is known of the simulated check standard, as a calibration laboratory would state it."""

CAREFUL = {"kind": "tolerance", "percent": 30}
"""Built with a third of the usual errors, so that the rehearsed defect alone decides, at any seed."""

BUILT_WRONG: dict[str, tuple[str, list[dict[str, Any]]]] = {
    "SKV-0103": ("cavity 1 left 100 kHz off", [CAREFUL, {"kind": "pass off", "cavity": 1, "khz": 100}]),
    "SKV-0106": (
        "cavity 2 left 36 kHz off: marginal",
        [{"kind": "tolerance", "percent": 5}, {"kind": "pass off", "cavity": 2, "khz": 36}],
    ),
    "SKU-0204": ("RX jumper 80 mm too long", [CAREFUL, {"kind": "wrong jumper", "side": "RX", "mm": 80}]),
}
"""What was done to some units on purpose: in words, and as the hands are told."""

MEASURED_SPECIMEN = "SKL-0301"
"""Two filters that somebody measured, joined at a tee: real data on the fixture instead of a simulated unit."""


@dataclass(slots=True)
class Outcomes:
    """What came of the units, in the order of testing."""

    rows: list[dict[str, Any]] = field(default_factory=list)

    @property
    def passed(self) -> int:
        """How many passed."""
        return sum(row["verdict"] == Outcome.PASS.value for row in self.rows)


def run_demo(folder: Path | None, seed: int, *, real_time: bool, as_json: bool) -> Exit:
    """Make a works folder, test its production and print what came of it."""
    console = Console(stderr=as_json)
    started = time.monotonic()
    folder = folder or _free_folder()
    with simulated_bench(seed, real_time=real_time, uncalibrated=True) as ports:
        _make_works(folder, ports)
        try:
            with open_desk(folder) as desk, hands_of(ports) as hands:
                outcomes = _test_all(desk, hands, console)
        except KeyboardInterrupt:
            say(console, f"What was tested until now is in {folder.absolute()}")
            raise
    if as_json:
        print_json({"folder": str(folder.absolute()), "seed": seed, "units": outcomes.rows}, Console())
    else:
        _tell(folder, outcomes, time.monotonic() - started, console)
    return Exit.PASS


def _free_folder() -> Path:
    """`station-demo` here, or the next number that is free."""
    for number in range(1, 1000):
        folder = Path("station-demo" if number == 1 else f"station-demo-{number}")
        if not folder.exists():
            return folder
    raise UserMistake("there are 999 station-demo folders here; remove some, or name another with --folder")


def _bench(ports: Ports) -> str:
    return BENCH.format(address=ports.socket_address, thermometer=ports.address_of("thermometer"))


def _make_works(folder: Path, ports: Ports) -> None:
    works = desks.make_works(folder, NAME, ADDRESS, _bench(ports))
    for model in {line.split(",")[2] for line in ORDERS.splitlines()[1:]}:
        recipe = works.recipes / f"{model}.yaml"
        text = recipe.read_text(encoding="utf-8")
        recipe.write_text(text.replace("overview:", f"{CONDITIONS}overview:", 1), encoding="utf-8")
    passphrase = secrets.token_urlsafe(18)
    write_whole(works.standards / f"{STANDARD}.yaml", KNOWN.encode())
    write_whole(works.keys / "passphrase", passphrase.encode(), private=True)
    text = (works.folder / settings.FILE).read_text(encoding="utf-8")
    source = "  passphrase: {file: keys/passphrase}"
    (works.folder / settings.FILE).write_text(text.replace("  passphrase: prompt", source), encoding="utf-8")
    make_key(works, lambda: passphrase, desks.now_utc(), years=5)
    (works.folder / "orders.csv").write_text(ORDERS, encoding="utf-8")


def _test_all(desk: Desk, hands: Hands, console: Console) -> Outcomes:
    orders = desk.import_orders(desk.works.folder / "orders.csv")
    outcomes = Outcomes()

    @cache
    def key() -> Any:
        return open_key(desk.works, settings.passphrase(desk.works, {}, str), desk.clock())

    columns = (TextColumn("{task.description:<44}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        serial = STANDARD
        bar = progress.add_task("", total=sum(len(order.serials) for order in orders))

        def listen(event: Event) -> None:
            if isinstance(event, HookupAsked):
                progress.update(bar, description=f"{serial}: {event.hookup.name}")
            if isinstance(event, StandardAsked):
                progress.update(bar, description=f"calibration: {event.step}")

        with desk.bench(hands, listen) as bench:
            bench.calibrate()
            hands.place(specimen="check standard")
            bench.check()
            for order in orders:
                for serial in order.serials:
                    _place(hands, order, serial)
                    judged = bench.test(serial)
                    progress.update(bar, description=f"{serial}: certificate")
                    issued = desk.certify(serial, judged.key.run_number, key)
                    outcomes.rows.append(_row(serial, order.model, judged.verdict, issued.entry.file))
                    progress.advance(bar)
    return outcomes


def _place(hands: Hands, order: Any, serial: str) -> None:
    if serial == MEASURED_SPECIMEN:
        hands.place(specimen="combline pair")
        return
    defects = BUILT_WRONG[serial][1] if serial in BUILT_WRONG else []
    hands.place(model=order.model, serial=serial, tx_hz=order.tx_hz, rx_hz=order.rx_hz, defects=defects)


def _row(serial: str, model: str, verdict: Verdict, file: str) -> dict[str, Any]:
    return {
        "serial": serial,
        "model": model,
        "verdict": verdict.outcome.value,
        "because": _because(verdict),
        "document": Path(file).name,
    }


def _because(verdict: Verdict) -> str:
    failed = sorted(
        (decision for decision in verdict.decisions if decision.outcome is not Outcome.PASS),
        key=lambda decision: decision.level.value,
    )
    if not failed:
        return ""
    titles = list(dict.fromkeys(decision.reading.title for decision in failed))
    worst = f"{titles[0]}: {wording.judged(failed[0])} ({failed[0].level} {failed[0].limit_text})"
    more = f"; and {len(titles) - 1} more" if len(titles) > 1 else ""
    return f"{worst}{more}"


def _tell(folder: Path, outcomes: Outcomes, took_s: float, console: Console) -> None:
    columns = (
        Column("serial", "Serial"),
        Column("model", "Model"),
        Column("verdict", "Verdict", style=verdict_style),
        Column("because", "Because"),
    )
    show(outcomes.rows, columns, console, as_json=False)
    total = len(outcomes.rows)
    wrong = "\n".join(f"  {serial}  {what}" for serial, (what, _) in BUILT_WRONG.items())
    say(
        console,
        f"First-pass yield: {outcomes.passed} of {total} ({outcomes.passed / total:.0%}). "
        f"{len(BUILT_WRONG)} units were built wrong on purpose:\n{wrong}\n\n"
        f"Took {took_s:.1f} s. Everything is in {folder}\n\n"
        f"Try next:\n{_next_commands(folder, outcomes)}",
    )


def _next_commands(folder: Path, outcomes: Outcomes) -> str:
    program, where = shlex.quote(sys.argv[0]), shlex.quote(str(folder))
    failed = next(
        (row["serial"] for row in outcomes.rows if row["verdict"] != Outcome.PASS.value), "SKV-0101"
    )
    passed = next((row["document"] for row in outcomes.rows if row["verdict"] == Outcome.PASS.value), None)
    document = shlex.quote(str(folder / "certificates" / passed)) if passed else "CERTIFICATE.pdf"
    return (
        f"  {program} show {failed} --works {where}\n"
        f"  {program} standard --history --works {where}\n"
        f"  {program} verify {document} --works {where}\n"
        f"  {program} orders --works {where}"
    )
