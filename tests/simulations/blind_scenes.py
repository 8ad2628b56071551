"""The blind proof of the scale's run detector: ordinary days kept apart from its making.

Made up by common practice, no source: a person at a cafe's grinder, in a laboratory or at an
evaluator's bench goes through a day as a chain of acts, five to fifteen minutes of it. What is
true is what fell into the vessel and how long the motor was on; pulses less than 2 s apart are one
run, other runs at least 3 s apart. The vessel nearly always rests 1.5 s before a run and after it.

Nuisances come as often as they do in a day, not to trip anyone: hands, taps, taring, spoons,
weights and vessels put on and off, beans counted in, a warming scale, a clock set once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from simulations.blind_devices import TICK_SECONDS, Grinder, Scale
from simulations.blind_people import Counter, Vessel
from simulations.scale_scenes import Scene

PLACES = ("cafe", "cafe", "laboratory", "bench", "bench")
VESSELS = {  # name and grams, least and most
    "paper": (4.0, 6.0),
    "paper cup": (7.0, 16.0),
    "plastic beaker": (20.0, 60.0),
    "dosing cup": (60.0, 160.0),
    "cup": (120.0, 320.0),
    "portafilter": (350.0, 620.0),
    "steel bin": (250.0, 700.0),
}
AT_PLACE = {
    "cafe": ("portafilter", "portafilter", "dosing cup", "cup"),
    "laboratory": ("paper", "paper cup", "plastic beaker", "cup", "dosing cup"),
    "bench": ("steel bin", "steel bin", "dosing cup", "plastic beaker"),
}


@dataclass
class Person:
    """Who works at the counter, with the habits of the day."""

    rng: Random
    counter: Counter
    place: str
    vessel: Vessel
    dose_grams: float
    feeds_singly: bool
    pulses_often: bool
    stops_by_eye: bool
    sets_clock_at: float

    # -- stopping the motor --------------------------------------------------------------------
    def by_timer(self, seconds: float) -> Callable[[], bool]:
        counter = self.counter
        until = math.inf

        def is_done() -> bool:
            nonlocal until
            if until == math.inf:
                until = counter.t + seconds
            return counter.t >= until

        return is_done

    def by_eye(self, grams: float) -> Callable[[], bool]:
        """Watches the display, presses a moment before the dose is there, reacts late."""
        counter, rate = self.counter, self.counter.grinder.rate
        target = counter.scale.shown + grams - rate * self.rng.uniform(0.1, 0.6)
        reacts = round(self.rng.uniform(0.15, 0.4) / TICK_SECONDS)
        least, most = counter.t + 0.7 * grams / rate, counter.t + 1.3 * grams / rate
        seen = 0

        def is_done() -> bool:
            nonlocal seen
            is_there = counter.scale.shown >= target and counter.t > least  # not a hand's doing
            seen = seen + 1 if is_there or seen else 0
            return seen > reacts or counter.t > most

        return is_done

    def by_ear(self) -> Callable[[], bool]:
        """A single dose: off as soon as the burrs sound empty; what is left stays in them."""
        counter = self.counter
        reacts, began = round(self.rng.uniform(0.0, 0.15) / TICK_SECONDS), counter.t
        seen = 0

        def is_done() -> bool:
            nonlocal seen
            grinder = counter.grinder
            is_empty = grinder.charge_grams < 0.7 * grinder.rate * grinder.runout_seconds
            seen += is_empty and counter.t > began + 1.0
            return seen > reacts

        return is_done

    # -- one dose ------------------------------------------------------------------------------
    def dose(self, grams: float) -> None:
        rng, counter = self.rng, self.counter
        if counter.truths:
            counter.wait(max(0.02, counter.truths[-1][1] + 3.3 - counter.t))
        counter.rest(1.5, 1.8)
        grinder = counter.grinder
        seconds = grams / grinder.rate
        if seconds > 6.0 and rng.random() < 0.04:
            counter.press(rng.uniform(1.0, seconds - 4.0))  # steadies the vessel
        elif seconds > 4.0 and rng.random() < 0.05:
            counter.nudge(rng.uniform(1.0, seconds - 1.5))
        if self.feeds_singly:
            grinder.charge_grams = grams
            counter.grind([self.by_ear()])
            grinder.charge_grams = math.inf
            return
        tops_up = rng.random() < (0.4 if self.pulses_often else 0.06)
        share = rng.uniform(0.7, 0.95) if tops_up else 1.0
        by_eye = self.stops_by_eye and share * seconds > 2.0
        stops = [self.by_eye(share * grams) if by_eye else self.by_timer(share * seconds + 0.1)]
        if tops_up:
            stops += [self.by_timer(rng.uniform(0.4, 1.0)) for _ in range(rng.choice((1, 1, 2)))]
        counter.grind(stops)

    def some_grams(self) -> float:
        return max(5.5, self.dose_grams * self.rng.gauss(1.0, 0.04))

    # -- a day as a chain of acts --------------------------------------------------------------
    def idle(self, typical_seconds: float) -> None:
        rng, counter = self.rng, self.counter
        counter.wait(1.0 + min(60.0, rng.expovariate(1.0 / typical_seconds)))
        act = rng.random()
        if act < 0.05:
            counter.press()  # wipes the pan, or leans on it
            counter.rest(1.0, 2.0)
        elif act < 0.10:
            counter.nudge()
            counter.rest(0.5, 2.0)
        elif act < 0.14 and counter.vessel is None:
            self.weigh()
        if counter.t > self.sets_clock_at:
            counter.wait(4.0)
            counter.scale.set_at, self.sets_clock_at = counter.t, math.inf
            counter.wait(4.0)

    def weigh(self) -> None:
        """Something else on the pan for a moment: a weight, a bag, a jug."""
        counter = self.counter
        counter.place(Vessel("weight", self.rng.choice((20.0, 50.0, 100.0, 200.0, 437.0))))
        counter.rest(1.0, 3.0)
        counter.lift()

    def put_under(self) -> None:
        rng, counter = self.rng, self.counter
        counter.place(self.vessel)
        if rng.random() < 0.1:  # not quite right: off and on again
            counter.rest(0.3, 0.6)
            counter.lift()
            counter.place(self.vessel)
        if counter.scale.tares_itself:
            counter.rest(0.5, 0.5)
            counter.await_zero(4.0)
        elif self.stops_by_eye or rng.random() < 0.4:
            counter.rest(0.6, 0.8)
            counter.tare()

    def tend(self) -> None:
        """After a dose: settle, level, look."""
        rng, counter, act = self.rng, self.counter, self.rng.random()
        if act < 0.12:
            counter.tap()
        elif act < 0.18:
            counter.nudge()
        elif act < 0.23:
            counter.press()
        elif act < 0.30:
            counter.spoon(rng.choice((-1.0, 1.0, 1.0)) * rng.uniform(0.2, 1.5))
        counter.rest(0.8, 1.5)

    def serve(self) -> None:
        """A vessel comes empty, is filled by one dose or two, and goes."""
        rng, counter = self.rng, self.counter
        if (
            self.feeds_singly and self.dose_grams > 14.0 and rng.random() < 0.15
        ):  # beans weighed in the vessel first, in one toss
            counter.place(self.vessel)
            counter.rest(0.8, 1.0)
            toss, lasts = self.dose_grams, rng.uniform(0.1, 0.3)
            self.vessel.grounds_grams = toss
            counter.push(0.0, lasts, lambda u: toss * (u / lasts - 1.0))
            counter.rest(1.0, 1.5)
            for _ in range(rng.choice((0, 1, 2, 3, 5))):  # and a few more, one by one
                self.vessel.grounds_grams += rng.gauss(0.13, 0.015)
                counter.ring(0.0, 0.5)
                counter.wait(rng.uniform(0.4, 1.2))
            counter.rest(0.5, 1.0)
            counter.lift()
            counter.wait(rng.uniform(2.0, 8.0))
            self.vessel.grounds_grams = 0.0
        self.put_under()
        self.dose(self.some_grams())
        self.tend()
        if rng.random() < 0.12:
            if rng.random() < 0.5:
                counter.tare()
            self.dose(self.some_grams())
            self.tend()
        counter.lift()
        if rng.random() < 0.1:  # looks once more what it weighs
            counter.wait(rng.uniform(0.5, 3.0))
            counter.place(self.vessel)
            counter.rest(1.0, 1.0)
            counter.lift()
        self.vessel.grounds_grams = 0.0

    def break_in(self) -> None:
        """Long feeds into the bin, one upon the other, until it is emptied."""
        rng, counter = self.rng, self.counter
        self.put_under()
        for _ in range(rng.randint(2, 5)):
            self.dose(rng.uniform(50.0, 96.0))
            self.tend()
            self.idle(4.0)
            if rng.random() < 0.2:
                counter.rest(0.5, 0.5)
                counter.tare()
        counter.lift()
        self.vessel.grounds_grams = 0.0

    def day(self, lasts_seconds: float) -> None:
        counter, pause = self.counter, self.rng.uniform(5.0, 20.0)
        is_breaking_in = self.vessel.name == "steel bin"
        counter.wait(3.0)
        while counter.t < lasts_seconds - 60.0:
            self.idle(pause)
            if is_breaking_in:
                self.break_in()
            else:
                self.serve()
        counter.wait(max(3.0, lasts_seconds - counter.t))


def make_blind_scene(seed: int) -> Scene:
    """One stretch of a day, with what is true of it; the same seed makes the same."""
    rng = Random(f"blind {seed}")
    place = rng.choice(PLACES)
    name = rng.choice(AT_PLACE[place])
    vessel = Vessel(name, rng.uniform(*VESSELS[name]))
    middle, least, most = {"cafe": (3.0, 1.0, 7.0), "laboratory": (1.8, 0.6, 6.0)}.get(
        place, (2.2, 0.6, 5.0)
    )
    if name == "steel bin":
        least = 1.0
    rate = max(least, min(most, middle * math.exp(rng.gauss(0.0, 0.5))))
    scale, grinder = Scale(rng), Grinder(rng, rate)
    counter = Counter(rng, scale, grinder)
    lasts_seconds = rng.uniform(300.0, 900.0)
    sets_clock_at = math.inf
    if rng.random() < 0.25:
        sets_clock_at = rng.uniform(0.2, 0.8) * lasts_seconds
        size = rng.choice((rng.uniform(0.2, 3.0), rng.uniform(3.0, 90.0), 3600.0))
        scale.set_by_seconds = rng.choice((-1.0, 1.0, 1.0)) * size
    dose_grams = rng.uniform(14.0, 21.0) if place == "cafe" else rng.uniform(8.0, 40.0)
    Person(
        rng,
        counter,
        place,
        vessel,
        dose_grams,
        feeds_singly=name != "steel bin" and rng.random() < (0.15 if place == "cafe" else 0.5),
        pulses_often=rng.random() < 0.12,
        stops_by_eye=rng.random() < 0.35,
        sets_clock_at=sets_clock_at,
    ).day(lasts_seconds)
    return Scene("blind", seed, scale.samples, counter.true_runs(), counter.t)
