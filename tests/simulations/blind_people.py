"""The counter of the blind scenes, and the hands at it.

Made up by common practice, no source. Time goes on only in ``Counter.wait``; a person acts, waits,
looks at the display and acts again. Hands are forces of short life on the pan; the load is what
lies on the pan, the grounds that fell into it, the hands, and the shaking of the motor.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from simulations.blind_devices import TICK_SECONDS, Grinder, Scale
from simulations.scale_scenes import TrueRun

Force = Callable[[float], float]


def eased(share: float) -> float:
    """From 0 to 1 as a hand moves: slow, quick, slow."""
    x = max(0.0, min(1.0, share))
    return x * x * (3.0 - 2.0 * x)


def half_wave(size_grams: float, lasts_seconds: float) -> Force:
    return lambda u: size_grams * math.sin(math.pi * u / lasts_seconds)


@dataclass
class Vessel:
    """A cup, a portafilter, a paper or a bin, and the grounds in it."""

    name: str
    empty_grams: float
    grounds_grams: float = 0.0

    @property
    def grams(self) -> float:
        return self.empty_grams + self.grounds_grams


class Counter:
    """A pan under a spout, with a vessel on it or none, and the passing of time."""

    def __init__(self, rng: Random, scale: Scale, grinder: Grinder) -> None:
        self.rng, self.scale, self.grinder = rng, scale, grinder
        self.t = 0.0
        self.vessel: Vessel | None = None
        self.forces: list[tuple[float, float, Force]] = []
        self.truths: list[tuple[float, float, float]] = []
        self.touched_at = 0.0
        self.warming_grams, self.warming_seconds = rng.gauss(0.0, 0.35), rng.uniform(250.0, 900.0)
        self.draught_grams, self.draught = rng.choice((0.0, 0.01, 0.025)), 0.0
        self.creep_share, self.crept = rng.uniform(-2e-4, 2e-4), 0.0
        self.ring_hertz, self.ring_seconds = rng.uniform(7.0, 18.0), rng.uniform(0.04, 0.12)

    def wait(self, seconds: float) -> None:
        for _ in range(max(1, round(seconds / TICK_SECONDS))):
            self._tick()

    def _tick(self) -> None:
        self.t += TICK_SECONDS
        t, rng = self.t, self.rng
        fallen = self.grinder.step(t)
        lies = 0.0
        if self.vessel is not None:
            self.vessel.grounds_grams += fallen
            lies = self.vessel.grams
        self.crept += (self.creep_share * lies - self.crept) * TICK_SECONDS / 60.0
        self.draught += -self.draught * TICK_SECONDS / 2.0
        self.draught += rng.gauss(0.0, self.draught_grams * math.sqrt(TICK_SECONDS))
        load = lies + self.crept + self.draught + self.grinder.shake(t)
        load += self.warming_grams * (1.0 - math.exp(-t / self.warming_seconds))
        if self.forces:
            self.forces = [force for force in self.forces if force[1] > t]
            load += sum(force(t - begins) for begins, _, force in self.forces if begins <= t)
        self.scale.feed(t, load)

    def push(self, after_seconds: float, lasts_seconds: float, force: Force) -> None:
        begins = self.t + after_seconds
        self.forces.append((begins, begins + lasts_seconds, force))
        self.touched_at = max(self.touched_at, begins + lasts_seconds)

    def ring(self, after_seconds: float, size_grams: float) -> None:
        turn, tau = 2.0 * math.pi * self.ring_hertz, self.ring_seconds
        self.push(
            after_seconds, 4.0 * tau, lambda u: size_grams * math.exp(-u / tau) * math.cos(turn * u)
        )

    # -- what hands do -----------------------------------------------------------------------
    def place(self, vessel: Vessel) -> None:
        rng, grams = self.rng, vessel.grams
        lasts = rng.uniform(0.08, 0.35) + (0.15 if grams > 150.0 else 0.0)
        press = grams * rng.uniform(0.0, 0.15) + rng.uniform(0.0, 5.0)
        self.vessel = vessel
        self.push(
            0.0,
            lasts,
            lambda u: (
                grams * (eased(u / lasts) - 1.0) + press * max(0.0, math.sin(math.pi * u / lasts))
            ),
        )
        self.ring(lasts, grams * rng.uniform(0.01, 0.06))
        self.wait(lasts + 2 * TICK_SECONDS)
        if rng.random() < 0.25:  # turned or shifted into its place
            self.nudge(rng.uniform(0.1, 0.5))

    def lift(self) -> Vessel:
        vessel, rng = self.vessel, self.rng
        assert vessel is not None
        grip, lasts, grams = rng.uniform(2.0, 30.0), rng.uniform(0.12, 0.4), vessel.grams
        holds = rng.uniform(0.1, 0.4)
        self.push(0.0, holds, half_wave(grip, holds))
        self.push(holds, lasts, lambda u: -grams * eased(u / lasts))
        self.wait(holds + lasts - TICK_SECONDS)
        self.vessel = None
        self.ring(0.0, -grams * rng.uniform(0.0, 0.02))
        self.wait(rng.uniform(0.2, 0.5))
        return vessel

    def nudge(self, after_seconds: float = 0.0) -> None:
        size, lasts = (
            self.rng.choice((-1, 1, 1)) * self.rng.uniform(3, 50),
            self.rng.uniform(0.1, 0.4),
        )
        self.push(after_seconds, lasts, half_wave(size, lasts))

    def tap(self, after_seconds: float = 0.0) -> None:
        for number in range(self.rng.choice((1, 2, 2, 3))):
            begins, size = after_seconds + 0.3 * number, self.rng.uniform(60.0, 400.0)
            self.push(begins, 0.04, half_wave(size, 0.04))
            self.ring(begins + 0.04, 0.1 * size)

    def press(self, after_seconds: float = 0.0) -> None:
        """A hand rests on the vessel or the pan for a moment, never quite still."""
        rng = self.rng
        size, lasts, phase = rng.uniform(4.0, 150.0), rng.uniform(0.5, 2.5), rng.uniform(0.0, 6.0)
        self.push(
            after_seconds,
            lasts,
            lambda u: (
                size
                * eased(u / 0.15)
                * eased((lasts - u) / 0.15)
                * (1.0 + 0.1 * math.sin(5.0 * u + phase) + 0.05 * math.sin(17.0 * u))
            ),
        )

    def spoon(self, grams: float) -> None:
        """A spoon goes in and out, and leaves or takes a little."""
        vessel, lasts = self.vessel, self.rng.uniform(0.3, 1.0)
        assert vessel is not None
        lean = self.rng.uniform(1.0, 15.0)
        self.push(0.0, lasts, half_wave(lean, lasts))
        self.wait(0.5 * lasts)
        vessel.grounds_grams = max(0.0, vessel.grounds_grams + grams)
        self.wait(0.5 * lasts)

    def tare(self) -> None:
        lean, lasts = self.rng.uniform(-2.0, 6.0), self.rng.uniform(0.1, 0.3)
        self.push(0.0, lasts, half_wave(lean, lasts))
        self.wait(self.rng.uniform(0.15, 0.6))
        self.scale.wants_tare = True
        self.await_zero(3.0)

    def await_zero(self, most_seconds: float) -> None:
        until = self.t + most_seconds
        while abs(self.scale.shown) > 0.5 and self.t < until:
            self.wait(0.1)
        self.scale.wants_tare = False

    def rest(self, least_seconds: float, typical_seconds: float) -> None:
        """Hands off for a while: counted from the last touch."""
        hurries = self.rng.random() < 0.03
        least = self.rng.uniform(1.1, 1.5) if hurries else least_seconds
        lasts = least + (0.0 if hurries else self.rng.expovariate(1.0 / typical_seconds))
        self.wait(max(TICK_SECONDS, max(self.touched_at, self.t - 0.3) + lasts - self.t))

    # -- the run -----------------------------------------------------------------------------
    def grind(self, pulses: list[Callable[[], bool]]) -> None:
        """Each pulse ends when its ``is_done`` says so; short pauses between; all are one run."""
        vessel, began = self.vessel, self.t
        assert vessel is not None
        before = vessel.grounds_grams
        for number, is_done in enumerate(pulses):
            if number:
                self.wait(self.rng.uniform(0.4, 1.5))
            self.grinder.switch(self.t, True)
            while not is_done():
                self._tick()
            self.grinder.switch(self.t, False)
        ended = self.t
        self.touched_at = max(self.touched_at, self.t)
        self.wait(0.3)
        self.rest(1.5, 1.5)
        self.truths.append((began, ended, vessel.grounds_grams - before))

    def true_runs(self) -> list[TrueRun]:
        clock = self.scale.clock
        return [
            TrueRun(clock(began), clock(ended) - clock(began), grams)
            for began, ended, grams in self.truths
        ]
