"""What the scale's run detector is made of, each part on a small example of its own."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from burrline._breaks import breaks
from burrline._curve import Curve
from burrline._display_clock import DisplayClock
from burrline._lag import Lag, steps
from burrline._plateaus import plateaus
from burrline._shapes import likelihood, pulse_odds
from burrline._weight_stream import WeightStream
from burrline.scale import RunDetector

LAG_SECONDS = 0.5


def shown(weight: Callable[[float], float], seconds: float, lag: float = 0.0) -> list[float]:
    """What a scale read ten times a second says of a weight that it closes in on."""
    fine, said, found = 0.001, weight(0.0), []
    for i in range(round(seconds / fine)):
        if i % 100 == 0:
            found.append(said)
        keep = math.exp(-fine / lag) if lag else 0.0
        said = keep * said + (1 - keep) * weight(i * fine)
    return found


def tenths(values: list[float]) -> list[float]:
    return [i / 10 for i in range(len(values))]


@pytest.mark.parametrize("lag", [0.0, 0.4])
def test_the_likelihood_is_that_of_a_normal_distribution_of_all_readings(lag: float) -> None:
    """The filter says what the density of the whole vector says (scipy's multivariate normal)."""
    dice = np.random.default_rng(3)
    ts = np.cumsum(dice.uniform(0.05, 0.2, 9)).tolist()
    offs = dice.normal(0, 0.5, 9).tolist()
    square, shaking, since, until = 0.04, 0.3, ts[2] + 0.01, ts[6] + 0.01
    kept = [math.exp((a - b) / lag) if lag else 0.0 for a, b in itertools.pairwise(ts)]
    state = np.zeros((9, 9))
    state[0, 0] = square / 4
    for i in range(1, 9):
        state[i, :i] = state[:i, i] = kept[i - 1] * state[i - 1, :i]
        is_shaken = since < ts[i] and ts[i - 1] < until
        state[i, i] = kept[i - 1] ** 2 * state[i - 1, i - 1] + shaking * is_shaken
    density = multivariate_normal(np.zeros(9), state + square * np.eye(9)).logpdf(offs)
    told = likelihood(Curve(ts, offs, lag, 0.2), 0, offs, square, shaking, since, until)
    assert told - 4.5 * math.log(2 * math.pi) == pytest.approx(density, abs=1e-9)


@pytest.mark.parametrize("lag", [0.0, LAG_SECONDS])
def test_a_curve_is_freed_of_the_lag(lag: float) -> None:
    ys = shown(lambda t: 0.0 if t < 3 else 60.0 if t < 5 else 60.0 + 3 * (t - 5), 9, lag)
    curve = Curve(tenths(ys), ys, lag, 0.01)
    assert curve.mean(3.2, 4.8) == pytest.approx(60.0, abs=0.05)
    assert curve.rate(7.0, 0.5) == pytest.approx(3.0, abs=0.05)
    assert curve.rate(4.0, 0.5) == pytest.approx(0.0, abs=0.05)


def test_a_pulse_is_told_from_a_lump_of_as_much() -> None:
    odds = []
    for seconds in (0.8, 0.01):
        dice = random.Random(4)
        ys = shown(lambda t, s=seconds: min(max(t - 2.0, 0.0) / s, 1.0), 5, LAG_SECONDS)  # type: ignore[misc]
        curve = Curve(tenths(ys), [y + dice.gauss(0, 0.005) for y in ys], LAG_SECONDS, 0.005)
        late = pulse_odds(curve, (1.0, 4.5), (1.8, 3.2), 0.8, 0.0)
        assert late is not None
        odds.append(late.odds)
    assert odds[0] > 5 > -5 > odds[1]


def test_the_instants_of_a_display_are_found_in_what_closes_in() -> None:
    """Read every 0.1 s, new every 0.13 s: the curve tells by how much each reading is late."""
    period, phase, clock = 0.13, 0.05, DisplayClock()

    def made(t: float) -> float:
        return phase + math.floor((t - phase) / period) * period

    def closing(t: float) -> float:
        return 0.0 if t < 3 else 100 * (1 - math.exp((3 - t) / LAG_SECONDS))

    dice = random.Random(1)
    ts = [i / 10 + dice.uniform(0, 0.03) for i in range(80)]
    ys = [round(closing(made(t)), 2) for t in ts]
    lags = clock.learn(ts, ys, steps(ts, ys, 0.01, 1.5), 0.01)
    assert lags
    assert all(lag == pytest.approx(LAG_SECONDS, rel=0.02) for lag in lags)
    assert clock.period_seconds == pytest.approx(period, rel=0.03)
    rebuilt = clock.rebuilt(ts, ys)
    assert rebuilt is not None
    offs = [
        abs(t - 3 + LAG_SECONDS * math.log(1 - y / 100))
        for t, y in zip(*rebuilt, strict=True)
        if 0.1 < y < 98
    ]
    assert len(offs) > 10
    assert sum(off < 0.02 for off in offs) > 0.8 * len(offs)


def test_a_hand_that_presses_while_it_grinds_is_bridged_and_a_cup_is_not() -> None:
    for until, kind in ((6.0, "hand"), (99.0, "cup")):
        ys = shown(lambda t, u=until: 2 * max(t - 2, 0) + 30 * (5 <= t < u), 10)  # type: ignore[misc]
        curve = Curve(tenths(ys), ys, 0.0, 0.02)
        cuts, hands = breaks(curve, plateaus(curve.ts, ys, 0.0, 0.02))
        assert (len(cuts), len(hands)) == ((0, 1) if kind == "hand" else (1, 0))
        for hand in hands:
            assert hand.start == pytest.approx(5.0, abs=0.4)
            assert hand.net == pytest.approx(2 * (hand.end - hand.start), abs=0.8)


def test_the_step_of_a_light_cup_tells_the_lag_before_a_table_that_shakes_more() -> None:
    dice = random.Random(5)
    ys = shown(lambda t: 4.4 * (t > 3) + 4.5 * max(t - 7, 0), 18, LAG_SECONDS)
    ys = [y + dice.gauss(0, 0.8 if i > 70 else 0.01) for i, y in enumerate(ys)]
    assert Lag().learn(tenths(ys), ys, 0.02) == pytest.approx(LAG_SECONDS, rel=0.1)


@pytest.mark.parametrize("seed", [85, 116, 118, 177])
def test_a_table_that_shakes_near_zero_is_not_tared(seed: int) -> None:
    dice, stream = random.Random(seed), WeightStream()
    says = [0.8 * max(i / 10 - 2, 0) + (dice.gauss(0, 0.5) if i > 20 else 0.0) for i in range(80)]
    found = [stream.push(i / 10, round(grams, 2)) for i, grams in enumerate(says)]
    out = [one for one in [*found, *stream.flush()] if one is not None]
    assert out[-1][1] - out[0][1] == pytest.approx(says[-1] - says[0], abs=0.01)


@pytest.mark.parametrize("rest", [3, 8])
def test_a_tare_soon_after_the_flow_is_taken_back(rest: int) -> None:
    """Read five times a second: three readings that rest are enough."""
    stream = WeightStream()
    says = [min(0.9 * max(i - 10, 0) + 0.1 * (i % 3 == 0), 30.0) for i in range(44 + rest)]
    says += [0.0] * 10
    found = [stream.push(i / 5, round(grams, 1)) for i, grams in enumerate(says)]
    out = [one for one in [*found, *stream.flush()] if one is not None]
    assert out[-1][1] == pytest.approx(30.0, abs=0.1)


HOSTILE = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-(10**400), 10**400),
    st.fractions(),
    st.sampled_from([0.0, -0.0, 5e-324, 1e9, -1e9, 1e308, -1e308, math.nan]),
)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(HOSTILE, HOSTILE), max_size=12),
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.05, 0.3, 3.0, 40.0]),
    st.sampled_from([0.0, 0.02, 0.3]),
)
def test_no_stream_is_an_error(
    hostile: list[tuple[float, float]], seed: int, step_grams: float, odd_share: float
) -> None:
    """Random walks of weight and clock among what no scale says: runs are finite, or none."""
    dice, detector = random.Random(seed), RunDetector()
    t = grams = 0.0
    found = []
    for _ in range(400):
        t += dice.choice([0.1, 0.1, 0.1, 0.05, 0.0, 1e-9, dice.uniform(-3, 3) * odd_share])
        grams += dice.gauss(0, step_grams) * (dice.random() < 0.5)
        if hostile and dice.random() < odd_share / 4:
            found += detector.push(*dice.choice(hostile))
        found += detector.push(t, round(grams, 1))
    for run in found + detector.finish():
        assert all(map(math.isfinite, (run.started, run.seconds, run.grams)))
        assert run.seconds > 0
        assert run.grams >= 4
