"""From the orders of a works and its bench file to the calibration that both need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from limits.units import hertz
from station.bench.calibration import CalibrationForm
from station.bench.file import Bench
from station.database.entries import CalibrationHead, DocumentKind, StoredText
from station.errors import UserMistake
from station.instruments.analyzer import Ability
from station.measurements.kit import Kit
from station.measurements.routed import RoutedProcedure
from station.measurements.scalar_procedure import ScalarProcedure
from station.measurements.solt import VectorProcedure
from station.measurements.standards import Procedure
from station.measurements.sweep import SweepSettings
from station.sequencer.calibrating import CalibrationTask
from station.sequencer.calibration_plan import (
    Stretch,
    calibration_segments,
    probe_segments,
    stretches_of,
)
from station.sequencer.plan import Plan

OVER = "a stretch like '150 MHz to 170 MHz'"


@dataclass(frozen=True, slots=True)
class Occasion:
    """By whom, on what and when a bench is calibrated."""

    identity: str
    operator: str
    temperature_c: float | None
    now: datetime


def stretch_from(text: str) -> Stretch:
    """A stretch as a person writes it. Raises UserMistake."""
    ends = text.split(" to ")
    if len(ends) != 2:
        raise UserMistake(f"--over: expected {OVER}, got '{text}'")
    try:
        low, high = map(hertz, ends)
    except ValueError as error:
        raise UserMistake(f"--over: {error}") from error
    if low > high:
        raise UserMistake(f"--over: expected {OVER}, the lower frequency first, got '{text}'")
    return low, high


def calibration_task(
    bench: Bench, ability: Ability, plans: Sequence[Plan], over: Sequence[Stretch], occasion: Occasion
) -> CalibrationTask:
    """The calibration that the plans of all open orders need, or one over other stretches.

    Raises UserMistake where the bench file gives the station nothing to calibrate, or nothing says where.
    """
    form, kit = bench.calibration, bench.kit
    if form is None or kit is None:
        raise UserMistake(
            f"{bench.source.file} does not say that the station calibrates; write into it: "
            "calibration: {by: station, kit: NAME, valid_for: 12 h}, and what the kit is into kits/NAME.yaml"
        )
    if form.temperature_change is not None and occasion.temperature_c is None:
        raise UserMistake(
            f"{bench.source.file} lets a calibration hold within {form.temperature_change:g} K, so the temperature "
            "at the bench must be known; give --temperature '23 °C', or put a thermometer into the file"
        )
    stretches = tuple(over) or stretches_of(plans)
    if not stretches:
        raise UserMistake(f"there is no open order to calibrate for; say where with --over, {OVER}")
    segments = calibration_segments(stretches, form.largest_step_hz, ability)
    runs = [order.settings for plan in plans for order in plan.orders] or [form.sweep.settings]
    noise = dict.fromkeys(SweepSettings(each.bandwidth_hz, 1, each.power_dbm) for each in runs)
    return CalibrationTask(
        head=_head(bench, form, kit, occasion),
        procedure=_procedure(form, kit, ability),
        segments=segments,
        probe=probe_segments(segments),
        settings=form.sweep.settings,
        noise=tuple(noise),
    )


def _procedure(form: CalibrationForm, kit: Kit, ability: Ability) -> Procedure:
    if not ability.phase:
        return ScalarProcedure(form.largest_step_hz, form.repeats_within)
    if ability.cabled is not None and ability.cabled not in ability.hookups:
        return RoutedProcedure(kit, form.largest_step_hz, form.repeats_within, ability.hookups)
    return VectorProcedure(ability.hookups, kit, form.largest_step_hz, form.repeats_within)


def _head(bench: Bench, form: CalibrationForm, kit: Kit, occasion: Occasion) -> CalibrationHead:
    def text(name: str, words: str) -> StoredText:
        return StoredText.of(DocumentKind.KIT, name, "", words.encode())

    return CalibrationHead(
        station=bench.name,
        operator=occasion.operator,
        made=occasion.now,
        valid_for_s=form.valid_for,
        analyzer=occasion.identity,
        temperature_c=occasion.temperature_c,
        cables=form.cables,
        kit=text(kit.name, kit.source.text),
        kit_files=tuple(text(*each) for each in kit.texts.items()),
        load_return_loss_db=kit.load_return_loss_db,
    )
