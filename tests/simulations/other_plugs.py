"""A second maker of plug scenes, built otherwise.

Power runs on a fine grid: motors of 40 to 1500 W that start at once with a peak or softly by a
drive, that turn at another speed each run, under beans whose load wanders, stall now and then and
may run empty at the end; beside them a standby supply that ripples, a display that wakes with the
motor, and a lamp or a heater of up to a quarter of what the motor draws empty. Six kinds of plug
tell it: at an instant; as the mean of a second; as a counter's energy over 5 or 10 s; only changes
beyond a dead band, with or without a sign of life; each 10 s and at once on a change of a tenth;
from a register that is read more often than it is renewed. Polled ones lose readings. Readings come
twice, late or as no number, and a fifth of the scenes have their clock set once. Made up by common
practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simulations.scale_scenes import Scene, TrueRun

GRID_SECONDS = 0.02
KINDS = ("instant", "mean", "energy", "changes", "mixed", "register")
Floats = NDArray[np.float64]


def make_other_plug_scene(seed: int) -> tuple[Scene, float]:
    """Six runs and what a plug tells of them, and the seconds that plug cannot tell apart."""
    dice = np.random.default_rng([seed, 5151])
    kind = KINDS[int(dice.integers(len(KINDS)))]
    period = {
        "instant": float(dice.choice([0.2, 0.5, 1.0, 2.0])),
        "mean": 1.0,
        "energy": float(dice.choice([5.0, 10.0])),
        "changes": float(dice.choice([0.5, 1.0])),
        "mixed": 1.0,
        "register": float(dice.choice([0.5, 1.0])),
    }[kind]
    power, truths = _power(dice, period)
    told = {"changes": _changes, "mixed": _changes, "energy": _means, "mean": _means}
    if kind in told:
        samples = told[kind](power, period, dice, kind)
    else:
        samples = _instants(power, period, dice, kind)
    samples, truths = _spoilt(samples, truths, dice, kind)
    lasts = len(power) * GRID_SECONDS
    return Scene(f"plug built otherwise ({kind})", seed, samples, truths, lasts), period


def _power(dice: np.random.Generator, period: float) -> tuple[Floats, list[TrueRun]]:
    rated = float(np.exp(dice.uniform(np.log(40), np.log(1500))))
    empty = float(dice.uniform(0.6, 0.8) if rated < 100 else dice.uniform(0.35, 0.7))
    has_drive = bool(dice.random() < 0.4)
    slowest = 0.5 if has_drive and rated > 150 else 1.0
    now, plans = float(dice.uniform(20, 60)) + 8 * period, []
    for _ in range(6):
        shortest = max(2.0, 3 * period)
        seconds = float(np.exp(dice.uniform(np.log(shortest), np.log(60 + 4 * period))))
        plans.append((now, seconds))
        now += seconds + 3.0 + 3 * period + float(dice.exponential(40))
    grid = np.arange(0.0, now + 20 + 8 * period, GRID_SECONDS)
    standby = float(dice.uniform(1, 15))
    power = standby * (1 + 0.05 * np.sign(np.sin(grid * float(dice.uniform(2, 9)))))
    aside = float(dice.uniform(0.05, 0.25)) * rated * empty * slowest
    if dice.random() < 0.3:  # a heater with a thermostat
        cycle = float(dice.uniform(30, 200))
        power += aside * ((grid % cycle) < cycle * float(dice.uniform(0.2, 0.6)))
    elif dice.random() < 0.4:  # a lamp, switched on and off by hand
        power += aside * ((grid > float(dice.uniform(0, now))) ^ bool(dice.random() < 0.5))
    truths = []
    for start, seconds in plans:
        truths.append(TrueRun(start, seconds, None))
        first, last = round(start / GRID_SECONDS), round((start + seconds) / GRID_SECONDS)
        count, since = last - first, np.arange(last - first) * GRID_SECONDS
        wander, level, steps = np.empty(count), 0.0, dice.normal(0, 1, count)
        for i in range(count):
            level = 0.97 * level + 0.24 * float(steps[i])
            wander[i] = level
        load = 1 + 0.05 * wander
        if dice.random() < 0.3:  # the hopper runs empty
            load[since > seconds * float(dice.uniform(0.7, 0.95))] = empty
        if dice.random() < 0.1:  # the burrs block
            load[since > seconds * 0.8] = 2.2
        load *= float(dice.uniform(slowest, 1.0))
        if has_drive:
            load *= np.clip(since / float(dice.uniform(0.2, 1.0)), 0.05, 1)
        else:
            load *= 1 + float(dice.uniform(1, 6)) * np.exp(-since / float(dice.uniform(0.03, 0.2)))
        power[first:last] += rated * load
        wakes = slice(max(0, first - 25), last + 250)  # the display
        power[wakes] += min(2.0, 0.05 * rated)
    return power, truths


def _metered(power: Floats, dice: np.random.Generator) -> Floats:
    step = float(dice.choice([0.01, 0.1, 1.0]))
    spoilt = power * (1 + float(dice.uniform(0.001, 0.01)) * dice.normal(0, 1, len(power)))
    return np.round(spoilt / step) * step


def _instants(
    power: Floats, period: float, dice: np.random.Generator, kind: str
) -> list[tuple[float, float]]:
    """Read when asked: at an instant, or from a register that is renewed each period."""
    lasts = len(power) * GRID_SECONDS
    asked = period if kind == "instant" else period / float(dice.choice([2.5, 4.0]))
    at = np.arange(0.1, lasts - 0.1, asked) + dice.uniform(-0.1, 0.1) * asked
    at += asked * dice.uniform(-0.08, 0.08, len(at))
    at = at.clip(0, lasts - GRID_SECONDS)
    read = at if kind == "instant" else np.floor(at / period) * period
    renewed, places = np.unique(np.floor(read / GRID_SECONDS).astype(int), return_inverse=True)
    values = _metered(power[renewed], dice)[places]
    return list(zip(at.tolist(), values.tolist(), strict=True))


def _means(
    power: Floats, period: float, dice: np.random.Generator, kind: str
) -> list[tuple[float, float]]:
    """The mean since the reading before, from a counter of joules or of less."""
    size = round(period / GRID_SECONDS)
    count = len(power) // size
    means = power[: count * size].reshape(count, size).mean(axis=1)
    at = (np.arange(count) + 1) * period + dice.uniform(0, 0.05 * period, count)
    return list(zip(at.tolist(), _metered(means, dice).tolist(), strict=True))


def _changes(
    power: Floats, period: float, dice: np.random.Generator, kind: str
) -> list[tuple[float, float]]:
    """Told when changed beyond a dead band, or when nothing was told for long."""
    size = round(period / GRID_SECONDS)
    count = len(power) // size
    means = power[: count * size].reshape(count, size)[:, size // 2 :].mean(axis=1)
    values = _metered(means, dice)
    longest = 10.0 if kind == "mixed" else float(dice.choice([60.0, 300.0, math.inf]))
    share = 0.1 if kind == "mixed" else float(dice.uniform(0.02, 0.1))
    least = float(dice.uniform(1.0, 3.0))
    told, last_at, last = [], -math.inf, math.inf
    for i, value in enumerate(values.tolist()):
        at = (i + 1) * period + float(dice.uniform(0, 0.1))
        if abs(value - last) > max(least, share * last) or at - last_at >= longest - 0.5:
            told.append((at, value))
            last_at, last = at, value
    return told


def _spoilt(
    samples: list[tuple[float, float]],
    truths: list[TrueRun],
    dice: np.random.Generator,
    kind: str,
) -> tuple[list[tuple[float, float]], list[TrueRun]]:
    """Lost, doubled, late and senseless readings; a clock that is set."""
    pushed = kind in ("changes", "mixed")
    if dice.random() < 0.4:
        found: list[tuple[float, float]] = []
        for sample in samples:
            fate = float(dice.random())
            if fate < 0.02 and not pushed:
                continue
            if 0.02 <= fate < 0.03 and len(found) > 1 and not pushed:
                found.insert(len(found) - 1, sample)  # overtaken by the one before
                continue
            found.append(sample)
            if 0.03 <= fate < 0.06:
                found.append(sample)
            elif fate > 0.98:
                found.append((sample[0] + 0.01, math.nan))
        samples = found
    if dice.random() < 0.2:
        when = float(dice.uniform(5, samples[-1][0]))
        by = float(dice.uniform(5, 3600)) * (-1 if dice.random() < 0.7 else 0.001)
        samples = [(t + by if t >= when else t, watts) for t, watts in samples]
        truths = [
            TrueRun(one.started + by, one.seconds, None) if one.started >= when else one
            for one in truths
        ]
    return samples, truths
