"""What lies and presses on a pan at a counter: cups, hands, and a grinder that grinds above it.

Forces in grams, one for each conversion of the scale. Made up by common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from random import Random

import numpy as np

from simulations.bar_scales import Floats
from simulations.scale_scenes import TrueRun

LONGEST_SECONDS = 1200.0


@dataclass(frozen=True)
class GrinderTraits:
    """One grinder; drawn once for a scene."""

    grams_per_second: float
    delay_seconds: float
    ramp_seconds: float
    coast_seconds: float
    unevenness: float
    clumped_fraction: float
    late_grams: float
    late_seconds: float
    fall_metres: float
    static: float
    motor_hertz: float
    vibration_grams: float


def grinder_traits(rng: Random, place: str) -> GrinderTraits:
    flows = {"espresso": (0.8, 4.0), "filter": (0.5, 4.0), "shop": (3.0, 8.0)}
    return GrinderTraits(
        grams_per_second=rng.uniform(*flows[place]),
        delay_seconds=rng.uniform(0.08, 0.25),
        ramp_seconds=rng.uniform(0.1, 0.3),
        coast_seconds=rng.uniform(0.1, 0.25),
        unevenness=rng.uniform(0.05, 0.2),
        clumped_fraction=rng.choice((0.0, 0.2, 0.4)),
        late_grams=rng.uniform(0.05, 0.4),
        late_seconds=rng.uniform(0.2, 0.7),
        fall_metres=rng.uniform(0.04, 0.12),
        static=rng.choice((0.0, 0.0, 1.0)),
        motor_hertz=rng.uniform(50, 120),
        vibration_grams=min(1.5, 0.25 * rng.lognormvariate(0, 0.7)),
    )


@dataclass
class Counter:
    """Forces on a pan as they pile up while time goes by."""

    rng: Random
    noise: np.random.Generator
    rate: float
    grinder: GrinderTraits
    now: float = 3.0
    truths: list[TrueRun] = field(default_factory=list)
    presses: list[float] = field(default_factory=list)
    doings: list[tuple[float, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.load: Floats = np.zeros(int(LONGEST_SECONDS * self.rate))
        self.push: Floats = np.zeros_like(self.load)
        self.speed: Floats = np.zeros_like(self.load)
        self.in_cup: list[Floats] = []

    def at(self, seconds: float) -> int:
        return int(seconds * self.rate)

    def did(self, what: str) -> None:
        self.doings.append((self.now, what))

    def wait(self, low: float, high: float) -> None:
        self.now += self.rng.uniform(low, high)

    def bump(self, at: float, grams: float, seconds: float) -> None:
        """A short push, half a sine."""
        first, count = self.at(at), max(1, round(seconds * self.rate))
        shape = np.sin(np.pi * (np.arange(count) + 0.5) / count)
        self.push[first : first + count] += grams * shape

    def hand(self, at: float, grams: float, seconds: float, ease: float) -> None:
        """A hand that comes, trembles and goes."""
        count = max(4, round(seconds * self.rate))
        time = np.arange(count) / self.rate
        shape = np.clip(np.minimum(time, time[-1] - time) / ease, 0, 1)
        tremble = smooth_noise(self.noise, count, self.rate, 0.15)
        self.push[self.at(at) : self.at(at) + count] += grams * shape * (1 + 0.25 * tremble)

    def weigh(self, by: float, seconds: float) -> None:
        """What lies on the pan changes for good, within some tenths of a second."""
        first, count = self.at(self.now), max(1, round(seconds * self.rate))
        self.load[first : first + count] += by * np.arange(1, count + 1) / count
        self.load[first + count :] += by

    def place(self, grams: float, is_fork: bool) -> None:
        fumble = self.rng.uniform(0.4, 1.2) if is_fork else self.rng.uniform(0.1, 0.5)
        self.bump(self.now + 0.03, grams * self.rng.uniform(0.1, 0.8), 0.04)
        self.hand(self.now, self.rng.uniform(-0.15, 0.3) * min(grams, 150), fumble + 0.1, 0.08)
        self.weigh(grams, self.rng.uniform(0.05, 0.25))
        self.now += fumble + 0.25

    def lift(self, grams: float) -> None:
        """The vessel goes with what has fallen into it; what falls later lies on the pan."""
        self.did("taken away")
        self.hand(self.now, self.rng.uniform(5, 40), self.rng.uniform(0.15, 0.35), 0.05)
        grams += sum(float(total[self.at(self.now)]) for total in self.in_cup)
        self.in_cup = []
        self.now += 0.12
        self.weigh(-grams, self.rng.uniform(0.05, 0.3))
        self.now += 0.4

    def tare(self) -> None:
        self.did("tare")
        self.hand(self.now, self.rng.uniform(15, 90), self.rng.uniform(0.15, 0.35), 0.05)
        self.presses.append(self.now + 0.08)
        self.now += 2.3

    def taps(self, grams: float) -> None:
        self.did("taps")
        for _ in range(self.rng.randint(1, 4)):
            self.bump(self.now, grams * self.rng.uniform(0.5, 1.5), self.rng.uniform(0.02, 0.06))
            self.wait(0.2, 0.45)

    def grind(self, doses: list[float], gaps: list[float], stay: float) -> None:
        """One run: pulses of so many grams, gaps between them, and ``stay`` seconds in peace."""
        g, first = self.grinder, self.now
        landed = np.zeros_like(self.load)
        for grams, gap in zip(doses, [*gaps, 0.0], strict=True):
            self.did(f"motor on for {grams:.1f} g")
            seconds = grams / g.grams_per_second + g.delay_seconds + g.ramp_seconds / 2
            seconds -= g.coast_seconds
            falling = self.flow(seconds)
            landed[self.at(self.now) : self.at(self.now) + len(falling)] += falling
            self.spin(seconds)
            if seconds > 5 and self.rng.random() < 0.04:
                touched = self.now + self.rng.uniform(1.5, seconds - 2.5)
                self.doings.append((touched, "touched while grinding"))
                self.hand(touched, self.rng.uniform(8, 60), self.rng.uniform(0.3, 0.9), 0.1)
            self.now += seconds + gap
        self.did("motor off")
        self.impacts(landed)
        total = np.cumsum(landed)
        self.load += total
        self.in_cup.append(total)
        in_cup = float(total[self.at(self.now + min(3.0, stay))])
        self.truths.append(TrueRun(first, self.now - first, in_cup))
        self.now += stay

    def flow(self, seconds: float) -> Floats:
        """Grams that land in each step from motor on."""
        g, rate = self.grinder, self.rate
        count = round((seconds + 6) * rate)
        time = np.arange(count) / rate
        rise = np.clip((time - g.delay_seconds) / g.ramp_seconds, 0, 1)
        fall = np.clip((seconds + g.coast_seconds - time) / 0.05, 0, 1)
        uneven = 1 + g.unevenness * smooth_noise(self.noise, count, rate, 0.4)
        ground = g.grams_per_second / rate * rise * fall * np.clip(uneven, 0.2, 2)
        clumped = g.clumped_fraction * ground
        loose, held = ground - clumped, 0.0
        for index in range(count):  # clumps let go some three times a second, and before 1 g
            held += clumped[index]
            is_over = held > 0.8 or time[index] > seconds + 0.2
            if is_over or self.rng.random() < 3 / rate:
                loose[index], held = loose[index] + held, 0.0
        late = min(g.late_grams, 0.1 * float(ground.sum()))
        loose *= 1 - late / float(loose.sum())
        for _ in range(6):  # what stuck in the chute comes in crumbs
            after = seconds + self.rng.expovariate(1 / g.late_seconds)
            loose[min(count - 1, int(after * rate))] += late / 6
        return loose

    def impacts(self, landed: Floats) -> None:
        """What falls also pushes: its speed times its rate; and charged grounds hop."""
        self.push += landed * self.rate * sqrt(2 * self.grinder.fall_metres / 9.81)
        if self.grinder.static:
            hops = (landed > 0) & (self.noise.random(len(landed)) < 2 / self.rate)
            self.push += hops * self.noise.uniform(-0.3, 0.6, len(landed))

    def spin(self, seconds: float) -> None:
        """The motor's speed, 1 at its rated one: up at once, down by itself."""
        count = round((seconds + 2) * self.rate)
        time = np.arange(count) / self.rate
        after = np.maximum(0, time - seconds)
        shape = np.clip(time / 0.15, 0, 1) * np.clip(1 - after / 0.5, 0, 1)
        shape *= 1 + 0.01 * smooth_noise(self.noise, count, self.rate, 0.5)
        first = self.at(self.now)
        self.speed[first : first + count] = np.maximum(self.speed[first : first + count], shape)
        self.bump(self.now, self.rng.uniform(-1.5, 1.5), 0.1)


def smooth_noise(noise: np.random.Generator, count: int, rate: float, seconds: float) -> Floats:
    """Noise of unit spread that keeps its value for about some tenths of a second."""
    width = max(1, round(seconds * rate))
    white = noise.standard_normal(count + width)
    smooth: Floats = np.convolve(white, np.ones(width) / sqrt(width), "valid")[:count]
    return smooth
