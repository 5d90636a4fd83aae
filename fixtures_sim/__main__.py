"""`python -m fixtures_sim`: a bench on loopback, for any SCPI client to play with.

Prints one JSON line with the ports and what lies on the fixture as soon as it can be reached. Runs until it is
interrupted, or, with `--until-stdin-closes`, until whoever started it goes away.
"""

from __future__ import annotations

import argparse
import json
import os
import select
import signal
import sys
from collections.abc import Mapping
from types import FrameType
from typing import Any

from fixtures_sim.connections import Connectors
from fixtures_sim.device import PORT_NAMES
from fixtures_sim.drift import Drift
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.loads import Load
from fixtures_sim.port_errors import DrawnPorts
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.server import Bench, running_bench
from fixtures_sim.tcp import PortTaken
from fixtures_sim.units import build_unit

SAMPLE: Mapping[str, Any] = {"model": "SK-V4", "serial": "SKV-0001", "tx_hz": 156.6e6, "rx_hz": 157.4e6}
"""What lies on the fixture until the hands place something else; 0.8 MHz is what the model is built for."""


def main(arguments: list[str]) -> int:
    """Run the bench; the exit code: 0 after a clean end, 2 when a port is taken."""
    asked = _parser().parse_args(arguments)
    wake, waker = os.pipe()
    _on_signal_write_to(waker)
    try:
        with running_bench(
            seed=asked.seed,
            real_time=asked.real_time,
            imperfections=_imperfections(asked),
            socket_port=asked.socket_port,
            hislip_port=asked.hislip_port,
            hands_port=asked.hands_port,
            ports=asked.ports,
            switched=asked.switched,
            scalar=ScalarErrors() if asked.scalar else None,
        ) as bench:
            _place_sample(bench, asked.seed)
            _say_ready(bench)
            _wait(wake, asked.until_stdin_closes)
    except PortTaken as taken:
        sys.stderr.write(f"{taken}\n")
        return 2
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m fixtures_sim", description="A simulated bench on loopback."
    )
    parser.add_argument("--seed", type=int, default=1, help="same seed, same noise and same units")
    parser.add_argument("--real-time", action="store_true", help="sweeps take as long as on an analyzer")
    for name in ("socket", "hislip", "hands"):
        parser.add_argument(f"--{name}-port", type=int, default=0, metavar="PORT", help="0 for a free one")
    parser.add_argument("--ports", type=int, choices=(2, 3), default=2, help="of the vector analyzer")
    parser.add_argument("--switched", action="store_true", help="its two ports behind a switch of three")
    parser.add_argument("--scalar", action="store_true", help="a spectrum analyzer with tracking generator")
    parser.add_argument("--imperfect", action="store_true", help="everything a real bench adds")
    parser.add_argument("--test-port-errors", action="store_true", help="an analyzer that was not calibrated")
    parser.add_argument("--drift", action="store_true", help="such an analyzer, and it drifts")
    parser.add_argument(
        "--connectors", action="store_true", help="connectors and cables that repeat as real ones"
    )
    parser.add_argument(
        "--load-return-loss-db", type=float, metavar="DB", help="of every load on an idle port"
    )
    parser.add_argument(
        "--until-stdin-closes", action="store_true", help="end with the program that started it"
    )
    return parser


def _imperfections(asked: argparse.Namespace) -> Imperfections:
    if asked.imperfect:
        return Imperfections.full(asked.seed)
    loss_db = asked.load_return_loss_db
    ports = DrawnPorts(asked.seed, drift=Drift() if asked.drift else None)
    return Imperfections(
        ports=ports if asked.test_port_errors or asked.drift else None,
        loads={} if loss_db is None else dict.fromkeys(PORT_NAMES, Load(loss_db)),
        connectors=Connectors() if asked.connectors else None,
    )


def _place_sample(bench: Bench, seed: int) -> None:
    bench.place(build_unit(**SAMPLE, seed=seed))
    bench.hook_up(*("TX", "ANT", "RX")[: bench.fixture.test_ports])


def _say_ready(bench: Bench) -> None:
    ports = {"socket": bench.socket_port, "hislip": bench.hislip_port, "hands": bench.hands_port}
    ports |= {name: helper.port for name, helper in bench.helpers.items()}
    sys.stdout.write(json.dumps({**ports, **SAMPLE}) + "\n")
    sys.stdout.flush()


def _on_signal_write_to(waker: int) -> None:
    def wake(number: int, frame: FrameType | None) -> None:
        os.write(waker, b"!")

    signal.signal(signal.SIGINT, wake)
    signal.signal(signal.SIGTERM, wake)


def _wait(wake: int, until_stdin_closes: bool) -> None:
    watched = [wake, *([sys.stdin.fileno()] if until_stdin_closes else [])]
    while True:
        ready, _, _ = select.select(watched, [], [])
        if wake in ready or (ready and not os.read(ready[0], 4096)):
            return


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
