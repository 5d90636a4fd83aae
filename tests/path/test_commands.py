"""The verbs as a user types them: what is printed, what a program can read, how they end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import pyvisa
import skrf

from fixtures_sim.server import Bench
from station.settings import Works


def test_help_names_every_verb_and_the_exit_codes(station) -> None:
    told = station("--help")
    assert told.code == 0
    for word in (
        "demo",
        "create",
        "import",
        "test",
        "check",
        "show",
        "certify",
        "verify",
        "try-dialect",
        "simulate",
    ):
        assert f"\n  {word} " in told.out
    assert "5 station" in told.out


def test_no_room_that_talks_to_instruments_or_databases_is_loaded_for_help() -> None:
    """What makes `station --help` instant is what it does not import."""
    script = (
        "import sys, station.cli.main as m\n"
        "try: m.app(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'sqlalchemy', 'pyvisa', 'reportlab', 'pyhanko', 'pandas', 'skrf', 'pydantic'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, capture_output=True)


def test_a_new_works_is_made_keyed_filled_and_checked(tmp_path: Path, station) -> None:
    folder = tmp_path / "mine"
    made = station(
        "create", folder, "--name", "Skerry Works", "--address", "Net Loft Quay 3", "--bench", "bench 2"
    )
    assert made.code == 0
    checked = station("check", "--works", folder)
    assert (checked.code, "bench.yaml" in checked.out) == (2, True)
    bench = (folder / "bench.yaml").read_text()
    (folder / "bench.yaml").write_text(bench.replace("  identity:", "  identity: Simulated"))
    assert station("check", "--works", folder).code == 0
    (folder / "works.yaml").write_text(
        (folder / "works.yaml").read_text().replace("passphrase: prompt", "passphrase: {environment: SALT}")
    )
    unset = station("key", "--works", folder)
    assert (unset.code, "SALT" in unset.err) == (2, True)
    assert station("key", "--works", folder, env={"SALT": "herring"}).code == 0
    assert (folder / "keys" / "signing.p12").stat().st_mode & 0o077 == 0
    assert (folder / "keys" / "signing.pem").read_text().startswith("-----BEGIN CERTIFICATE-----")
    orders = tmp_path / "orders.csv"
    orders.write_text(
        "order,customer,model,tx,rx,serials,due\n"
        "SKO-7,Somebody,SK-V4,156.6 MHz,157.4 MHz,SKV-0700..SKV-0702,2026-12-18\n"
    )
    told = station("import", orders, "--works", folder, "--json")
    (order,) = json.loads(told.out)
    assert (order["order"], order["units"], order["untested"], order["tx_hz"]) == ("SKO-7", 3, 3, 156.6e6)


def test_a_person_tests_a_unit_and_gets_its_certificate(
    works: Works, simulated: Bench, hands, station
) -> None:
    """The person's hands are the test's: they cable what the terminal asks for before they press Enter."""
    program = str(Path(sys.executable).with_name("station"))
    command = [
        program,
        "test",
        "SKV-0001",
        "--works",
        str(works.folder),
        "--operator",
        "Signe",
        "--temperature",
        "21 °C",
    ]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdin
        assert running.stdout
        heard = ""
        for first, second in (("TX", "ANT"), ("ANT", "RX"), ("TX", "RX")):
            while not heard.endswith("Ctrl-C to stop. "):
                letter = running.stdout.read(1)
                assert letter, heard
                heard += letter
            assert f"for {first}-{second}:" in heard
            simulated.hook_up(first, second)
            running.stdin.write("\n")
            running.stdin.flush()
            heard = ""
        rest = running.stdout.read()
        assert running.wait(timeout=60) == 0
    assert "Passed." in rest
    facts = json.loads(station("show", "SKV-0001", "--works", works.folder, "--json").out)
    assert facts["readings_of"]["operator"] == "Signe"
    assert facts["readings_of"]["temperature_c"] == 21.0
    assert len({decision["name"] for decision in facts["readings_of"]["decisions"]}) == 19
    assert station("certify", "SKV-0001", "--works", works.folder).code == 0
    shown = station("show", "SKV-0001", "--works", works.folder)
    assert "certificate" in shown.out
    assert "≤ 1.80 dB" in shown.out


def test_sweeps_come_out_as_touchstone_with_ports_and_hook_up_stated(
    works: Works, hands, station, tmp_path
) -> None:
    from station.desk import open_desk

    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        session.test("SKV-0001")
        kept = desk.stored_run("SKV-0001").sweeps
    told = station("touchstone", "SKV-0001", "--out", tmp_path / "sweeps", "--works", works.folder)
    assert told.code == 0
    paths = [Path(line) for line in told.out.splitlines()]
    assert [path.name for path in paths] == [
        f"SKV-0001-1 {name}.s2p" for name in ("TX-ANT", "ANT-RX", "TX-RX")
    ]
    for path, sweep in zip(paths, kept, strict=True):
        network = skrf.Network(str(path))
        assert (network.s == sweep.s).all()
        assert f"port 2 = {sweep.hookup.second}" in path.read_text()


def test_a_dialect_is_tried_line_by_line(works: Works, simulated: Bench, hands, station) -> None:
    simulated.hook_up("TX", "ANT")
    fine = station("try-dialect", "--works", works.folder, "--json")
    assert fine.code == 0
    assert all(line["fine"] for line in json.loads(fine.out))
    shipped = Path(__import__("station").__file__).parent / "instruments" / "dialects" / "linear-single.yaml"
    own = shipped.read_text().replace("SENS:BAND {", "SENS:BANDPASS {").replace("linear-single", "ours")
    (works.dialects / "ours.yaml").write_text(own)
    works.bench.write_text(works.bench.read_text().replace("linear-single", "ours"))
    told = station("try-dialect", "--works", works.folder, "--json")
    assert told.code == 5
    wrong = [line for line in json.loads(told.out) if not line["fine"]]
    assert any("SENS:BANDPASS" in line["sent"] for line in wrong)
    assert any("-113" in error for line in wrong for error in line["errors"])


@pytest.mark.parametrize("kind", ["recipe", "limit-table", "bench", "dialect"])
def test_a_schema_is_printed_for_every_kind_of_file(station, kind: str) -> None:
    schema = json.loads(station("schema", kind).out)
    assert schema["$schema"].endswith("2020-12/schema")


def test_the_simulated_bench_alone_answers_any_scpi_client_and_ends_with_ctrl_c() -> None:
    program = str(Path(sys.executable).with_name("station"))
    with subprocess.Popen(
        [program, "simulate"], stdout=subprocess.PIPE, text=True, env=dict(os.environ)
    ) as running:
        assert running.stdout
        running.stdout.readline()
        address = running.stdout.readline().strip()
        manager = pyvisa.ResourceManager("@py")
        with manager.open_resource(address, read_termination="\n", write_termination="\n") as analyzer:
            assert "Simulated vector analyzer" in analyzer.query("*IDN?")
            assert analyzer.query("SYST:VERS?") == "1999.0"
        manager.close()
        running.send_signal(signal.SIGINT)
        assert running.wait(timeout=20) == 0


def test_ctrl_c_at_a_hook_up_stops_the_run_and_keeps_it(
    works: Works, simulated: Bench, hands, station
) -> None:
    program = str(Path(sys.executable).with_name("station"))
    command = [program, "test", "SKV-0001", "--works", str(works.folder), "--operator", "Signe"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout
        assert running.stderr
        heard = ""
        while not heard.endswith("Ctrl-C to stop. "):
            letter = running.stdout.read(1)
            assert letter, heard
            heard += letter
        time.sleep(0.2)
        running.send_signal(signal.SIGINT)
        assert running.wait(timeout=30) == 130
        assert "Traceback" not in running.stderr.read()
    (run,) = json.loads(station("show", "SKV-0001", "--works", works.folder, "--json").out)["runs"]
    assert run["verdict"] == "stopped"
