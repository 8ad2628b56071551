"""A second maker of scale scenes, built otherwise and never tuned on.

Grounds come in lumps on a conveyor (a random count of small masses per tick) instead of a rate; the
scale settles as a moving average of its last readings, or as one exponential, or as both one after
the other; its noise has heavy tails; tares come from the scale itself, on a still weight or as soon
as the cup stands; cups rock. Cups are put down 1 to 5 s before a run and taken 1 to 6 s after it.
A third of the scenes lose and double readings, a fifth have their clock set once. Made up by common
practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simulations.scale_scenes import Scene, TrueRun

TICK_SECONDS = 0.01


def _shown(weight: NDArray[np.float64], dice: np.random.Generator) -> NDArray[np.float64]:
    """What becomes of the weight in the scale: settled to a thousandth within 1.5 s at most."""
    kind = int(dice.integers(3))
    shown = weight
    if kind != 1:
        longest = 0.6 if kind == 0 else 0.2
        window = max(1, round(float(dice.uniform(0.05, longest)) / TICK_SECONDS))
        padded = np.concatenate([np.zeros(window - 1), shown])
        shown = np.convolve(padded, np.ones(window) / window, "valid")
    if kind != 0:
        keep = float(np.exp(-TICK_SECONDS / dice.uniform(0.05, 0.5 if kind == 1 else 0.2)))
        state, slowed = 0.0, np.empty_like(shown)
        for i, value in enumerate(shown):
            state = keep * state + (1 - keep) * value
            slowed[i] = state
        shown = slowed
    return shown


def make_other_scene(seed: int) -> Scene:
    """One hour's handful of runs, made the other way."""
    dice = np.random.default_rng([seed, 4242])
    mass: list[float] = []  # what weighs on the pan, by tick
    truths: list[TrueRun] = []
    cup = held = 0.0

    def stay(seconds: float, level: float) -> None:
        mass.extend([level] * max(1, round(seconds / TICK_SECONDS)))

    def move(seconds: float, start: float, end: float) -> None:
        t = np.linspace(0, 1, max(2, round(seconds / TICK_SECONDS)))
        rock = 0.1 * abs(end - start) * np.sin(14 * t) * np.exp(-4 * t)
        mass.extend((start + (end - start) * t**2 * (3 - 2 * t) + rock * t * (1 - t)).tolist())

    tares: list[int] = []
    stay(3.0, 0.0)
    for _ in range(5):
        cup = float(np.exp(dice.uniform(np.log(2), np.log(600))))
        move(float(dice.uniform(0.1, 0.3)), 0.0, cup)
        if dice.random() < 0.5:
            stay(float(dice.uniform(1.0, 2.0)), cup)
        else:
            stay(float(dice.uniform(2.0, 5.0)), cup)
        if dice.random() < 0.6:
            tares.append(len(mass) - 1)
            stay(float(dice.uniform(0.5, 2.0)), cup)
        while True:
            dose, rate = np.exp(dice.uniform(np.log([5, 0.5]), np.log([100, 8])))
            if 1.0 <= dose / rate <= 60:
                break
        started, held, lump = len(mass) * TICK_SECONDS, 0.0, float(dice.uniform(0.01, 0.06))
        while held < dose:
            held += lump * int(dice.poisson(rate * TICK_SECONDS / lump))
            mass.append(cup + held)
        truths.append(TrueRun(started, len(mass) * TICK_SECONDS - started, held))
        stay(float(dice.uniform(1.0, 6.0)), cup + held)
        for _ in range(int(dice.integers(0, 3))):  # somebody knocks on the table
            knock = float(dice.normal(0, 60)) * np.exp(-np.arange(40) / 8)
            mass.extend((cup + held + knock * np.sign(np.sin(np.arange(40)))).tolist())
            stay(float(dice.uniform(0.5, 2.0)), cup + held)
        if dice.random() < 0.5:
            lean = float(dice.uniform(5, 150))
            move(float(dice.uniform(0.2, 1.0)), cup + held, cup + held + lean)
            stay(float(dice.uniform(0.1, 1.5)), cup + held + lean)
            move(0.2, cup + held + lean, cup + held)
            stay(float(dice.uniform(1.0, 3.0)), cup + held)
        move(float(dice.uniform(0.1, 0.3)), cup + held, 0.0)
        stay(float(dice.uniform(2.5, 6.0)), 0.0)
    shown = _shown(np.array(mass), dice)
    zero, last = np.zeros(len(shown)), 0.0
    for place in tares:
        last = float(shown[place])
        zero[place:] = last
    resolution = float(dice.choice([0.01, 0.05, 0.1]))
    shown = shown - zero + 0.4 * resolution * dice.standard_t(3, len(shown))
    every = max(1, round(1 / float(dice.uniform(5, 20)) / TICK_SECONDS))
    places = np.arange(0, len(shown), every)
    values = np.round(shown[places] / resolution) * resolution
    samples = [(p * TICK_SECONDS, float(v)) for p, v in zip(places.tolist(), values, strict=True)]
    if dice.random() < 1 / 3:
        samples = [
            sample
            for sample in samples
            if dice.random() > 0.05
            for _ in range(1 + int(dice.random() < 0.05))
        ]
    if dice.random() < 0.2:
        when = float(dice.uniform(5, samples[-1][0]))
        by = float(dice.uniform(2, 3600)) * float(dice.choice([-1, 1]))
        samples = [(t + by if t >= when else t, grams) for t, grams in samples]
        truths = [
            TrueRun(one.started + by, one.seconds, one.grams) if one.started >= when else one
            for one in truths
        ]
    return Scene("built otherwise", seed, samples, truths, len(shown) * TICK_SECONDS)
