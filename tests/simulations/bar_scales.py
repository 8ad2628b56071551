"""A scale under a spout, built from the load cell up: what its line says of the forces on it.

A platform on a spring answers forces as a damped mass does, a converter averages and samples it, a
digital filter calms it, a zero is kept and tared, a display rounds and lingers, and a line delivers
what the display shows. Made up by common practice, no source.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, exp, pi, sin, sqrt
from random import Random

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ScaleTraits:
    """One scale and the line to it; drawn once for a scene."""

    converter_hertz: float
    natural_hertz: float
    damping: float
    platform_grams: float
    filter_kind: str
    filter_seconds: float
    noise_grams: float
    division_grams: float
    hysteresis_divisions: float
    tracks_zero: bool
    creep_fraction: float
    drift_grams_per_minute: float
    reading_hertz: float
    line_kind: str
    dropped: float
    doubled: float


def scale_traits(rng: Random) -> ScaleTraits:
    """A scale as kitchens, bars and laboratories have them."""
    division = rng.choice((0.01, 0.01, 0.02, 0.05, 0.1, 0.1))
    kind = rng.choice(("average", "average", "pole", "cascade", "adaptive", "adaptive"))
    rate = rng.choice((5.0, 7.0, 10.0, 10.0, 10.0, 12.5, 16.0, 20.0))
    lines = ("steady", "steady", "steady", "jittery") + (("bursts",) if rate >= 10 else ())
    seconds = {"average": (0.2, 0.8), "pole": (0.08, 0.3), "cascade": (0.06, 0.2)}
    return ScaleTraits(
        converter_hertz=rng.choice((40.0, 80.0, 80.0)),
        natural_hertz=rng.uniform(8, 30),
        damping=rng.uniform(0.2, 0.9),
        platform_grams=rng.uniform(150, 500),
        filter_kind=kind,
        filter_seconds=rng.uniform(*seconds.get(kind, (0.35, 0.8))),
        noise_grams=max(0.004, division * rng.uniform(0.2, 1.2)),
        division_grams=division,
        hysteresis_divisions=rng.choice((0.0, 0.1, 0.3, 0.5)),
        tracks_zero=rng.random() < 0.6,
        creep_fraction=rng.uniform(-2e-4, 2e-4),
        drift_grams_per_minute=rng.gauss(0, 0.04),
        reading_hertz=rate,
        line_kind=rng.choice(lines),
        dropped=rng.choice((0.0, 0.002, 0.01)),
        doubled=rng.choice((0.0, 0.0, 0.005)),
    )


def spring_gain(hertz: Floats, traits: ScaleTraits) -> Floats:
    """How much of a swing's force the spring shows."""
    ratio = hertz / traits.natural_hertz
    gain: Floats = 1 / np.sqrt((1 - ratio**2) ** 2 + (2 * traits.damping * ratio) ** 2)
    return gain


def converted(hertz: Floats, traits: ScaleTraits) -> Floats:
    """How much of a swing the converter's averaging leaves."""
    left: Floats = np.abs(np.sinc(hertz / traits.converter_hertz))
    return left


def deflections(forces: Floats, masses: Floats, traits: ScaleTraits) -> list[float]:
    """The spring's answer to forces (all in grams), exact while a force lasts one conversion."""
    step = 1 / traits.converter_hertz
    known: dict[int, tuple[float, float, float, float]] = {}
    out, x, v, crept = [], 0.0, 0.0, 0.0
    for force, mass in zip(forces.tolist(), masses.tolist(), strict=True):
        size = int(mass / 20)
        if size not in known:
            heavier = sqrt(1 + max(0, size) * 20 / traits.platform_grams)
            omega = 2 * pi * traits.natural_hertz / heavier
            sigma = traits.damping / heavier * omega
            swing = sqrt(omega**2 - sigma**2)
            fade, c, s = exp(-sigma * step), cos(swing * step), sin(swing * step)
            known[size] = (
                fade * (c + sigma / swing * s),
                fade * s / swing,
                -fade * omega**2 / swing * s,
                fade * (c - sigma / swing * s),
            )
        xx, xv, vx, vv = known[size]
        off = x - force
        before, x, v = x, force + xx * off + xv * v, vx * off + vv * v
        crept += (traits.creep_fraction * mass - crept) * step / 120
        out.append((before + x) / 2 + crept)
    return out


def filtered(raw: Sequence[float], traits: ScaleTraits) -> list[float]:
    """What the scale's own filter makes of its conversions."""
    rate, tau = traits.converter_hertz, traits.filter_seconds
    out: list[float] = []
    if traits.filter_kind == "average":
        length = max(2, round(tau * rate))
        total = np.cumsum(np.concatenate((np.full(length, raw[0]), np.asarray(raw))))
        means: list[float] = ((total[length:] - total[:-length]) / length).tolist()
        return means
    slow = 1 - exp(-1 / (rate * tau))
    fast = 1 - exp(-1 / (rate * min(0.1, tau)))
    y, calm = raw[0], 0
    if traits.filter_kind in ("pole", "cascade"):
        z, last, older = y, y, y
        for x in raw:
            middle = x
            if traits.filter_kind == "cascade":
                middle = sorted((x, last, older))[1]
                last, older = x, last
            y += slow * (middle - y)
            z += slow * (y - z)
            out.append(z if traits.filter_kind == "cascade" else y)
        return out
    quick, wake = y, max(0.3, 6 * traits.noise_grams)  # adaptive: slow at rest, fast on the move
    for x in raw:
        quick += fast * (x - quick)
        calm = calm + 1 if abs(quick - y) < wake else 0
        y += (slow if calm > rate / 4 else fast) * (quick - y)
        out.append(y)
    return out


def shown(calmed: Sequence[float], presses: Sequence[float], traits: ScaleTraits) -> list[float]:
    """What the display says, after zero tracking, taring and rounding."""
    rate, division = traits.converter_hertz, traits.division_grams
    waiting = deque(sorted(round(at * rate) for at in presses))
    back = round(0.3 * rate)
    rest = round((0.2 + traits.filter_seconds) * rate)  # a tare waits until it stands still
    zero, display, asked, out = calmed[0], 0.0, -1, []
    most, band = 0.3 * division / rate, 1.5 * division
    edge = division * (0.5 + traits.hysteresis_divisions)
    for index, y in enumerate(calmed):
        moved = abs(y - calmed[max(0, index - back)])
        if waiting and index >= waiting[0]:
            asked = waiting.popleft()
        since = index - asked
        wandered = abs(y - calmed[max(0, index - rest)])
        is_still = max(moved, wandered) < max(2 * division, 0.05)
        if asked >= 0 and since > rest and (is_still or since > 1.5 * rate):
            zero, asked = y, -1
        net = y - zero
        if traits.tracks_zero and abs(net) < band and moved < division:
            zero += max(-most, min(most, net))
        if abs(net - display) > edge:
            display = round(net / division) * division
        out.append(round(display, 3))
    return out


def delivered(
    display: Sequence[float], traits: ScaleTraits, steps: Sequence[tuple[float, float]], rng: Random
) -> list[tuple[float, float]]:
    """Readings with the times at which they came in; ``steps`` are jumps of that clock."""
    every, lasted = 1 / traits.reading_hertz, len(display) / traits.converter_hertz
    jitter = {"steady": 0.004, "jittery": 0.25 * every, "bursts": 0.006}[traits.line_kind]
    taken = [i * every for i in range(int(lasted * traits.reading_hertz))]
    came: list[tuple[float, float]] = []
    last, deaf_until, in_burst = 0.0, -1.0, []
    for at in taken:
        value = display[min(len(display) - 1, int(at * traits.converter_hertz))]
        if rng.random() < every / 1800:  # now and then the line is deaf for a moment
            deaf_until = at + rng.uniform(0.3, 0.8)
        if at < deaf_until or rng.random() < traits.dropped:
            continue
        in_burst.append(value)
        if traits.line_kind == "bursts" and len(in_burst) < 3:
            continue
        for one in in_burst:
            last = max(last + 0.0004, at + 0.02 + abs(rng.gauss(0, jitter)))
            came.append((last, one))
            if rng.random() < traits.doubled:
                last += rng.choice((0.0, 0.002))
                came.append((last, one))
        in_burst = []
    return [(at + clock_offset(at, steps), value) for at, value in came]


def clock_offset(at: float, steps: Sequence[tuple[float, float]]) -> float:
    return sum(by for when, by in steps if when <= at)
