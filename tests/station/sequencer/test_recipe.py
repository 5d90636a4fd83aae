"""Recipes: what a file may say, what it becomes for one order, and the recipes that ship."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import yaml

import limits
import station
from limits.errors import BadInput
from limits.quantity import Channels
from limits.reading import Claim, Curve, Reading
from limits.table import LimitTable
from limits.table import load as load_table
from station.measurements.measure import Look
from station.measurements.sweep import HOOKUPS, Sweep
from station.sequencer.recipe import Recipe, check_fit, load, schema

SHIPPED = sorted((Path(station.__file__).parent / "recipes").glob("*.yaml"))
OF_MODELS = [path for path in SHIPPED if path.stem != "CHECK"]
"""But for the check standard's, which has no limits."""

TABLES = Path(limits.__file__).parent / "tables"
PAIR = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
TURNED = Channels(tx_hz=157.4e6, rx_hz=156.6e6)

HEAD = """\
recipe: sample
revision: A
model: M
limit_table: T
analyzer: {bandwidth: 1 kHz, averages: 1, power: 0 dBm}
overview: {over: low - 2 MHz to high + 2 MHz, step: 25 kHz}
characteristics:
"""
GOOD = """\
  loss: {measure: loss, path: TX to ANT, at: tx}
  band: {measure: worst loss, path: ANT to RX, over: rx ± 12.5 kHz, step: 2.5 kHz}
  isolation: {measure: isolation curve, path: TX to RX, over: low - 1 MHz to high}
  match: {measure: match bandwidth, port: ANT, hookup: ANT-RX, at: rx, over: rx ± 400 kHz, level: 20 dB}
"""

MakeRecipe = Callable[[str], Recipe]
MakeTable = Callable[..., LimitTable]


@pytest.fixture
def recipe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> MakeRecipe:
    """The recipe of a text, which is kept as `r.yaml`."""
    monkeypatch.chdir(tmp_path)

    def of(text: str) -> Recipe:
        Path("r.yaml").write_text(text, encoding="utf-8")
        return load(Path("r.yaml"))

    return of


@pytest.fixture
def table(tmp_path: Path) -> MakeTable:
    """The limit table of some rows, kept under a name of its own."""

    def of(rows: str, name: str = "T", model: str = "M") -> LimitTable:
        path = tmp_path / f"{name}.yaml"
        head = (
            f"limit_table: {name}\nrevision: A\nmodel: {model}\ndecision_rule: simple acceptance\nlimits:\n"
        )
        path.write_text(head + rows, encoding="utf-8")
        return load_table(path)

    return of


def told(call: Callable[[], object]) -> list[str]:
    with pytest.raises(BadInput) as refused:
        call()
    return [str(mistake) for mistake in refused.value.mistakes]


def test_a_recipe_is_bound_to_the_channels_of_its_order(recipe: MakeRecipe) -> None:
    made = recipe(HEAD + GOOD)
    loss, band, isolation, match = made.bind(PAIR)
    assert (loss.hookup.name, loss.source, loss.to, loss.span_hz) == (
        "TX-ANT",
        "TX",
        "ANT",
        (156.6e6, 156.6e6),
    )
    assert (band.hookup.name, band.source, band.to) == ("ANT-RX", "ANT", "RX")
    assert band.span_hz == (157.3875e6, 157.4125e6)
    assert (isolation.hookup.name, isolation.is_curve, isolation.span_hz) == (
        "TX-RX", True, (155.6e6, 157.4e6),
    )  # fmt: skip
    assert (match.hookup.name, match.source, match.to) == ("ANT-RX", "ANT", "ANT")
    assert (match.place.freq_hz, match.place.span, match.place.level) == (157.4e6, (157e6, 157.8e6), 20.0)
    assert made.bind(TURNED)[0].span_hz == (157.4e6, 157.4e6)


def test_a_characteristic_without_a_step_is_swept_by_the_overviews(recipe: MakeRecipe) -> None:
    assert [item.step_hz for item in recipe(HEAD + GOOD).bind(PAIR)] == [25e3, 2.5e3, 25e3, 25e3]


def test_what_is_read_carries_the_step_asked_for_and_whether_it_is_a_bound(recipe: MakeRecipe) -> None:
    """By the step the judge knows a hole, by the claim a width that ran out of its span."""
    made = recipe(HEAD + GOOD)
    freq_hz = np.linspace(154.6e6, 159.4e6, 193)
    s = np.full((193, 2, 2), 0.01 + 0j)
    settings, started = made.settings, datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    sweeps = {hookup: Sweep(hookup, freq_hz, s, settings, started, 0.5) for hookup in HOOKUPS}
    loss, _, isolation, match = (item.read(sweeps) for item in made.bind(PAIR))
    assert isinstance(isolation, Curve) and isolation.step_hz == 25e3
    assert isinstance(loss, Reading) and loss.claim is Claim.VALUE
    assert isinstance(match, Reading) and (match.value, match.claim) == (800e3, Claim.AT_LEAST)


def test_settings_and_overview_are_those_of_the_file(recipe: MakeRecipe) -> None:
    made = recipe(HEAD + GOOD)
    settings, overview = made.settings, made.overview(TURNED)
    assert (settings.bandwidth_hz, settings.averages, settings.power_dbm) == (1e3, 1, 0.0)
    assert (overview.low_hz, overview.high_hz, overview.step_hz) == (154.6e6, 159.4e6, 25e3)


def test_titles_are_made_of_measure_ports_and_place_unless_one_is_given(recipe: MakeRecipe) -> None:
    more = "  deep: {measure: notch depth, path: TX to ANT, over: rx - 1 MHz to rx, title: As the customer says}\n"
    assert [item.title for item in recipe(HEAD + GOOD + more).bind(PAIR)] == [
        "TX to ANT insertion loss at TX",
        "ANT to RX insertion loss, worst over RX ± 12.5 kHz",
        "TX to RX isolation over lower channel \u2212 1 MHz to upper channel",
        "ANT match bandwidth at 20 dB",
        "As the customer says",
    ]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("{measure: loss, path: TX to ANT}", "measure 'loss' needs 'at'"),
        ("{measure: loss, at: tx}", "measure 'loss' needs 'path'"),
        ("{measure: loss, path: TX to ANT, at: tx, port: TX}", "measure 'loss' does not take 'port'"),
        ("{measure: loss, path: TX to ANT, at: tx, step: 1 kHz}", "so it needs 'over'"),
        ("{measure: return loss, port: TX, at: tx}", "measure 'return loss' needs 'hookup'"),
        ("{measure: return loss, port: RX, hookup: TX-ANT, at: tx}", "port RX carries the load in hook-up TX-ANT"),
        ("{measure: los, path: TX to ANT, at: tx}", "unknown measure 'los'; did you mean 'loss'?"),
        ("{measure: loss, path: UP to DOWN, at: tx}", "unknown path 'UP to DOWN'; valid are TX to ANT, ANT to TX"),
        ("{measure: return loss, port: Q, hookup: TX-ANT, at: tx}", "unknown port 'Q'; valid are TX, ANT, RX"),
        ("{measure: worst loss, path: TX to ANT, over: tx - 1 MHz to rx + 1 MHz}", "with 'low' and 'high'"),
    ],
)  # fmt: skip
def test_a_characteristic_that_makes_no_sense_is_refused(recipe: MakeRecipe, row: str, said: str) -> None:
    (mistake,) = told(lambda: recipe(f"{HEAD}  x: {row}\n"))
    assert mistake.startswith("r.yaml:8:")
    assert said in mistake


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("power: 0 dBm", "power: 10.1 dBm", "5:50: the power lies from -60 to +10 dBm: a stronger source can hurt"),
        ("power: 0 dBm", "power: -61 dBm", "5:50: the power lies from -60 to +10 dBm"),
        ("bandwidth: 1 kHz", "bandwidth: 2 MHz", "5:23: the bandwidth lies from 1 Hz to 1 MHz"),
        ("bandwidth: 1 kHz", "bandwidth: 0.5 Hz", "5:23: the bandwidth lies from 1 Hz to 1 MHz"),
        ("averages: 1,", "averages: 0,", "5:40: the averages are 1 to 1000"),
        ("averages: 1,", "averages: 1001,", "5:40: the averages are 1 to 1000"),
        ("limit_table: T", "limit_table: ../T", "4:14: '../T' names a file"),
        ("model: M", "model: a\\b", "3:8: 'a\\b' names a file"),
        ("rx ± 12.5 kHz, step: 2.5 kHz", "rx ± 12.5 kHz, step: 25 kHz",
         "9:75: a step of 25 kHz is not smaller than what it sweeps, which is 25 kHz wide"),
        ("over: rx ± 12.5 kHz, step: 2.5 kHz", "over: rx ± 12.5 kHz",
         "9:3: a step of 25 kHz is not smaller than what it sweeps, which is 25 kHz wide"),
        ("over: low - 2 MHz to high + 2 MHz", "over: tx ± 10 kHz",
         "6:37: a step of 25 kHz is not smaller than what it sweeps, which is 20 kHz wide"),
    ],
)  # fmt: skip
def test_what_no_bench_should_be_asked_for_is_refused_in_the_file(
    recipe: MakeRecipe, old: str, new: str, said: str
) -> None:
    text = HEAD + GOOD
    assert old in text
    assert any(line.startswith(f"r.yaml:{said}") for line in told(lambda: recipe(text.replace(old, new))))


def test_the_ends_of_every_range_are_taken(recipe: MakeRecipe) -> None:
    for power, bandwidth, averages in (("-60 dBm", "1 Hz", 1), ("10 dBm", "1 MHz", 1000)):
        analyzer = f"{{bandwidth: {bandwidth}, averages: {averages}, power: {power}}}"
        made = recipe((HEAD + GOOD).replace("{bandwidth: 1 kHz, averages: 1, power: 0 dBm}", analyzer))
        assert made.settings.averages == averages


CROSSED = """\
  edge: {measure: worst isolation, path: TX to RX, over: low + 600 kHz to high - 600 kHz}
  narrow: {measure: worst isolation, path: TX to RX, over: low to high, step: 100 kHz}
  match: {measure: match bandwidth, port: TX, hookup: TX-ANT, at: tx, over: low ± 400 kHz, level: 20 dB}
"""


def test_what_does_not_fit_an_order_is_told_for_that_order_with_its_place(recipe: MakeRecipe) -> None:
    made = recipe(HEAD + CROSSED)
    assert [str(mistake) for mistake in made.mistakes(TURNED)] == [
        "r.yaml:8:58: 'low + 600 kHz to high - 600 kHz' does not rise for TX 157.4 MHz and RX 156.6 MHz: "
        "it would run from 157.2 MHz to 156.8 MHz",
        "r.yaml:10:67: 'tx' is 157.4 MHz for this order, which is not in 156.2 to 157 MHz, where it is looked for",
    ]
    close = Channels(tx_hz=156.6e6, rx_hz=156.7e6)
    assert any(
        str(mistake).startswith("r.yaml:9:79: a step of 100 kHz is not smaller")
        for mistake in made.mistakes(close)
    )
    assert made.mistakes(Channels(tx_hz=155e6, rx_hz=160e6)) == ()


ONE = "  loss: {measure: loss, path: TX to ANT, at: tx}\n"


def test_a_table_of_another_name_or_model_or_kind_of_limit_does_not_fit(
    recipe: MakeRecipe, table: MakeTable
) -> None:
    made = recipe(HEAD + ONE)
    rows = "  loss: {works: {at_most: 1.5 dB}}\n"
    check_fit(made, table(rows))
    assert told(lambda: check_fit(made, table(rows, model="N"))) == [
        "r.yaml:3:8: is for model M, but its limit table T is for model N"
    ]
    assert told(lambda: check_fit(made, table(rows, name="OTHER"))) == [
        "r.yaml:4:14: is to be judged by limit table 'T', but got 'OTHER'"
    ]
    curve = recipe(HEAD + "  loss: {measure: isolation curve, path: TX to RX, over: low to high}\n")
    (mistake,) = told(lambda: check_fit(curve, table("  loss: {works: {at_least: 1 dB}}\n")))
    assert mistake.endswith("'loss' is measured as a curve; use 'mask'")


def test_a_characteristic_without_a_limit_must_say_that_it_is_for_information(
    recipe: MakeRecipe, table: MakeTable
) -> None:
    rows = "  loss: {works: {at_most: 1.5 dB}}\n"
    lost = recipe(f"{HEAD}{ONE}  ripple: {{measure: ripple, path: TX to ANT, over: tx ± 50 kHz}}\n")
    assert told(lambda: check_fit(lost, table(rows))) == [
        "r.yaml:9:3: has no limit in limit table T; give it one there, or write 'information: yes' here"
    ]
    meant = recipe(
        f"{HEAD}{ONE}  ripple: {{measure: ripple, path: TX to ANT, over: tx ± 50 kHz, information: yes}}\n"
    )
    check_fit(meant, table(rows))
    (mistake,) = told(lambda: check_fit(meant, table(rows + "  ripple: {works: {at_most: 1 dB}}\n")))
    assert "is for information, but limit table T has a limit for it" in mistake


def test_recipe_and_table_fit_whatever_spacing_they_are_for(recipe: MakeRecipe, table: MakeTable) -> None:
    """Whether they fit is no question of an order's channels, so none are made up to find out."""
    made = recipe(
        f"{HEAD}  edge: {{measure: worst loss, path: TX to RX, over: low + 9 MHz to high - 9 MHz}}\n"
    )
    check_fit(made, table("  edge: {works: {at_most: 1.5 dB}}\n"))


def test_without_a_limit_table_every_characteristic_is_for_information(recipe: MakeRecipe) -> None:
    head = HEAD.replace("limit_table: T\n", "")
    (lost,) = told(lambda: recipe(head + GOOD))
    assert "'limit_table' is missing, but loss, band, isolation, match would need limits" in lost
    made = recipe(head + GOOD.replace("}", ", information: yes}"))
    (refused,) = told(lambda: made.limit_table)
    assert "names no limit table, so that no unit can be judged by it" in refused


def test_the_check_standards_recipe_reads_every_path_and_port_once_in_each_band() -> None:
    made = load(next(path for path in SHIPPED if path.stem == "CHECK"))
    items = made.bind(PAIR)
    assert {item.span_hz for item in items} == {(mhz * 1e6, mhz * 1e6) for mhz in (160, 455, 1600)}
    assert len({(item.hookup, item.to, item.source, item.span_hz) for item in items}) == 18
    assert made.form.limit_table is None


@pytest.mark.parametrize("path", OF_MODELS, ids=lambda path: path.stem)
def test_a_recipe_that_ships_fits_its_table_and_is_named_like_its_model(path: Path) -> None:
    made = load(path)
    assert made.form.model == path.stem
    check_fit(made, load_table(TABLES / f"{made.form.limit_table}.yaml"))


@pytest.mark.parametrize("path", OF_MODELS, ids=lambda path: path.stem)
@pytest.mark.parametrize("turned", [False, True], ids=["TX below", "TX above"])
def test_the_shipped_recipes_take_each_return_loss_from_that_channels_own_hook_up(
    path: Path, turned: bool
) -> None:
    """At ANT too: in the other hook-up the other channel's port carries a load, which the reflection would see."""
    far_apart = (1575e6, 1622e6)
    channels = Channels(*(reversed(far_apart) if turned else far_apart))
    reflections = [item for item in load(path).bind(channels) if item.measure.look is Look.REFLECTION]
    found = {
        (item.to, item.hookup.name, "tx" if _holds(item.span_hz, channels.tx_hz) else "rx")
        for item in reflections
    }
    assert found == {
        ("TX", "TX-ANT", "tx"), ("ANT", "TX-ANT", "tx"), ("RX", "ANT-RX", "rx"), ("ANT", "ANT-RX", "rx"),
    }  # fmt: skip
    for item in reflections:
        assert _holds(item.span_hz, channels.tx_hz) is not _holds(item.span_hz, channels.rx_hz)


def _holds(span_hz: tuple[float, float], freq_hz: float) -> bool:
    return span_hz[0] <= freq_hz <= span_hz[1]


@pytest.mark.parametrize("loader", [yaml.BaseLoader, yaml.SafeLoader])
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_schema_for_editors_takes_the_recipes_that_ship(path: Path, loader: type) -> None:
    """As the station reads them, all texts, and as an editor does by YAML's own rules."""
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.Draft202012Validator(schema()).validate(yaml.load(path.read_text("utf-8"), Loader=loader))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("measure: loss", "measure: los"),
        ("path: TX to ANT", "path: TX to TX"),
        ("at: tx}", "at: uplink}"),
        ("averages: 1", "averages: one"),
        ("limit_table: T", "limit_table: ../T"),
        ("model: M", "model: .M"),
        ("revision: A\n", ""),
    ],
)
def test_the_schema_for_editors_refuses_what_the_station_refuses(
    recipe: MakeRecipe, old: str, new: str
) -> None:
    text = (HEAD + GOOD).replace(old, new)
    told(lambda: recipe(text))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(yaml.load(text, Loader=yaml.BaseLoader))
