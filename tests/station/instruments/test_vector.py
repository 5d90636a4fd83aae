"""What any analyzer owes the station, asked of every dialect over both transports, and each fault of the bench."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures_sim.faults import Fault
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import running_bench
from station.errors import Garbled, Gone, Refused, Silent, Unreachable, UserMistake, WrongInstrument
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.instruments.dialect import SHIPPED, find_dialect
from station.instruments.link import open_link
from station.instruments.sweeping import stretches, timeout_for
from station.instruments.vector import VectorAnalyzer
from station.measurements.sweep import WHOLE, Hookup, SweepSettings

ABILITY = Ability(300e3, 3e9, 101)
DIALECTS = ("linear-single", "list-all")
SETTINGS = SweepSettings(bandwidth_hz=10e3, averages=2, power_dbm=-10.0)
ORDER = SweepOrder(
    Hookup("ANT", "RX"),
    (Segment(150e6, 155e6, 51), Segment(155.05e6, 155.05e6, 1), Segment(156e6, 160e6, 203)),
    SETTINGS,
)
STARTED = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
PATIENCE_S = 0.4
SINGLE_RESOLUTION = 2.0**-24
"""Half a step of REAL,32 relative to the value (IEEE 754)."""


@pytest.fixture(params=DIALECTS)
def dialect(request):
    return find_dialect(request.param, None)


@pytest.fixture
def analyzer(bench_address, dialect):
    with open_link(bench_address, patience_s=PATIENCE_S) as link:
        yield VectorAnalyzer(link, dialect, ABILITY, identity="Simulated vector", now=lambda: STARTED)


def expected(marked):
    """S of the marked device between ANT and RX, in the analyzer's port order."""
    return marked.s(ORDER.freq_hz)[:, 1:, 1:]


def assert_right(sweep, marked):
    np.testing.assert_allclose(sweep.s, expected(marked), rtol=2 * SINGLE_RESOLUTION)


def test_identify_returns_who_it_is(analyzer):
    assert analyzer.identify().startswith("Skerry Works,Simulated vector analyzer,")


def test_its_ability_is_known_without_a_trip(dialect):
    analyzer = VectorAnalyzer(None, dialect, ABILITY, identity="", now=lambda: STARTED)
    assert analyzer.ability == ABILITY


def test_a_sweep_has_all_four_parameters_at_every_frequency_of_the_order(analyzer, marked):
    sweep = analyzer.sweep(ORDER)
    np.testing.assert_array_equal(sweep.freq_hz, ORDER.freq_hz)
    assert np.all(np.diff(sweep.freq_hz) > 0)
    assert sweep.s.shape == (255, 2, 2)
    assert sweep.s.dtype == np.complex128
    assert_right(sweep, marked)


def test_a_sweep_tells_hook_up_settings_and_time(analyzer):
    begun = time.monotonic()
    sweep = analyzer.sweep(ORDER)
    assert (sweep.hookup, sweep.settings, sweep.started) == (ORDER.hookup, SETTINGS, STARTED)
    assert 0 < sweep.took_s <= time.monotonic() - begun
    assert sweep.started.utcoffset() == timedelta(0)


def test_a_parameter_is_found_by_the_units_ports(analyzer, marked):
    """S from ANT to RX is number 8 of the marked device, from RX to ANT number 6."""
    sweep = analyzer.sweep(ORDER)
    np.testing.assert_allclose(np.abs(sweep.parameter("RX", "ANT")), 0.08, rtol=1e-6)
    np.testing.assert_allclose(np.abs(sweep.parameter("ANT", "RX")), 0.06, rtol=1e-6)


def test_one_order_after_another_gives_the_same_readings(analyzer):
    first, second = analyzer.sweep(ORDER), analyzer.sweep(ORDER)
    np.testing.assert_array_equal(first.s, second.s)


def test_another_language_spoken_before_changes_nothing(bench_address, marked):
    """Settings stay in the instrument from one session to the next."""
    for name in (*DIALECTS, *DIALECTS):
        with open_link(bench_address) as link:
            analyzer = VectorAnalyzer(
                link, find_dialect(name, None), ABILITY, identity="", now=lambda: STARTED
            )
            assert_right(analyzer.sweep(ORDER), marked)


def test_an_instrument_of_single_messages_gives_the_same_readings(bench_address, dialect, marked):
    with open_link(bench_address, joined=False) as link:
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        assert_right(analyzer.sweep(ORDER), marked)


@pytest.mark.parametrize("form", ["REAL,64", "REAL,32", "ASCII"])
@pytest.mark.parametrize("order", ["NORMAL", "SWAPPED"])
def test_every_form_of_numbers_gives_the_same_readings(tmp_path, bench_address, dialect, marked, form, order):
    text = Path(dialect.file).read_text(encoding="utf-8")
    for name in (("REAL,64", "REAL,32"), ("NORMAL", "SWAPPED")):
        for each in name:
            text = text.replace(f"form: {each} ", f"form: {form} ").replace(
                f"order: {each} ", f"order: {order} "
            )
    text = text.replace("FORM:DATA REAL,64", "FORM REAL,32")
    text = text.replace("FORM REAL,32", f"FORM {form.replace('ASCII', 'ASC')}")
    for each in ("NORM", "SWAP"):
        text = text.replace(f"FORM:BORD {each}\n", f"FORM:BORD {order[:4]}\n")
    path = tmp_path / f"{dialect.name}.yaml"
    path.write_text(text, encoding="utf-8")
    changed = find_dialect(dialect.name, tmp_path)
    assert (changed.numbers.form, changed.numbers.order) == (form, order)
    with open_link(bench_address) as link:
        analyzer = VectorAnalyzer(link, changed, ABILITY, identity="", now=lambda: STARTED)
        assert_right(analyzer.sweep(ORDER), marked)


def test_the_wrong_instrument_is_refused_before_a_sweep(bench_address, dialect):
    with open_link(bench_address) as link:
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="Another works", now=lambda: STARTED)
        for attempt in (analyzer.identify, lambda: analyzer.sweep(ORDER)):
            with pytest.raises(WrongInstrument, match="Another works"):
                attempt()


def test_frequencies_beyond_the_analyzer_are_refused_before_any_trip(dialect):
    order = SweepOrder(ORDER.hookup, (Segment(2.9e9, 3.1e9, 11),), SETTINGS)
    analyzer = VectorAnalyzer(None, dialect, ABILITY, identity="", now=lambda: STARTED)
    with pytest.raises(UserMistake, match=r"2900 to 3100 MHz .* 0.3 to 3000 MHz"):
        analyzer.sweep(order)


def test_a_setting_beyond_the_instrument_is_quoted_from_its_error_queue(analyzer, marked):
    order = SweepOrder(ORDER.hookup, ORDER.segments, SweepSettings(10e3, 1, 30.0))
    with pytest.raises(Refused) as caught:
        analyzer.sweep(order)
    assert "-222" in caught.value.answer
    assert_right(analyzer.sweep(ORDER), marked)


def test_a_setting_that_was_silently_clipped_is_a_fault(bad, dialect):
    """This one takes everything and answers 1 to whatever it is asked."""

    def answer(message: str) -> bytes | None:
        if message == "*IDN?":
            return b"Skerry Works,Clips,1,0\n"
        return b"1;" * (message.count("?") - 1) + b'0,"No error"\n'

    with open_link(bad(answer).address, patience_s=PATIENCE_S) as link:
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        with pytest.raises(Refused, match="not taken as ordered") as caught:
            analyzer.sweep(ORDER)
    assert caught.value.answer == "1"


# Every fault of the bench: what it is called, which message it spoils, and as what it is told.
FAULTS = [
    (Fault("silent", when="INIT;"), Silent, Silent),
    (Fault("silent", when="DATA?"), Silent, Silent),
    (Fault("silent", when="*IDN?", times=2), Silent, Silent),
    (Fault("late", when="INIT;", seconds=3 * PATIENCE_S), Silent, Silent),
    (Fault("late", when="DATA?", seconds=3 * PATIENCE_S), Silent, Silent),
    (Fault("garbage", when="INIT;"), Garbled, Garbled),
    (Fault("garbage", when="DATA?"), Garbled, Garbled),
    (Fault("garbage", when="SENS:BAND?"), Garbled, Garbled),
    (Fault("truncated block"), Silent, Garbled),
    (Fault("not a number"), Garbled, Garbled),
    (Fault("queued error", when="INIT;"), Refused, Refused),
    (Fault("queued error", when="DATA?"), Refused, Refused),
    (Fault("wrong identity"), WrongInstrument, WrongInstrument),
    (Fault("hangs up", when="INIT;", seconds=0.1), Gone, Gone),
    (Fault("hangs up", when="DATA?", seconds=0.0), Gone, Gone),
]


@pytest.mark.parametrize(
    ("fault", "on_socket", "over_hislip"),
    FAULTS,
    ids=[f"{each[0].kind} at {each[0].when}" for each in FAULTS],
)
def test_a_fault_is_told_and_the_next_sweep_is_right(
    bench, analyzer, marked, transport, fault, on_socket, over_hislip
):
    """The unit can be tested again at once, and no answer that comes late is taken for another."""
    bench.fault(fault)
    with pytest.raises(on_socket if transport == "socket" else over_hislip) as caught:
        analyzer.sweep(ORDER)
    assert caught.value.instrument.startswith("analyzer at TCPIP::127.0.0.1::")
    assert caught.value.command
    if fault.kind == "late":
        time.sleep(PATIENCE_S)
    bench.faults.clear()
    assert_right(analyzer.sweep(ORDER), marked)


def test_the_error_queue_is_quoted_word_for_word(bench, analyzer):
    bench.fault(Fault("queued error", when="INIT;"))
    with pytest.raises(Refused) as caught:
        analyzer.sweep(ORDER)
    assert '-310,"System error"' in caught.value.answer


def test_an_absent_instrument_is_unreachable(transport, dialect):
    with running_bench() as gone:
        address = gone.socket_address if transport == "socket" else gone.hislip_address
    with open_link(address, patience_s=PATIENCE_S) as link:
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        with pytest.raises(Unreachable) as caught:
            analyzer.sweep(ORDER)
    assert address in str(caught.value)


def test_a_bench_that_is_switched_off_and_on_again_is_found(transport, dialect, marked):
    quiet = Imperfections(noise=None)
    with running_bench(device=marked, imperfections=quiet) as bench:
        bench.hook_up("ANT", "RX")
        ports = {"socket_port": bench.socket_port, "hislip_port": bench.hislip_port}
        address = bench.socket_address if transport == "socket" else bench.hislip_address
        link_context = open_link(address, patience_s=2.0)
        link = link_context.__enter__()
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        analyzer.sweep(ORDER)
    with pytest.raises((Gone, Unreachable)):
        analyzer.sweep(ORDER)
    with running_bench(device=marked, imperfections=quiet, **ports) as bench:
        bench.hook_up("ANT", "RX")
        assert_right(analyzer.sweep(ORDER), marked)
        link_context.__exit__(None, None, None)


def test_a_sweep_longer_than_the_patience_is_waited_for(marked, transport, dialect):
    """In real time 41 points at 200 Hz take 0.23 s a direction; the patience alone would be 0.2 s."""
    order = SweepOrder(ORDER.hookup, (Segment(150e6, 155e6, 41),), SweepSettings(200.0, 1, -10.0))
    with running_bench(device=marked, real_time=True, imperfections=Imperfections(noise=None)) as bench:
        bench.hook_up("ANT", "RX")
        address = bench.socket_address if transport == "socket" else bench.hislip_address
        with open_link(address, patience_s=0.2) as link:
            analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
            sweep = analyzer.sweep(order)
    assert sweep.took_s > 0.4
    np.testing.assert_allclose(sweep.s, marked.s(order.freq_hz)[:, 1:, 1:], rtol=2 * SINGLE_RESOLUTION)


def test_the_wait_grows_with_points_and_averages_and_narrow_bandwidths():
    settings = SweepSettings(1000.0, 1, -10.0)
    assert timeout_for(1601, settings, 0.0, 5.0) == pytest.approx(5.0 + 3 * 2 * 1.601)
    assert timeout_for(1601, SweepSettings(1000.0, 16, -10.0), 0.0, 5.0) > 16 * 1.601 * 2
    assert timeout_for(1601, settings, 60.0, 5.0) == pytest.approx(5.0 + 3 * 2 * 60.0)


def test_the_sweep_time_told_is_taken_as_of_one_sweep_in_one_direction():
    """SCPI-1999's SENSe:SWEep:TIME knows nothing of averages; 16 of 60 s both ways take 1920 s."""
    assert timeout_for(1601, SweepSettings(1000.0, 16, -10.0), 60.0, 5.0) > 16 * 2 * 60.0


def test_all_averages_of_an_analyzer_that_settles_slowly_are_waited_for(bad_on_socket, tmp_path):
    """It tells 0.2 s a sweep where points over bandwidth make 1 ms, and takes both directions and all averages."""
    text = (SHIPPED / "list-all.yaml").read_text(encoding="utf-8")
    start, end = text.index("checks:"), text.index("start:")
    (tmp_path / "list-all.yaml").write_text(text[:start] + text[end:], encoding="utf-8")
    data = np.ones(4, "<f4").tobytes()

    def answer(message):
        if message == "*IDN?":
            return b"Skerry Works,Slow,1,0\n"
        if "DATA?" in message:
            return b"#216" + data + b"\n"
        if message.startswith("INIT"):
            time.sleep(2 * 4 * 0.2)
            return b'1;0,"No error"\n'
        return b'0.2;0,"No error"\n' if "TIME?" in message else b'0,"No error"\n'

    order = SweepOrder(ORDER.hookup, (Segment(150e6, 155e6, 2),), SweepSettings(2000.0, 4, -10.0))
    with open_link(bad_on_socket(answer).address, patience_s=0.2) as link:
        dialect = find_dialect("list-all", tmp_path)
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        assert analyzer.sweep(order).s.shape == (2, 2, 2)


def test_an_error_of_the_very_last_fetch_is_told(bench, bench_address):
    """Nothing of the order comes after it but the last look into the error queue."""
    order = SweepOrder(ORDER.hookup, (Segment(150e6, 155e6, 11),), SETTINGS)
    with open_link(bench_address, patience_s=PATIENCE_S) as link:
        dialect = find_dialect("list-all", None)
        analyzer = VectorAnalyzer(link, dialect, ABILITY, identity="", now=lambda: STARTED)
        bench.fault(Fault("queued error", when="DATA? 'XFR:POW:S22'"))
        with pytest.raises(Refused) as caught:
            analyzer.sweep(order)
    assert '-310,"System error"' in caught.value.answer


@given(
    points=st.lists(st.integers(1, 400), min_size=1, max_size=5),
    most=st.integers(2, 150),
    linear=st.booleans(),
)
def test_stretches_make_up_the_order_and_none_is_beyond_the_analyzer(points, most, linear):
    segments = tuple(
        Segment(1e8 * (index + 1), 1e8 * (index + 1) + (count > 1) * 5e7, count)
        for index, count in enumerate(points)
    )
    order = SweepOrder(ORDER.hookup, segments, SETTINGS)
    found = stretches(order, Ability(1e5, 3e9, most), linear=linear)
    np.testing.assert_array_equal(np.concatenate([each.freq_hz for each in found]), order.freq_hz)
    assert [each.first for each in found] == [0, *np.cumsum([each.freq_hz.size for each in found])[:-1]]
    assert all(1 <= each.freq_hz.size <= most for each in found)
    if linear:
        for each in found:
            inside = [s for s in segments if s.start_hz <= each.freq_hz[0] and each.freq_hz[-1] <= s.stop_hz]
            assert len(inside) == 1


@pytest.mark.parametrize("name", ["linear-single", "list-nine"])
def test_an_analyzer_of_three_ports_reads_all_nine_parameters(marked, name):
    ability = Ability(300e3, 3e9, 101, hookups=(WHOLE,))
    with (
        running_bench(device=marked, ports=3, imperfections=Imperfections(noise=None)) as bench,
        open_link(bench.socket_address, patience_s=PATIENCE_S) as link,
    ):
        bench.hook_up(*WHOLE.ports)
        dialect = find_dialect(name, None)
        driver = VectorAnalyzer(link, dialect, ability, identity="three-port", now=lambda: STARTED)
        sweep = driver.sweep(replace(ORDER, hookup=WHOLE))
    np.testing.assert_allclose(sweep.s, marked.s(ORDER.freq_hz), rtol=1e-12)
