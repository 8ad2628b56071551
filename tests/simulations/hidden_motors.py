"""Invented motors of two coupled bodies, how they are used, and what their sensors say of them.

The truth is in here and nowhere in the service: winding and housing exchange heat, a fan on the
shaft cools only while it turns, loads differ from run to run, the room warms during the day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_SECONDS = 20.0
DAY_SECONDS = 86400.0


@dataclass(frozen=True)
class HiddenMotor:
    """Heat capacities in J/K, resistances in K/W, losses in W."""

    winding_capacity: float
    housing_capacity: float
    between_resistance: float
    outside_resistance: float
    fan_gain: float
    loss_watts: float
    load_spread: float
    room_celsius: float
    room_swing_kelvin: float
    sensor: str

    def steady_rise_kelvin(self) -> float:
        """Rise of the body measured if the motor never stopped."""
        housing = self.loss_watts * self.outside_resistance / self.fan_gain
        if self.sensor == "housing":
            return housing
        return housing + self.loss_watts * self.between_resistance


@dataclass(frozen=True)
class Told:
    """What a motor's devices report, and the truth beside it on a fine grid."""

    motor: HiddenMotor
    on_starts_seconds: Floats
    on_ends_seconds: Floats
    reading_at_seconds: Floats
    readings_celsius: Floats
    room_at_seconds: Floats
    room_celsius: Floats
    truth_seconds: Floats
    truth_celsius: Floats

    def truth_at(self, at_seconds: Floats) -> Floats:
        return np.interp(at_seconds, self.truth_seconds, self.truth_celsius)


def make_motor(dice: np.random.Generator) -> HiddenMotor:
    """Around a winding of 150 J/K and a housing of 2500 J/K with 0.6 and 0.8 K/W, wide."""
    spread = lambda middle, factor: float(middle * factor ** dice.uniform(-1.0, 1.0))  # noqa: E731
    return HiddenMotor(
        winding_capacity=spread(150.0, 1.6),
        housing_capacity=spread(2000.0, 1.8),
        between_resistance=spread(0.5, 1.6),
        outside_resistance=spread(0.9, 1.5),
        fan_gain=float(dice.choice([1.0, dice.uniform(1.3, 3.0)])),
        loss_watts=spread(110.0, 1.5),
        load_spread=float(dice.uniform(0.0, 0.12)),
        room_celsius=float(dice.uniform(17.0, 28.0)),
        room_swing_kelvin=float(dice.uniform(0.0, 3.0)),
        sensor=str(dice.choice(["winding", "housing"])),
    )


def use_motor(pattern: str, days: int, dice: np.random.Generator) -> tuple[Floats, Floats]:
    """Runs of some days: ``break_in`` sessions, ``mixed`` work, ``cafe`` with rushes."""
    starts: list[float] = []
    lengths: list[float] = []
    for day in range(days):
        clock = day * DAY_SECONDS + 7 * 3600.0 + float(dice.uniform(0.0, 1800.0))
        closing = day * DAY_SECONDS + 17 * 3600.0
        pace = float(dice.uniform(40.0, 240.0))
        usual, pause = float(dice.uniform(120.0, 420.0)), float(dice.uniform(200.0, 1500.0))
        while clock < closing:
            if pattern == "cafe":
                hour = (clock % DAY_SECONDS) / 3600.0
                rush = 0.35 if 8.0 <= hour <= 9.5 or 12.0 <= hour <= 13.0 else 1.6
                length = float(dice.uniform(8.0, 20.0))
                gap = float(dice.exponential(pace * rush)) + 4.0
            elif pattern == "break_in":
                length = usual * float(dice.uniform(0.7, 1.3))
                gap = pause * float(dice.uniform(0.6, 1.5))
                if dice.uniform() < 0.12:
                    gap += float(dice.uniform(1800.0, 7200.0))
            else:
                is_long = dice.uniform() < 0.1
                length = float(dice.uniform(60.0, 400.0) if is_long else dice.uniform(8.0, 40.0))
                gap = float(dice.exponential(400.0)) + 10.0
            starts.append(clock)
            lengths.append(length)
            clock += length + gap
    begun = np.array(starts)
    return begun, begun + np.array(lengths)


def overuse_motor(
    pattern: str, starts: Floats, ends: Floats, dice: np.random.Generator
) -> tuple[Floats, Floats]:
    """The same days, but on the last one from some hour on the motor gets far too little rest."""
    last_day = float(np.floor(starts[-1] / DAY_SECONDS)) * DAY_SECONDS
    began = last_day + float(dice.uniform(9.0, 13.0)) * 3600.0
    before = starts < began
    kept_starts, kept_ends = starts[before].tolist(), ends[before].tolist()
    clock = max(began, kept_ends[-1] + 5.0)
    usual = float(np.median(ends - starts)) * float(dice.uniform(0.8, 1.5))
    duty = float(dice.uniform(0.5, 0.9))
    while clock < began + 3 * 3600.0:
        length = usual * float(dice.uniform(0.8, 1.25))
        kept_starts.append(clock)
        kept_ends.append(clock + length)
        clock += length + usual * (1.0 - duty) / duty * float(dice.uniform(0.7, 1.3))
    return np.array(kept_starts), np.array(kept_ends)


def watch_motor(
    motor: HiddenMotor,
    starts: Floats,
    ends: Floats,
    dice: np.random.Generator,
    *,
    days: int,
    is_idle_read: bool,
    is_run_read: bool,
    is_room_read: bool,
) -> Told:
    """Run the hidden motor and let its sensor speak: 1 K noise, whole degrees, 1 in 20 wild."""
    last = days * DAY_SECONDS
    at = [ends]
    if is_idle_read:
        idle = np.arange(0.0, last, 300.0) + dice.uniform(0.0, 30.0)
        run = np.searchsorted(starts, idle, side="right") - 1
        is_resting = (run < 0) | (idle > ends[np.maximum(run, 0)])
        is_near = idle - ends[np.maximum(run, 0)] < 3600.0
        at.append(idle[is_resting & is_near & (run >= 0)])
    if is_run_read:
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            at.append(np.arange(start + 30.0, end - 5.0, 30.0))
    moments = np.sort(np.concatenate(at))
    moments = moments[moments < last]
    clock = np.unique(
        np.concatenate([np.arange(0.0, last + 1.0, STEP_SECONDS), starts, ends, moments])
    )
    clock = clock[clock <= last]
    truth = _truth(motor, starts, ends, clock, dice)
    read = np.interp(moments, clock, truth) + dice.normal(0.0, 1.0, moments.size)
    is_wild = dice.uniform(size=moments.size) < 0.05
    wild = dice.uniform(10.0, 30.0, moments.size) * dice.choice([-1.0, 1.0], moments.size)
    read = np.round(read + np.where(is_wild, wild, 0.0))
    room_at = np.arange(0.0, last, 1800.0) if is_room_read else np.empty(0)
    room = np.round(_room(motor, room_at) + dice.normal(0.0, 0.5, room_at.size), 1)
    return Told(motor, starts, ends, moments, read, room_at, room, clock, truth)


def _room(motor: HiddenMotor, at: Floats) -> Floats:
    return motor.room_celsius + motor.room_swing_kelvin * np.sin(
        2 * np.pi * (at / DAY_SECONDS - 0.4)
    )


def _truth(
    motor: HiddenMotor, starts: Floats, ends: Floats, clock: Floats, dice: np.random.Generator
) -> Floats:
    """The two bodies' exact solution from each instant to the next; the borders of runs are in."""
    run = np.searchsorted(starts, clock[:-1], side="right") - 1
    is_on = (run >= 0) & (clock[:-1] < ends[np.maximum(run, 0)])
    loads = np.maximum(1.0 + motor.load_spread * dice.normal(size=max(starts.size, 1)), 0.3)
    watts = np.where(is_on, motor.loss_watts * loads[np.maximum(run, 0)], 0.0)
    step = np.diff(clock)
    kept = np.empty((step.size, 2, 2))
    steady = np.empty((step.size, 2))
    for on in (False, True):
        out = motor.outside_resistance / (motor.fan_gain if on else 1.0)
        cw, ch, rb = motor.winding_capacity, motor.housing_capacity, motor.between_resistance
        rate = np.array(
            [[-1 / (cw * rb), 1 / (cw * rb)], [1 / (ch * rb), -(1 / rb + 1 / out) / ch]]
        )
        values, vectors = np.linalg.eig(rate)
        mine = is_on == on
        grown = np.exp(step[mine, None] * values)
        kept[mine] = (vectors * grown[:, None, :]) @ np.linalg.inv(vectors)
        steady[mine] = -np.linalg.solve(rate, np.array([1 / cw, 0.0]))
    goal = steady * watts[:, None]
    gained = goal - np.einsum("nij,nj->ni", kept, goal)
    winding = housing = 0.0
    index = 1 if motor.sensor == "housing" else 0
    found = [0.0]
    for ((a, b), (c, d)), (e, f) in zip(kept.tolist(), gained.tolist(), strict=True):
        winding, housing = a * winding + b * housing + e, c * winding + d * housing + f
        found.append((winding, housing)[index])
    return np.array(found) + _room(motor, clock)
