"""A quarter of an hour at a counter: cups come and go, people touch things, a grinder grinds.

A third maker of scale scenes, written from what the detector promises and from physics alone. It
follows an ordinary working day: each nuisance comes as often as such a day has it. Made up by
common practice, no source.

A true run goes from motor on to motor off; grounds that fall later weigh and do not prolong it. Its
grams are what lies in the cup 3 s later, or as the cup is touched, taken or ground into again if
that is sooner. Pulses up to 1.7 s apart are one run from the first start to the last stop; runs are
at least 3.2 s apart. A cup stands at least 1.5 s before a run and 1 s after it.

    PYTHONPATH=sdk:tests python -m simulations.bar_scenes SEED

writes what a scene is made of and what was done when.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from random import Random

import numpy as np

from simulations.bar_counter import Counter, GrinderTraits, grinder_traits
from simulations.bar_scales import (
    Floats,
    ScaleTraits,
    clock_offset,
    converted,
    deflections,
    delivered,
    filtered,
    scale_traits,
    shown,
    spring_gain,
)
from simulations.scale_scenes import Scene, TrueRun

WORK_SECONDS = 840.0
# empty weight from, to; dose from, to; how strong a tap is (grams); how often it is tared
VESSELS = {
    "paper cup": (5.0, 12.0, 12.0, 30.0, 30.0, 0.75),
    "glass": (90.0, 250.0, 12.0, 40.0, 60.0, 0.85),
    "dosing cup": (140.0, 260.0, 7.0, 22.0, 80.0, 0.85),
    "portafilter": (480.0, 620.0, 7.0, 21.0, 200.0, 0.85),
    "steel bin": (350.0, 900.0, 30.0, 100.0, 150.0, 0.65),
}
PLACES = {
    "espresso": ("portafilter", "portafilter", "portafilter", "dosing cup"),
    "filter": ("paper cup", "glass", "glass", "dosing cup"),
    "shop": ("steel bin", "steel bin", "glass", "paper cup"),
}


@dataclass(frozen=True)
class BarDay:
    """A scene, what it was made of, and what was done when (by a clock that never jumps)."""

    scene: Scene
    place: str
    scale: ScaleTraits
    grinder: GrinderTraits
    doings: list[tuple[float, str]]


def make_bar_scene(seed: int) -> Scene:
    return make_bar_day(seed).scene


def make_bar_day(seed: int) -> BarDay:
    rng = Random(f"bar {seed}")
    noise = np.random.default_rng(rng.getrandbits(64))
    place = rng.choice(tuple(PLACES))
    scale, grinder = scale_traits(rng), grinder_traits(rng, place)
    counter = Counter(rng, noise, scale.converter_hertz, grinder)
    quiet: list[float] = []
    while counter.now < WORK_SECONDS:
        visit(counter, place)
        away(counter, quiet)
    lasted = counter.now + 5
    steps: list[tuple[float, float]] = []
    if quiet and rng.random() < 0.15:  # the reader's clock is set right
        steps.append((rng.choice(quiet), rng.choice((-2.5, -0.8, 0.7, 4.0, 3600.0))))
        counter.doings.append((steps[0][0], f"clock set by {steps[0][1]} s"))
    count = counter.at(lasted)
    forces = counter.load[:count] + counter.push[:count]
    raw = np.asarray(deflections(forces, counter.load[:count], scale))
    raw += hum(counter, scale, count) + neighbours(counter, scale, count)
    raw += noise.standard_normal(count) * scale.noise_grams
    raw += np.cumsum(noise.standard_normal(count)) * 0.02 / np.sqrt(60 * scale.converter_hertz)
    raw += np.arange(count) / scale.converter_hertz / 60 * scale.drift_grams_per_minute
    display = shown(filtered(raw.tolist(), scale), counter.presses, scale)
    samples = delivered(display, scale, steps, rng)
    truths = [
        TrueRun(run.started + clock_offset(run.started, steps), run.seconds, run.grams)
        for run in counter.truths
    ]
    scene = Scene("bar", seed, samples, truths, lasted)
    return BarDay(scene, place, scale, grinder, sorted(counter.doings))


def visit(counter: Counter, place: str) -> None:
    """A vessel comes, is ground into, and goes."""
    rng = counter.rng
    vessel = rng.choice(PLACES[place])
    lightest, heaviest, least, most, strength, tared = VESSELS[vessel]
    empty = rng.uniform(lightest, heaviest)
    counter.did(f"{vessel} of {empty:.0f} g put down")
    counter.place(empty, vessel == "portafilter")
    if rng.random() < 0.2:
        counter.did("nudged")
        counter.hand(counter.now, rng.uniform(-0.5, 1) * min(empty, 60), rng.uniform(0.2, 0.6), 0.1)
        counter.wait(0.8, 1.5)
    if vessel != "portafilter" and rng.random() < 0.08:
        spoon = rng.uniform(10, 25)
        counter.did("spoon in")
        counter.weigh(spoon, rng.uniform(0.1, 0.3))
        counter.wait(1.5, 4)
        counter.did("spoon out")
        counter.weigh(-spoon, rng.uniform(0.1, 0.3))
        counter.wait(0.8, 1.5)
    if rng.random() < tared:
        counter.wait(0.3, 1.5)
        counter.tare()
        counter.wait(0.2, 3)
    else:
        counter.wait(1.5, 4)
    while True:
        dose = rng.uniform(max(least, 1.5 * counter.grinder.grams_per_second), most)
        dose = min(dose, max(least, 45 * counter.grinder.grams_per_second))
        doses, gaps = [dose], []
        if rng.random() < 0.15:
            share = rng.uniform(0.6, 0.8)
            doses, gaps = [dose * share, dose * (1 - share)], [rng.uniform(0.4, 1.7)]
        is_last = rng.random() > (0.4 if vessel == "steel bin" else 0.06)
        stay = rng.uniform(1, 2.5) if rng.random() < 0.4 else rng.uniform(2.5, 7)
        counter.grind(doses, gaps, stay if is_last else rng.uniform(3.2, 7))
        if is_last:
            break
    if stay > 2.5 and rng.random() < 0.25:
        counter.taps(strength)
        counter.wait(0.8, 2)
    if stay > 2.5 and rng.random() < 0.05:
        lean(counter)
    counter.lift(empty)


def away(counter: Counter, quiet: list[float]) -> None:
    """What is done until the next vessel comes."""
    rng = counter.rng
    counter.wait(1.5, 4)
    if rng.random() < 0.3:
        counter.did("knocked out beside the scale")
        for _ in range(rng.randint(1, 3)):
            counter.bump(counter.now, rng.choice((-1, 1)) * rng.uniform(2, 15), 0.03)
            counter.wait(0.25, 0.5)
        counter.wait(0.5, 1)
    if rng.random() < 0.12:
        counter.did("pan wiped")
        for _ in range(rng.randint(2, 6)):
            counter.hand(counter.now, rng.uniform(10, 150), rng.uniform(0.3, 0.7), 0.1)
            counter.wait(0.3, 0.8)
        counter.weigh(-float(counter.load[counter.at(counter.now)]), 0.1)  # crumbs
        counter.wait(1, 2)
    if rng.random() < 0.05:
        lean(counter)
    if rng.random() < 0.1:
        counter.tare()
    is_rush = rng.random() < 0.35
    if not is_rush:
        quiet.append(counter.now + 4)
    counter.wait(*((2, 6) if is_rush else (8, 45)))


def lean(counter: Counter) -> None:
    counter.did("leaned on")
    seconds = counter.rng.uniform(1, 5)
    counter.hand(counter.now, counter.rng.uniform(15, 250), seconds, counter.rng.uniform(0.1, 0.7))
    counter.now += seconds
    counter.wait(1.2, 2.5)


def hum(counter: Counter, scale: ScaleTraits, count: int) -> Floats:
    """What the motor's imbalance makes the converter see, aliased; through resonance on its way."""
    grinder, speed = counter.grinder, counter.speed[:count]
    hertz = speed * grinder.motor_hertz
    turns = np.cumsum(hertz) / scale.converter_hertz
    whole: Floats = np.zeros(count)
    rated = float(spring_gain(np.array([grinder.motor_hertz]), scale)[0])
    for order, part in ((1, 1.0), (2, 0.3)):
        passed = spring_gain(order * hertz, scale) / rated * converted(order * hertz, scale)
        whole += part * speed**2 * passed * np.sin(2 * np.pi * order * turns)
    return whole * grinder.vibration_grams


def neighbours(counter: Counter, scale: ScaleTraits, count: int) -> Floats:
    """A compressor that runs for minutes, a pump that runs for half a minute."""
    rng, time = counter.rng, np.arange(count) / scale.converter_hertz
    end = float(time[-1])
    whole: Floats = np.zeros(count)
    hertz = rng.choice((49.4, 59.2))
    strongest = rng.uniform(0.02, 0.2)
    at = rng.uniform(0, 300)
    while at < end:
        lasts = rng.uniform(120, 300)
        is_on = (time >= at) & (time < at + lasts)
        whole += is_on * strongest * np.sin(2 * np.pi * hertz * time)
        for thump in (at, at + lasts):
            since = np.maximum(0, time - thump)
            fading = (time >= thump) * np.exp(-since / 0.12) * np.sin(2 * np.pi * 9 * since)
            whole += 8 * strongest * fading
            counter.doings.append((thump, "compressor on or off"))
        at += lasts + rng.uniform(200, 500)
    for at in (rng.uniform(0, end) for _ in range(rng.choice((0, 0, 6, 12)))):
        is_on = (time >= at) & (time < at + rng.uniform(22, 32))
        whole += is_on * rng.uniform(0.05, 0.25) * np.sin(2 * np.pi * (hertz + 1.3) * time)
        counter.doings.append((at, "pump beside for half a minute"))
    return whole


def main() -> int:
    day = make_bar_day(int(sys.argv[1]))
    lines = [day.place, str(day.scale), str(day.grinder)]
    lines += [f"{at:8.2f} s  {what}" for at, what in day.doings]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
