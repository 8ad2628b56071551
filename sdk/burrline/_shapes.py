"""What a small late rise was: grounds that the grinder ground, or a lump that fell at once.

A pulse comes at about the rate of its run, hence lasts ``grams / rate``, and the table shakes while
it does, as it shook before; a lump that had hung in the chute falls within one reading while the
motor stands still. Both are ``low + rise clip((t - start) / seconds, 0, 1)`` behind the scale's
lag. How likely the readings are under each is told by a Kalman filter of one state, the force as
the lagging scale has it: it closes in by the lag, and gains at random what the shaking adds.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

from burrline._curve import Curve

SHIFT_SECONDS, LENGTH_FACTOR = 0.04, 1.2
LUMP_LENGTHS = (0.0, 0.08)
SHORTEST_PULSE_SECONDS, LONGEST_PULSE_SECONDS = 0.3, 2.5
LEAST_LENGTH, MOST_LENGTH = 0.6, 1.6
MOST_OFF, MOST_OFF_NOISES = 0.1, 2.0
QUANTUM_FRACTION, NOISE_FRACTION, SPREAD = 0.3, 0.3, 0.6745


@dataclass(frozen=True)
class Late:
    """The odds of a pulse over a lump, as a natural logarithm, and when the pulse was."""

    odds: float
    start: float
    end: float


def pulse_odds(
    curve: Curve,
    span: tuple[float, float],
    rise: tuple[float, float],
    pulse_seconds: float,
    shaking: float,
) -> Late | None:
    """How much likelier a pulse is than a lump; None where it looks like neither, as a tap does.

    ``span`` is what is looked at, ``rise`` when in it the middle of the rise may be,
    ``pulse_seconds`` how long it would last at the rate of the run, and ``shaking`` the square of
    what the force gains at random from one reading to the next while the motor is on.
    """
    first, end = bisect_left(curve.ts, span[0]), bisect_left(curve.ts, span[1])
    if end - first < 5:
        return None
    square = noise_square(curve, first, end)
    seconds = max(SHORTEST_PULSE_SECONDS, LEAST_LENGTH * pulse_seconds)
    most = max(seconds, min(MOST_LENGTH * pulse_seconds, LONGEST_PULSE_SECONDS))
    lengths = []
    while seconds <= most:
        lengths.append(seconds)
        seconds *= LENGTH_FACTOR
    lump = _best(curve, first, end, rise, LUMP_LENGTHS, square, shaking, is_pulse=False)
    pulse = _best(curve, first, end, rise, lengths, square, shaking, is_pulse=True)
    unsure = max(square, shaking) / max(1e-9, lump[3] * lump[3])
    is_either = min(pulse[4], lump[4]) < MOST_OFF**2 + MOST_OFF_NOISES**2 * unsure
    return Late(pulse[0] - lump[0], pulse[1], pulse[2]) if is_either else None


def shaking(curve: Curve, start: float, end: float, square: float) -> float:
    """The square of what the force gains at random from reading to reading over a stretch.

    From second differences of the weight freed of the lag, less what the noise of the readings
    makes of them.
    """
    ts, ys, lag = curve.ts, curve.ys, curve.lag
    first, last = bisect_left(ts, start) + 1, bisect_left(ts, end)
    a = math.exp(-curve.step / lag) if lag else 0.0
    freed = []
    for i in range(max(first, 1), last):
        decay = curve.decays[i - 1]
        freed.append((ys[i] - decay * ys[i - 1]) / (1 - decay))
    if len(freed) < 5:
        return 0.0
    offs = sorted(abs(freed[i] - 2 * freed[i - 1] + freed[i - 2]) for i in range(2, len(freed)))
    of_all = (offs[len(offs) // 2] / SPREAD * (1 - a)) ** 2
    of_noise = square * (1 + (2 + a) ** 2 + (1 + 2 * a) ** 2 + a * a)
    return max(0.0, (of_all - of_noise) / 6)


def noise_square(curve: Curve, first: int, end: int) -> float:
    """The square of a reading's noise where nothing shakes, from the end of a stretch."""
    ys = curve.ys
    near = [abs(ys[i] - ys[i - 1]) for i in range(first + 1, end)]
    quantum = min((step for step in near if step > 1e-6), default=0.0)
    late = range(max(first + 2, (first + 2 * end) // 3), end)
    offs = sorted(abs(ys[i] - 2 * ys[i - 1] + ys[i - 2]) for i in late)
    noise = offs[len(offs) // 2] / SPREAD / math.sqrt(6) if offs else 0.0
    return max(noise, QUANTUM_FRACTION * quantum, NOISE_FRACTION * curve.noise) ** 2


def _best(
    curve: Curve,
    first: int,
    end: int,
    rise: tuple[float, float],
    lengths: Sequence[float],
    square: float,
    shaking: float,
    *,
    is_pulse: bool,
) -> tuple[float, float, float, float, float]:
    """The largest likelihood's logarithm, when that rise begins and ends, its grams and misfit."""
    found = []
    ts, lag = curve.ts, curve.lag
    basis = _basis(ts[first:end], lag)
    free = _freed(curve.ys[first:end], basis)
    for seconds in lengths:
        least, start, most = math.inf, rise[0], 0.0
        offs = free
        at = rise[0] - seconds / 2
        while at + seconds / 2 <= rise[1]:
            shape = _freed([_answer(t - at, seconds, lag) for t in ts[first:end]], basis)
            size = sum(map(mul, shape, shape))
            grams = max(0.0, sum(map(mul, shape, free)) / size) if size > 1e-9 else 0.0
            left = -grams * grams * size
            if left < least:
                least, start, most = left, at, grams
                offs = [y - grams * x for x, y in zip(shape, free, strict=True)]
            at += SHIFT_SECONDS
        stop = start + seconds
        misfit = sum(map(mul, offs, offs)) / len(offs) / max(most * most, 1e-9)
        for since in (start, -math.inf, math.inf) if is_pulse else (math.inf,):
            told = likelihood(curve, first, offs, square, shaking, since, stop)
            found.append((told, start, stop, most, misfit))
    return max(found)


def _basis(ts: Sequence[float], lag: float) -> list[list[float]]:
    """A level, and what the scale has still to close in on when the stretch begins."""
    n = len(ts)
    flat = [1 / math.sqrt(n)] * n
    if not lag:
        return [flat]
    fall = _freed([math.exp((ts[0] - t) / lag) for t in ts], [flat])
    size = math.sqrt(sum(map(mul, fall, fall)))
    return [flat, [x / size for x in fall]] if size > 1e-6 else [flat]


def _freed(values: Sequence[float], basis: Sequence[Sequence[float]]) -> list[float]:
    """What is left of values beside those that a basis explains."""
    left = list(values)
    for one in basis:
        share = sum(map(mul, one, left))
        left = [y - share * x for x, y in zip(one, left, strict=True)]
    return left


def likelihood(
    curve: Curve,
    first: int,
    offs: Sequence[float],
    square: float,
    shaking: float,
    since: float,
    until: float,
    unsure: float = 0.0,
) -> float:
    """The logarithm of how likely readings are that are off by so much, shaken from to until."""
    ts, decays = curve.ts, curve.decays
    state, told = 0.0, 0.0
    unsure = unsure or square / 4
    for i, off in enumerate(offs, first):
        if i > first:
            a = decays[i - 1]
            state *= a
            unsure *= a * a
            if since < ts[i] and ts[i - 1] < until:
                unsure += shaking
        spread = unsure + square
        new = off - state
        told -= 0.5 * (math.log(spread) + new * new / spread)
        state += unsure / spread * new
        unsure *= square / spread
    return told


def _answer(t: float, seconds: float, lag: float) -> float:
    """What a lagging scale shows of a rise of one gram that began ``t`` ago and takes so long."""
    if t <= 0:
        return 0.0
    if seconds <= 0:
        return 1 - math.exp(-t / lag) if lag else 1.0
    if not lag:
        return min(1.0, t / seconds)
    if t <= seconds:
        return (t - lag * (1 - math.exp(-t / lag))) / seconds
    left = lag * (math.exp(seconds / lag) - 1) / seconds
    return 1 - left * math.exp(-t / lag)
