"""The simulated duplexer against a circuit simulator, closed forms and the trade's figures."""

from __future__ import annotations

import math
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from skrf.media import DefinedGammaZ0
from skrf.network import Network

from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.drawings import model_named, nominal
from fixtures_sim.duplexer import Cavity, Duplexer, Line, Side, _line, _media, _shunt
from fixtures_sim.units import build_unit

ROOM_C = 23.0
Z0 = 50.0
PAIRS = {"SK-V4": (156.6e6, 157.4e6), "SK-U4": (460.5e6, 455.0e6)}

# Against ngspice: far below what any analyzer resolves, far above rounding.
CIRCUIT_DB = 1e-4
CIRCUIT_DEG = 1e-3


def loss_db(ratio: NDArray[np.complex128]) -> FloatArray:
    return np.asarray(-20.0 * np.log10(np.abs(ratio)))


# --- ngspice ---------------------------------------------------------------------------------------------


def test_the_drawn_duplexer_agrees_with_ngspice_in_all_nine_s_parameters(
    need: Callable[[str], str], tmp_path: Path
) -> None:
    """Lossless cables, 61 frequencies over the channels and 2.5 (V4) or 5 (U4) MHz beyond each."""
    for model, (tx_hz, rx_hz) in PAIRS.items():
        duplexer = _map_lines(
            nominal(model_named(model), tx_hz, rx_hz), lambda line: replace(line, loss_db_per_100m=0.0)
        )
        _compare_over_window(duplexer, model, need("ngspice"), tmp_path)


def test_a_built_unit_agrees_with_ngspice_in_all_nine_s_parameters(
    need: Callable[[str], str], tmp_path: Path
) -> None:
    """As above, each cavity and cable now different."""
    for model, (tx_hz, rx_hz) in PAIRS.items():
        unit = build_unit(model, "S0001", tx_hz, rx_hz, seed=5)
        duplexer = _map_lines(unit.duplexer, lambda line: replace(line, loss_db_per_100m=0.0))
        _compare_over_window(duplexer, model, need("ngspice"), tmp_path)


def test_a_built_unit_with_lossy_cables_agrees_with_ngspice(
    need: Callable[[str], str], tmp_path: Path
) -> None:
    """A lossy 50 ohm line is a lossless one and a matched pad, right at one frequency: one deck for each."""
    for model, (tx_hz, rx_hz) in PAIRS.items():
        unit = build_unit(model, "S0002", tx_hz, rx_hz, seed=5)
        for freq_hz in (tx_hz, rx_hz, (tx_hz + rx_hz) / 2.0, tx_hz - 3e6, rx_hz + 3e6):
            grid = np.array([freq_hz])
            _same(unit.s(grid, ROOM_C), _ngspice(unit.duplexer, grid, need("ngspice"), tmp_path))


def _compare_over_window(duplexer: Duplexer, model: str, program: str, folder: Path) -> None:
    low, high = sorted(PAIRS[model])
    beyond = 2.5e6 if model == "SK-V4" else 5e6
    grid = np.linspace(low - beyond, high + beyond, 61)
    _same(duplexer.s(grid, ROOM_C), _ngspice(duplexer, grid, program, folder))


def _same(ours: ComplexArray, theirs: ComplexArray) -> None:
    ratio = ours / theirs
    assert np.abs(loss_db(ratio)).max() < CIRCUIT_DB
    assert np.degrees(np.abs(np.angle(ratio))).max() < CIRCUIT_DEG


def _ngspice(duplexer: Duplexer, grid: FloatArray, program: str, folder: Path) -> ComplexArray:
    """S-parameters by AC analysis: three copies, each driven at one port by 2 V behind 50 ohm."""
    deck, table = folder / "deck.cir", folder / "table.txt"
    drive = []
    for copy in range(3):
        nodes = [f"p{copy}{port}" for port in range(3)]
        drive.append(f"X{copy} {' '.join(nodes)} duplexer")
        for port, node in enumerate(nodes):
            drive += [
                f"R{copy}{port} {node} q{copy}{port} {Z0}",
                f"V{copy}{port} q{copy}{port} 0 AC {2 if port == copy else 0}",
            ]
    vectors = " ".join(f"v(p{copy}{port})" for copy in range(3) for port in range(3))
    text = "\n".join(
        [
            "duplexer",
            ".subckt duplexer tx ant rx",
            *_netlist(duplexer, float(grid[0])),
            ".ends",
            *drive,
            ".control",
            "set numdgt=15",
            "set wr_singlescale",
            f"ac lin {grid.size} {float(grid[0])!r} {float(grid[-1])!r}",
            f"wrdata {table} {vectors}",
            "quit",
            ".endc",
            ".end",
        ]
    )
    deck.write_text(text + "\n")
    done = subprocess.run([program, "-b", str(deck)], capture_output=True, text=True, check=False)
    assert table.exists(), done.stdout + done.stderr
    rows = np.loadtxt(table, ndmin=2)
    table.unlink()
    assert np.allclose(rows[:, 0], grid, rtol=1e-9)
    volts = (rows[:, 1::2] + 1j * rows[:, 2::2]).reshape(grid.size, 3, 3)
    return np.asarray(volts.transpose(0, 2, 1) - np.eye(3))


def _netlist(duplexer: Duplexer, at_hz: float) -> list[str]:
    lines = [f"Ctee tee 0 {duplexer.tee_farad!r}", f"Rleak tx rx {duplexer.leak_ohm!r}"]
    lines += _spice_line("ant", duplexer.ant_line, "tee", "ant", at_hz)
    for name, side in (("tx", duplexer.tx), ("rx", duplexer.rx)):
        lines += _spice_line(f"{name}1", side.port_line, name, f"{name}a", at_hz)
        lines += _spice_cavity(f"{name}2", side.outer, f"{name}a")
        lines += _spice_line(f"{name}3", side.jumper, f"{name}a", f"{name}b", at_hz)
        lines += _spice_cavity(f"{name}4", side.inner, f"{name}b")
        lines += _spice_line(f"{name}5", side.tee_cable, f"{name}b", "tee", at_hz)
    return lines


def _spice_cavity(name: str, cavity: Cavity, node: str) -> list[str]:
    """A real coil or capacitor in series with a real parallel tank; element values by the textbook."""
    omega = 2.0 * math.pi * cavity.pass_hz
    at_notch, notch = cavity.coupling_ohm, 2.0 * math.pi * cavity.notch_hz
    coupling = f"L{name}x {node} {name}t {at_notch / notch!r}"
    if at_notch < 0.0:
        coupling = f"C{name}x {node} {name}t {-1.0 / (notch * at_notch)!r}"
    return [
        coupling,
        f"R{name} {name}t 0 {cavity.tank_ohm!r}",
        f"L{name} {name}t 0 {cavity.tank_ohm / (cavity.q * omega)!r}",
        f"C{name} {name}t 0 {cavity.q / (cavity.tank_ohm * omega)!r}",
    ]


def _spice_line(name: str, line: Line, start: str, end: str, at_hz: float) -> list[str]:
    delay_s = line.length_m / (line.velocity_factor * 299792458.0)
    lossy_db = line.loss_db_per_100m * line.length_m / 100.0 * math.sqrt(at_hz / line.loss_at_hz)
    if lossy_db == 0.0:
        return [f"T{name} {start} 0 {end} 0 Z0={line.z0_ohm!r} TD={delay_s!r}"]
    k = 10.0 ** (lossy_db / 20.0)
    series, shunt = Z0 * (k - 1.0) / (k + 1.0), 2.0 * Z0 * k / (k * k - 1.0)
    return [
        f"T{name} {start} 0 {name}m 0 Z0={line.z0_ohm!r} TD={delay_s!r}",
        f"R{name}a {name}m {name}n {series!r}",
        f"R{name}b {name}n {end} {series!r}",
        f"R{name}c {name}n 0 {shunt!r}",
    ]


def _map_lines(duplexer: Duplexer, change: Callable[[Line], Line]) -> Duplexer:
    def side(was: Side) -> Side:
        return replace(
            was, port_line=change(was.port_line), jumper=change(was.jumper), tee_cable=change(was.tee_cable)
        )

    return replace(duplexer, tx=side(duplexer.tx), rx=side(duplexer.rx), ant_line=change(duplexer.ant_line))


# --- one cavity and two, by closed forms and the trade's figures -----------------------------------------------


def _one(cavity: Cavity, freq_hz: float) -> ComplexArray:
    return np.asarray(_shunt(cavity, np.array([freq_hz]), ROOM_C).s[0])


@pytest.mark.parametrize("notch_hz", [157.6e6, 156.4e6])
def test_one_cavity_passes_with_the_loss_of_its_tank_alone(notch_hz: float) -> None:
    """20 log10(1 + Z0/2R); the coupling reactance of a few ohm in series moves it by less than 0.005 dB."""
    cavity = Cavity(157e6, notch_hz, 2900.0, 285.0)
    assert loss_db(_one(cavity, 157e6)[1, 0]) == pytest.approx(
        20 * math.log10(1 + Z0 / (2 * 285.0)), abs=0.005
    )


@pytest.mark.parametrize("notch_hz", [157.6e6, 156.4e6])
def test_one_cavity_notches_by_what_its_tank_leaves(notch_hz: float) -> None:
    """20 log10(1 + Z0/2r) with r = R/(2Qd)^2, itself good to a few per cent: 0.1 dB."""
    cavity = Cavity(157e6, notch_hz, 2900.0, 285.0)
    left_ohm = 285.0 / (2 * 2900.0 * (notch_hz - 157e6) / 157e6) ** 2
    assert loss_db(_one(cavity, notch_hz)[1, 0]) == pytest.approx(
        20 * math.log10(1 + Z0 / (2 * left_ohm)), abs=0.1
    )


def test_one_cavity_notches_where_it_is_said_to() -> None:
    """No reactance at the notch; deepest within 1 % of the spacing, as the resistance falls with distance."""
    for pass_hz, notch_hz in ((157e6, 157.6e6), (157.6e6, 157e6), (455e6, 460.5e6), (460.5e6, 455e6)):
        cavity = Cavity(pass_hz, notch_hz, 2900.0, 285.0)
        assert abs(cavity.impedance(np.array([notch_hz]), ROOM_C)[0].imag) < 1e-9
        spacing_hz = abs(notch_hz - pass_hz)
        grid = notch_hz + np.linspace(-0.05, 0.05, 401) * spacing_hz
        through = loss_db(_shunt(cavity, grid, ROOM_C).s[:, 1, 0])
        assert grid[through.argmax()] == pytest.approx(notch_hz, abs=0.01 * spacing_hz)
        assert (cavity.coupling_ohm > 0.0) == (notch_hz > pass_hz)


def test_one_vhf_cavity_shows_the_trades_figures() -> None:
    """0.73 dB, 33 dB, about 23 dB return loss at 0.6 MHz spacing (common practice, no source)."""
    tenth_db, one_db = 0.01, 1.2
    cavity = Cavity(157e6, 157.6e6, 2900.0, 285.0)
    assert loss_db(_one(cavity, 157e6)[1, 0]) == pytest.approx(0.73, abs=tenth_db)
    assert loss_db(_one(cavity, 157.6e6)[1, 0]) == pytest.approx(33.0, abs=one_db)
    assert loss_db(_one(cavity, 157e6)[0, 0]) == pytest.approx(23.0, abs=one_db)


@pytest.mark.parametrize("shunt_ohm", [0.5, 2.0, 20.0, 285.0])
def test_two_shunts_a_quarter_wave_apart_attenuate_as_the_closed_form_says(shunt_ohm: float) -> None:
    """20 log10((g^2 + 2g + 2)/2) a quarter wave apart, 20 log10(1 + g) at no distance; common practice, no source."""
    freq_hz = np.array([157e6])
    g = Z0 / shunt_ohm
    one = _media(freq_hz).shunt(_load(freq_hz, shunt_ohm))
    quarter = _line(Line(Line(0.0).wavelength_m(157e6) / 4.0), freq_hz, ROOM_C)
    apart = (one**quarter**one).s[0, 1, 0]
    together = (one**one).s[0, 1, 0]
    assert loss_db(apart) == pytest.approx(20 * math.log10((g * g + 2 * g + 2) / 2), abs=1e-6)
    assert loss_db(together) == pytest.approx(20 * math.log10(1 + g), abs=1e-6)


def _load(freq_hz: FloatArray, ohm: float) -> Network:
    media = _media(freq_hz)
    return Network(frequency=media.frequency, z=np.full((freq_hz.size, 1, 1), ohm + 0j), z0=Z0)


# --- lines -----------------------------------------------------------------------------------------------------


def test_a_lossy_line_agrees_with_its_closed_form() -> None:
    """S21 = exp(-gamma l) in its own impedance; S11 of a 75 ohm line between 50 ohm ports by the textbook."""
    grid = np.linspace(100e6, 500e6, 41)
    line = Line(0.7, velocity_factor=0.695, loss_db_per_100m=12.0, loss_at_hz=100e6)
    loss = 12.0 * 0.7 / 100.0 * np.sqrt(grid / 100e6)
    phase = -2.0 * np.pi * grid * 0.7 / (0.695 * 299792458.0)
    expected = 10.0 ** (-loss / 20.0) * np.exp(1j * phase)
    assert np.abs(_line(line, grid, ROOM_C).s[:, 1, 0] - expected).max() < 1e-12
    step = (75.0 - 50.0) / (75.0 + 50.0)
    reflected = step * (1 - expected**2) / (1 - step**2 * expected**2)
    assert np.abs(_line(replace(line, z0_ohm=75.0), grid, ROOM_C).s[:, 0, 0] - reflected).max() < 1e-12


def test_an_open_jumper_resonates_where_the_bench_saw_it() -> None:
    """164.9 MHz bare, 152.4 MHz with an inch of adapter more (common practice, no source): within 0.3 MHz."""
    bare = Line(Line(0.0).wavelength_m(164.9e6) / 4.0)
    grid = np.linspace(150e6, 170e6, 2001)
    for line, seen_hz in ((bare, 164.9e6), (bare.longer(0.0254), 152.4e6)):
        media = DefinedGammaZ0(_media(grid).frequency, z0=Z0)
        stub = media.shunt(_line(line, grid, ROOM_C) ** media.open())
        assert grid[np.abs(stub.s[:, 1, 0]).argmin()] == pytest.approx(seen_hz, abs=0.3e6)


# --- the whole -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spacing_hz", "q", "tank_ohm", "through_db", "isolation_db"),
    [
        (0.6e6, 2900.0, 285.0, 1.6, 78.0),
        (0.6e6, 4000.0, 400.0, 1.16, 83.0),
        (1.0e6, 4000.0, 400.0, 1.13, 100.0),
    ],
)
def test_the_drawn_duplexer_shows_an_independent_prototypes_figures(
    spacing_hz: float, q: float, tank_ohm: float, through_db: float, isolation_db: float
) -> None:
    """A prototype without leak or cable loss: within 0.1 dB and 2 dB, and return loss 31 dB or better."""
    cable = Line(0.0, velocity_factor=0.695)
    model = replace(
        model_named("SK-V4"), q=q, tank_ohm=tank_ohm, cable=cable, port_m=0.0, tee_farad=0.0, leak_db=160.0
    )
    tx_hz, rx_hz = 157e6, 157e6 + spacing_hz
    s = nominal(model, tx_hz, rx_hz).s(np.array([tx_hz, rx_hz]), ROOM_C)
    assert loss_db(s[0, 1, 0]) == pytest.approx(through_db, abs=0.1)
    assert loss_db(s[1, 2, 1]) == pytest.approx(through_db, abs=0.1)
    assert loss_db(s[:, 2, 0]) == pytest.approx([isolation_db] * 2, abs=2.0)
    assert min(loss_db(s[0, [0, 1], [0, 1]]).min(), loss_db(s[1, [1, 2], [1, 2]]).min()) > 31.0


def test_heat_moves_pass_and_notch_down_together() -> None:
    """8 ppm/K over 100 K at 157.4 MHz: 126 kHz (from memory: 8 ppm/K is common), the cavities alone."""
    cavity = Cavity(156.6e6, 157.4e6, 2900.0, 285.0)
    grid = np.linspace(157.2e6, 157.5e6, 3001)
    cold, hot = (np.abs(_shunt(cavity, grid, at_c).s[:, 1, 0]) for at_c in (ROOM_C, ROOM_C + 100.0))
    assert grid[cold.argmin()] - grid[hot.argmin()] == pytest.approx(126e3, abs=2e3)


def test_frequencies_may_come_in_any_order_and_twice() -> None:
    duplexer = nominal(model_named("SK-V4"), 156.6e6, 157.4e6)
    mixed = np.array([157.4e6, 156.6e6, 157.4e6])
    s = duplexer.s(mixed, ROOM_C)
    assert np.array_equal(s[0], s[2])
    assert np.allclose(s[1], duplexer.s(np.array([156.6e6]), ROOM_C)[0], rtol=1e-12, atol=1e-15)
