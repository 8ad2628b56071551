"""Benches that never were: what a scale says while cups come and go and a grinder grinds.

True mass and force on the pan are made up on a fine grid, then the scale itself: its lag (one
exponential), electronic noise, drift, resolution, tares, the instants at which it is read, and what
becomes of readings on their way. Every number is drawn from the scene's seed. The scenes are made
up by common practice, no source; nothing here was measured on a bench.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

FINE_SECONDS = 0.005
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TrueRun:
    """What really happened: motor on to motor off (or cup away), and the grams in the cup."""

    started: float
    seconds: float
    grams: float | None


@dataclass(frozen=True)
class Scene:
    """Samples as a detector would get them, and what is true of them."""

    family: str
    seed: int
    samples: list[tuple[float, float]]
    truths: list[TrueRun]
    lasted_seconds: float


@dataclass(frozen=True)
class Device:
    """One scale and the way it is read."""

    rate_hertz: float
    resolution_grams: float
    lag_seconds: float
    noise_grams: float
    drift_grams_per_second: float = 0.0
    repeat_seconds: float = 0.0  # the display changes only so often
    jitter_fraction: float = 0.15
    start: float = 0.0


def draw_device(dice: np.random.Generator) -> Device:
    resolution = float(dice.choice([0.01, 0.02, 0.05, 0.1]))
    return Device(
        rate_hertz=float(dice.choice([5.0, 6.67, 8.0, 10.0, 12.5, 16.0, 20.0])),
        resolution_grams=resolution,
        lag_seconds=0.0 if dice.random() < 0.25 else float(dice.uniform(0.2, 0.8)),
        noise_grams=float(dice.uniform(0.2, 0.8)) * min(resolution, 0.05),
        drift_grams_per_second=float(dice.normal(0, 0.0005)),
        start=float(dice.choice([0.0, 1000.0, 1.7e9])) + float(dice.uniform(0, 10)),
    )


@dataclass
class Bench:
    """A time line that things are done on, one after the other."""

    dice: np.random.Generator
    now: float = 0.0
    steps: list[tuple[float, float, float]] = field(default_factory=list)  # at, over, grams
    flows: list[tuple[float, Floats]] = field(default_factory=list)  # at, grams per fine step
    forces: list[tuple[float, Floats]] = field(default_factory=list)  # at, grams of force
    shakes: list[tuple[float, float, float]] = field(default_factory=list)  # from, to, rms grams
    tares: list[float] = field(default_factory=list)
    truths: list[TrueRun] = field(default_factory=list)
    cup: float = 0.0
    held: float = 0.0

    def uniform(self, low: float, high: float) -> float:
        return float(self.dice.uniform(low, high))

    def log_uniform(self, low: float, high: float) -> float:
        return math.exp(self.uniform(math.log(low), math.log(high)))

    def chance(self, share: float) -> bool:
        return bool(self.dice.random() < share)

    def wait(self, low: float, high: float | None = None) -> None:
        self.now += low if high is None else self.uniform(low, high)

    def place(self, grams: float | None = None) -> None:
        """A cup is put down; its bump is up to 0.6 of its weight and gone within 0.3 s."""
        self.cup = self.log_uniform(2, 700) if grams is None else grams
        over = self.uniform(0.03, 0.25)
        self.steps.append((self.now, over, self.cup))
        bump = self.cup * self.uniform(0, 0.6)
        self._ring(self.now + over, bump, most_fade_seconds=0.045)
        self.now += over

    def lift(self) -> None:
        """The cup goes, grounds and all; often the hand leans on it a little first."""
        if self.chance(0.5):
            push = self.uniform(0, 30)
            self._push(self.now - 0.05, 0.1, push, 0.0, 0.03)
            self.now += 0.1
        over = self.uniform(0.03, 0.2)
        self.steps.append((self.now, over, -(self.cup + self.held)))
        self.cup = self.held = 0.0
        self.now += over

    def tare(self) -> None:
        self.tares.append(self.now)

    def tap(self) -> None:
        self._ring(self.now, self.log_uniform(5, 500) * (1 if self.chance(0.8) else -1))

    def press(self) -> None:
        """A hand on the pan: seldom steady, and gone after a while."""
        force = self.log_uniform(3, 400)
        rise, hold = self.log_uniform(0.1, 2.0), self.log_uniform(0.1, 6.0)
        self._push(self.now, rise, force, hold, self.uniform(0.05, 0.4))
        self.now += rise + hold + 0.3

    def _push(self, at: float, rise: float, force: float, hold: float, fall: float) -> None:
        shape = np.concatenate(
            [
                np.linspace(0, 1, max(2, round(rise / FINE_SECONDS))),
                np.ones(round(hold / FINE_SECONDS)),
                np.linspace(1, 0, max(2, round(fall / FINE_SECONDS))),
            ]
        )
        wobble = lfilter([0.02], [1, -0.98], self.dice.normal(0, 1, len(shape))) * 10
        self.forces.append((at, force * shape * np.maximum(0, 1 + 0.06 * wobble)))

    def _ring(self, at: float, force: float, most_fade_seconds: float = 0.1) -> None:
        t = np.arange(0, 8 * most_fade_seconds, FINE_SECONDS)
        pitch, fade = self.uniform(4, 20), self.uniform(0.015, most_fade_seconds)
        self.forces.append((at, force * np.exp(-t / fade) * np.cos(2 * np.pi * pitch * t)))

    def run(
        self,
        grams: float | None = None,
        flow: float | None = None,
        *,
        least_seconds: float = 1.0,
        most_seconds: float = 60.0,
        shake_grams: float = 0.1,
        ramp_seconds: float | None = None,
        trickle: float = 0.0,
        clump_grams: float = 0.0,
        pulses: tuple[tuple[float, float], ...] = (),
        cut_fraction: float | None = None,
    ) -> None:
        """Grind; ``pulses`` are (pause, seconds) after the first stretch."""
        while grams is None or flow is None:
            try_grams, try_flow = self.log_uniform(5, 100), self.log_uniform(0.5, 8)
            if least_seconds <= try_grams / try_flow <= most_seconds:
                grams, flow = try_grams, try_flow
        ramp = self.uniform(0.0, 0.5) if ramp_seconds is None else ramp_seconds
        ramp = min(ramp, 0.4 * grams / flow)
        lasts = grams / flow + ramp / 2
        parts = [(0.0, lasts)]
        for pause, seconds in pulses:
            parts.append((parts[-1][1] + pause, parts[-1][1] + pause + seconds))
        end = parts[-1][1]
        tail = 8.0 if trickle else 2.0 if clump_grams else 0.0
        t = np.arange(0, end + tail, FINE_SECONDS)
        rate = np.zeros(len(t))
        for start, stop in parts:
            on = (t >= start) & (t < stop)
            rise = np.clip((t - start) / ramp, 0, 1) if ramp > 0 else 1.0
            rate += on * flow * rise
        slow = lfilter([0.01], [1, -0.99], self.dice.normal(0, 1, len(t))) * 14
        rate *= np.maximum(0.1, 1 + self.uniform(0.02, 0.15) * slow)
        if trickle:
            late = self.uniform(0.3, 1.2)
            kept = trickle * rate
            rate = rate - kept + lfilter([FINE_SECONDS / late], [1, -1 + FINE_SECONDS / late], kept)
        if clump_grams:
            rate[round((end + self.uniform(0.2, 1.5)) / FINE_SECONDS)] += clump_grams / FINE_SECONDS
        if cut_fraction is not None:
            keep = max(1, int(cut_fraction * len(t)))
            rate, end = rate[:keep], keep * FINE_SECONDS
        fallen = rate * FINE_SECONDS
        self.flows.append((self.now, fallen))
        total = float(fallen.sum())
        self.held += total
        self.truths.append(TrueRun(self.now, end, total))
        self.shakes.append((self.now, self.now + end, shake_grams))
        self.now += end

    # --- what the scale makes of it ---------------------------------------------------------

    def forces_grams(self, device: Device, t: Floats) -> Floats:
        """All that weighs on the pan, by the fine grid."""
        force = np.zeros(len(t))
        for at, over, grams in self.steps:
            force += grams * np.clip((t - at) / over, 0, 1)
        for at, shape in self.flows:
            first = round(at / FINE_SECONDS)
            fallen = np.zeros(len(t))
            part = shape[: max(0, len(t) - first)]
            fallen[first : first + len(part)] = part
            force += np.cumsum(fallen)
        for at, shape in self.forces:
            first = max(0, round(at / FINE_SECONDS))
            part = shape[: max(0, len(t) - first)]
            force[first : first + len(part)] += part
        for start, end, rms in self.shakes:
            on = (t >= start) & (t < end)
            gain = 1 + 6 * device.lag_seconds  # a slow scale hears less of it
            force += on * rms * gain * self.dice.normal(0, 1, len(t))
        return force

    def scene(self, family: str, seed: int, device: Device, spoil: Spoil | None = None) -> Scene:
        t = np.arange(0, self.now + 4.0, FINE_SECONDS)
        heard = self.forces_grams(device, t)
        if device.lag_seconds > 0:
            keep = math.exp(-FINE_SECONDS / device.lag_seconds)
            heard = lfilter([1 - keep], [1, -keep], heard)
        heard = heard + device.drift_grams_per_second * t
        step = 1 / device.rate_hertz
        at = np.arange(self.uniform(0, step), t[-1], step)
        at = at + self.dice.uniform(-0.5, 0.5, len(at)) * step * device.jitter_fraction
        at = np.clip(at, 0, t[-1])
        shown_at = at
        if device.repeat_seconds:
            shown_at = np.floor(at / device.repeat_seconds) * device.repeat_seconds
        noise = self.dice.normal(0, device.noise_grams, len(t))
        values = np.interp(shown_at, t, heard)
        values += noise[np.round(shown_at / FINE_SECONDS).astype(int)]
        taken = 0.0
        for when in sorted(self.tares):
            zero = heard[min(len(t) - 1, round(when / FINE_SECONDS))]
            values[shown_at >= when] -= zero - taken
            taken = zero
        values = np.round(values / device.resolution_grams) * device.resolution_grams
        samples = [(device.start + float(a), float(v)) for a, v in zip(at, values, strict=True)]
        truths = [
            TrueRun(device.start + true.started, true.seconds, true.grams) for true in self.truths
        ]
        if spoil is not None:
            samples = spoil(samples, truths, self.dice)
        return Scene(family, seed, samples, truths, float(t[-1]))


Spoil = Callable[
    [list[tuple[float, float]], list[TrueRun], np.random.Generator], list[tuple[float, float]]
]


def drop_and_double(
    samples: list[tuple[float, float]], truths: list[TrueRun], dice: np.random.Generator
) -> list[tuple[float, float]]:
    """Readings lost (one by one, now and then for half a second), repeated, not a number."""
    found: list[tuple[float, float]] = []
    silent_until = -math.inf
    for t, grams in samples:
        if dice.random() < 0.003:
            silent_until = t + float(dice.uniform(0.2, 0.8))
        if t < silent_until or dice.random() < 0.06:
            continue
        found.append((t, grams))
        what = dice.random()
        if what < 0.05:
            found.append((t, grams))
        elif what < 0.07:
            found.append((t + 0.001, grams))
        elif what < 0.09:
            found.append((t + 0.002, float(dice.choice([math.nan, math.inf, -math.inf]))))
    return found


def jump_clock(
    samples: list[tuple[float, float]], truths: list[TrueRun], dice: np.random.Generator
) -> list[tuple[float, float]]:
    """The clock is set, back or forth, once or twice, also while it grinds."""
    places = [
        next((i for i, (t, _) in enumerate(samples) if t >= one.started), 0) for one in truths
    ]
    moved = [0.0] * len(samples)
    for _ in range(int(dice.integers(1, 3))):
        if truths and dice.random() < 0.5:
            true = truths[int(dice.integers(len(truths)))]
            when = true.started + float(dice.uniform(0.2, 0.8)) * true.seconds
            first = next((i for i, (t, _) in enumerate(samples) if t >= when), 1)
        else:
            first = int(dice.integers(1, len(samples)))
        size = float(np.exp(dice.uniform(np.log(1.5), np.log(7200)))) * float(dice.choice([-1, 1]))
        moved[first:] = [one + size for one in moved[first:]]
    for i, (true, place) in enumerate(zip(truths, places, strict=True)):
        truths[i] = TrueRun(true.started + moved[place], true.seconds, true.grams)
    return [(t + by, grams) for (t, grams), by in zip(samples, moved, strict=True)]
