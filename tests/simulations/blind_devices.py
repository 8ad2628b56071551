"""The scale and the grinder of the blind scenes: what a load cell's board and a motor do.

Made up by common practice, no source: boards average the converter, filter, follow zero, hold a
still display and send it over a line that loses and repeats; burrs start late, ramp, fluctuate,
let go in clumps and drop a few late grounds. Every filter settles to 0.1 % of a step in 1.5 s.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from random import Random
from statistics import median

TICK_SECONDS = 0.0125
Filter = Callable[[float], float]


def one_pole(tau_seconds: float, step_seconds: float) -> Filter:
    share, value = 1.0 - math.exp(-step_seconds / tau_seconds), 0.0

    def put(x: float) -> float:
        nonlocal value
        value += share * (x - value)
        return value

    return put


def moving_average(window_seconds: float, step_seconds: float) -> Filter:
    kept: deque[float] = deque([0.0] * max(1, round(window_seconds / step_seconds)))
    total = 0.0

    def put(x: float) -> float:
        nonlocal total
        total += x - kept.popleft()
        kept.append(x)
        return total / len(kept)

    return put


def median_of(count: int) -> Filter:
    kept: deque[float] = deque([0.0] * count, maxlen=count)

    def put(x: float) -> float:
        kept.append(x)
        return median(kept)

    return put


def chained(*stages: Filter) -> Filter:
    def put(x: float) -> float:
        for stage in stages:
            x = stage(x)
        return x

    return put


def adaptive(
    quick_seconds: float, calm_seconds: float, near_grams: float, step_seconds: float
) -> Filter:
    """Slow while the load stays near what is shown, quick when it is far from it."""
    quick = 1.0 - math.exp(-step_seconds / quick_seconds)
    calm = 1.0 - math.exp(-step_seconds / calm_seconds)
    value = 0.0

    def put(x: float) -> float:
        nonlocal value
        value += (quick if abs(x - value) > near_grams else calm) * (x - value)
        return value

    return put


def some_filter(rng: Random, step_seconds: float) -> Filter:
    kind = rng.choice(("pole", "pole", "average", "average", "median", "two", "adaptive"))
    if kind == "pole":
        return one_pole(rng.uniform(0.04, 0.18), step_seconds)
    if kind == "average":
        return moving_average(rng.uniform(0.2, 1.0), step_seconds)
    if kind == "median":
        count = 2 * round(rng.uniform(0.1, 0.5) / step_seconds / 2) + 1
        return chained(
            median_of(max(3, min(9, count))), one_pole(rng.uniform(0.05, 0.12), step_seconds)
        )
    if kind == "two":
        return chained(
            moving_average(rng.uniform(0.15, 0.5), step_seconds),
            one_pole(rng.uniform(0.05, 0.12), step_seconds),
        )
    return adaptive(
        rng.uniform(0.05, 0.12), rng.uniform(0.2, 0.35), rng.uniform(0.3, 1.0), step_seconds
    )


class Scale:
    """A board fed with the load on the pan; what it sends is kept in ``samples``."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.resolution_grams = rng.choice((0.01, 0.05, 0.1, 0.1, 0.1))
        self.out_seconds = 1.0 / rng.choice((5.0, 8.0, 10.0, 10.0, 12.5, 16.0, 20.0))
        self.every = rng.choice([n for n in (1, 2, 4, 8) if n * TICK_SECONDS <= self.out_seconds])
        step = self.every * TICK_SECONDS
        self.filter = some_filter(rng, step)
        self.noise_grams = rng.uniform(0.01, 0.06)
        self.follows_zero = rng.random() < 0.4
        self.holds = rng.random() < 0.25
        self.tares_itself = rng.random() < 0.3
        self.tares_when_still = rng.random() < 0.5
        self.hold_grams = max(2.0 * self.resolution_grams, rng.uniform(0.08, 0.2))
        self.still_grams = max(2.0 * self.resolution_grams, 0.08, 3.0 * self.noise_grams)
        self.recent: deque[float] = deque(maxlen=max(3, round(rng.uniform(0.5, 0.9) / step)))
        self.gathered: list[float] = []
        self.zero_grams = self.filtered = self.shown = 0.0
        self.held: float | None = None
        self.wants_tare = self.is_laden = False
        self.lost_share = rng.choice((0.0, 0.003, 0.01, 0.02))
        self.doubled_share = rng.choice((0.0, 0.002, 0.01))
        self.delay_seconds, self.jitter_seconds = rng.uniform(0.003, 0.04), rng.uniform(0.001, 0.02)
        self.gap_until, self.came_at = -1.0, 0.0
        self.next_out = rng.uniform(0.1, 0.3)
        self.base_seconds = rng.choice((0.0, rng.uniform(0.0, 9e4), 1.7e9 + rng.uniform(0.0, 9e6)))
        self.skew = rng.gauss(0.0, 2e-5)
        self.set_at, self.set_by_seconds = math.inf, 0.0
        self.samples: list[tuple[float, float]] = []

    def clock(self, t: float) -> float:
        later = self.set_by_seconds if t >= self.set_at else 0.0
        return self.base_seconds + t * (1.0 + self.skew) + later

    def is_still(self) -> bool:
        full = len(self.recent) == self.recent.maxlen
        return full and max(self.recent) - min(self.recent) <= self.still_grams

    def feed(self, t: float, load_grams: float) -> None:
        self.gathered.append(load_grams + self.rng.gauss(0.0, self.noise_grams))
        if len(self.gathered) >= self.every:
            self.filtered = self.filter(sum(self.gathered) / len(self.gathered))
            self.gathered.clear()
            self.recent.append(self.filtered)
            self._look()
        if t >= self.next_out:
            self.next_out += self.out_seconds
            self._send(t)

    def _look(self) -> None:
        is_still = self.is_still()
        if self.wants_tare and (is_still or not self.tares_when_still):
            self.zero_grams, self.wants_tare, self.held = self.filtered, False, None
        if self.tares_itself and is_still:
            is_laden = abs(self.filtered) > 3.5
            if is_laden != self.is_laden:
                self.zero_grams, self.is_laden, self.held = self.filtered, is_laden, None
        net = self.filtered - self.zero_grams
        if self.follows_zero and is_still and abs(net) < 2.0 * self.resolution_grams:
            most = 0.5 * self.resolution_grams * self.every * TICK_SECONDS  # half a step a second
            self.zero_grams += max(-most, min(most, net))
        has_left = self.held is not None and abs(net - self.held) > self.hold_grams
        if not self.holds or has_left:
            self.held = None
        elif self.held is None and is_still:
            self.held = net
        value = net if self.held is None else self.held
        self.shown = round(round(value / self.resolution_grams) * self.resolution_grams, 3) + 0.0

    def _send(self, t: float) -> None:
        rng = self.rng
        if rng.random() < 0.0002:
            self.gap_until = t + rng.uniform(0.2, 0.6)
        if t < self.gap_until or rng.random() < self.lost_share:
            return
        late_seconds = self.delay_seconds + rng.expovariate(1.0 / self.jitter_seconds)
        self.came_at = max(self.came_at, t + late_seconds)  # a queue keeps its order
        self.samples.append((self.clock(self.came_at), self.shown))
        if rng.random() < self.doubled_share:
            self.came_at += rng.choice((0.0, rng.uniform(0.0, 0.01)))
            self.samples.append((self.clock(self.came_at), self.shown))


class Grinder:
    """A motor, its burrs, and the chute; ``step`` gives the grams that fall in a tick."""

    def __init__(self, rng: Random, rate_grams_per_second: float) -> None:
        self.rng, self.rate = rng, rate_grams_per_second
        self.delay_seconds = rng.uniform(0.05, 0.15)
        self.ramp_seconds = rng.uniform(0.05, 0.15)
        self.tail_seconds = rng.uniform(0.08, 0.25)
        self.runout_seconds = rng.uniform(0.15, 0.3)
        self.clump_grams = rng.uniform(0.005, 0.08)
        self.wobble_share, self.wobble_seconds = rng.uniform(0.03, 0.12), rng.uniform(0.3, 1.2)
        self.shake_grams = rng.choice((0.02, 0.1, rng.uniform(0.1, 0.8)))
        self.hum_hertz = rng.uniform(23.0, 39.0)
        self.charge_grams = math.inf
        self.is_on = False
        self.on_at = self.speed = self.wobble = self.ready = self.spin = 0.0
        self.next_clump = self.clump_grams
        self.late: list[tuple[float, float]] = []

    def switch(self, t: float, is_on: bool) -> None:
        self.is_on = is_on
        if is_on:
            self.on_at = t
            return
        for _ in range(self.rng.choice((0, 1, 2, 3))):
            clump = min(0.12, self.rng.expovariate(1.0 / 0.04))
            self.late.append((t + self.rng.uniform(0.3, 1.2), clump))

    def flow(self) -> float:
        left = self.charge_grams / (self.rate * self.runout_seconds)
        return self.rate * self.speed * min(1.0, left) * max(0.2, 1.0 + self.wobble)

    def step(self, t: float) -> float:
        pulls = self.is_on and t >= self.on_at + self.delay_seconds
        if not (pulls or self.is_on or self.late or self.speed > 1e-3 or self.spin > 1e-3):
            return 0.0
        tau = self.ramp_seconds if pulls else self.tail_seconds
        self.speed += (float(pulls) - self.speed) * TICK_SECONDS / tau
        self.spin += (float(self.is_on) - self.spin) * TICK_SECONDS / 0.15
        pull = TICK_SECONDS / self.wobble_seconds
        self.wobble += -pull * self.wobble + self.rng.gauss(
            0.0, self.wobble_share * math.sqrt(2.0 * pull)
        )
        ground = min(self.charge_grams, self.flow() * TICK_SECONDS)
        self.charge_grams -= ground
        self.ready += ground
        fallen = 0.0
        if self.ready >= self.next_clump:
            fallen, self.ready = self.ready, 0.0
            self.next_clump = self.rng.expovariate(1.0 / self.clump_grams)
        for one in [late for late in self.late if late[0] <= t]:
            self.late.remove(one)
            fallen += one[1]
        return fallen

    def shake(self, t: float) -> float:
        """What the running motor adds to the load, through bench and stand."""
        if self.spin < 0.01:
            return 0.0
        hum = math.sin(2.0 * math.pi * self.hum_hertz * t)
        slow = 0.15 * math.sin(2.0 * math.pi * 1.3 * t) * math.sin(0.7 * t)
        return self.spin * self.shake_grams * (hum + slow + self.rng.gauss(0.0, 0.4))
