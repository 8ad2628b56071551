"""Whether the flow of a grinder has steadied, told by its ordinary runs.

A burr set that breaks in at one setting grinds ever faster, until it has settled. The rule looks at
the close of each day whether what is still to come of that change, bounded from above, is too small
to matter; three such closes in a row are a call. It is inferred: nobody measured the grind, and no
checkpoint is overridden by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from .settling_limits import union_limits
from .settling_measures import Limits, significant
from .settling_profile import Floats
from .stream_bounds import bound_remaining_ratio, misfit_limit_ratio, read_value
from .stream_doses import merge_doses
from .stream_doubts import level_cautions, unrecorded_reason
from .stream_fit import StreamFit, fit_stream
from .stream_moments import TAU_GRAMS, Moments, steps_of, sum_moments
from .stream_sentences import SMALLEST_CHANGE_RATIO, UNKNOWN, Decision, Stream
from .stream_sessions import BIN_MG, SessionCell, Sessions
from .stream_variance import NEAR_FRACTION

FEWEST_SESSIONS_COUNT = 10
SHORTEST_SPAN_MG = 5_000_000
CLOSES_IN_ROW_COUNT = 3
LOOK_MG, LOOK_FRACTION = 1_000_000, 0.025
"""A close is looked at when so much, and such a share of all, was ground since the last look (our
choice): looks that share nearly all their evidence are no confirmation. With half a kilogram, a
grinder of 0.3 kg a day was called steady too early in 5 % of simulated burrs with tau = 12 kg and
in 23 % of those with two phases; with one kilogram in none of 60."""
LOOK_NEAR_FRACTION = 1e-5
"""How well the variance between days must stand for a look; each starts from the one before."""
REACH_MG = 150_000_000
"""Evidence beyond five times the largest tau tells of wear, not of settling."""


def assess_stream(
    sessions: Sessions,
    *,
    closed_before: int,
    change_ratio: float = SMALLEST_CHANGE_RATIO,
) -> Stream:
    """Judge whether the flow has steadied, from the evidence of all closed days.

    ``steadied at the first close that is the third in a row with U(M) < delta, 10 days or more, 5
    kg or more, and se(beta) range(s) <= delta``

    Parameters
    ----------
    sessions : Sessions
        The evidence of one burr set (``read_sessions``).
    closed_before : int
        The day that is not closed yet (``date.toordinal``): only days before it count.
    change_ratio : float
        delta, the change that does not matter.

    Returns
    -------
    Stream
        Verdicts: ``flow_steadied``, ``not_steady``, ``undecided``, ``steady_so_far`` (not yet three
        closes in a row), ``setting_confounded``, ``setting_unrecorded``, ``feed_unrecorded``,
        ``no_evidence``, ``too_few_sessions``, ``too_little_span``, ``too_few_repeats``,
        ``too_many_changes``. Cautions: those of ``level_cautions``, and
        ``moves_again`` where the last day alone contradicts the call.

    Raises
    ------
    ValueError
        The change that does not matter is not positive and finite.

    Valid
    -----
    For evidence within 150 kg of the first. A pure function of the cells: the same whatever the
    order in which runs came.

    Source
    ------
    Definition made here; held to a simulation with a barista who follows the flow with the setting.

    Examples
    --------
    >>> from burrline_service.core.stream_moments import example_sessions
    >>> found = assess_stream(example_sessions(), closed_before=739_013)
    >>> found.decision, found.verdict, found.sessions_count
    ('undecided', 'undecided', 12)
    """
    if not (math.isfinite(change_ratio) and change_ratio > 0):
        raise ValueError(f"change_ratio must be positive and finite, not {change_ratio}")
    left_out = tuple(sorted(sessions.left_out.items()))
    closed = [cell for cell in sessions.cells if cell.session < closed_before]
    if not closed:
        verdict = unrecorded_reason(sessions, 0) or "no_evidence"
        return Stream("not_enough_data", verdict, left_out=left_out,
                      smallest_change_ratio=change_ratio)  # fmt: skip
    origin_mg = min(cell.bin for cell in closed) * BIN_MG
    within = [cell for cell in closed if cell.bin * BIN_MG < origin_mg + REACH_MG]
    cells = merge_doses(within)
    reference_milli, latest = _latest(cells)
    moments = sum_moments(cells, origin_mg=origin_mg, reference_milli=reference_milli)
    ends_mg = _ends_mg(cells, sessions)
    looks = _Looks(moments, cells, ends_mg, origin_mg, change_ratio)
    steadied, in_row = looks.first_call()
    last = len(moments.sessions) - 1
    refusal, fit = looks.at_close(last)
    grinds_count = sum(cell.grinds_count for cell in cells)
    found = _Found(moments, fit, latest, (ends_mg[last] - origin_mg) / 1000)
    decision, verdict = found.decided(change_ratio, in_row)
    if steadied is not None:
        decision, verdict = "steadied", "flow_steadied"
    elif refusal:
        decision, verdict = "not_enough_data", refusal
        if refusal in ("too_few_sessions", "too_little_span"):
            verdict = unrecorded_reason(sessions, grinds_count) or refusal
    slope, slope_sd = found.setting_slope()
    least, most = found.to_come
    cautions = level_cautions(cells, is_cut=len(within) < len(closed))
    if steadied is not None and least is not None and least > change_ratio:
        cautions = ("moves_again", *cautions)
    return Stream(
        decision=decision,
        verdict=verdict,
        cautions=cautions,
        steadied_session=None if steadied is None else moments.sessions[steadied],
        steadied_grams=None if steadied is None else ends_mg[steadied] / 1000,
        last_session=moments.sessions[last],
        at_grams=ends_mg[last] / 1000,
        first_grams=origin_mg / 1000,
        sessions_count=len(moments.sessions),
        grinds_count=grinds_count,
        closes_in_row_count=in_row,
        levels_count=len(moments.names) - 1,
        reference_setting=reference_milli / 1000,
        flow_grams_per_second=found.flow_limits(is_now=True),
        settled_grams_per_second=found.flow_limits(is_now=False),
        tau_grams=found.tau_limits(),
        least_to_come_ratio=least,
        most_to_come_ratio=most,
        smallest_change_ratio=change_ratio,
        setting_slope_ratio=slope,
        setting_slope_sd_ratio=slope_sd,
        session_sd_ratio=None if fit is None else significant(fit.session_sd_ratio),
        grind_sd_ratio=None if fit is None else significant(fit.grind_sd_ratio),
        left_out=left_out,
    )


class _Looks:
    """What the evidence up to the close of a day says, for any day."""

    def __init__(
        self,
        moments: Moments,
        cells: Sequence[SessionCell],
        ends_mg: Sequence[int],
        origin_mg: int,
        change_ratio: float,
    ) -> None:
        self.moments, self.ends_mg, self.origin_mg = moments, ends_mg, origin_mg
        self.change_ratio = change_ratio
        farthest: dict[int, int] = {}
        for cell in cells:
            mean_mg = cell.sum_twice_place_mg // (2 * cell.grinds_count)
            farthest[cell.session] = max(farthest.get(cell.session, 0), mean_mg)
        nearest_mg = min(cell.sum_twice_place_mg // (2 * cell.grinds_count) for cell in cells)
        self.span_mg = np.maximum.accumulate([farthest[s] - nearest_mg for s in moments.sessions])

    def at_close(
        self, place: int, start_squares: float = 0.0, near_fraction: float = NEAR_FRACTION
    ) -> tuple[str, StreamFit | None]:
        """Why the close of a day tells nothing (empty: it does), and the fit."""
        if place + 1 < FEWEST_SESSIONS_COUNT:
            return "too_few_sessions", None
        # half a kilogram less, as a place is the middle of what was ground around it
        if self.span_mg[place] < SHORTEST_SPAN_MG - BIN_MG:
            return "too_little_span", None
        fit = fit_stream(
            self.moments, place + 1, start_squares=start_squares, near_fraction=near_fraction
        )
        if fit is None:
            has_noise = self.moments.within_count[place] and self.moments.within_squares[place] > 0
            return ("too_many_changes" if has_noise else "too_few_repeats"), None
        setting = len(self.moments.names) - 1
        if setting in fit.kept:
            reach = float(self.moments.high_setting[place] - self.moments.low_setting[place])
            if _slope(self.moments, fit)[1] * reach > self.change_ratio:
                return "setting_confounded", fit
        return "", fit

    def first_call(self) -> tuple[int | None, int]:
        """The close at which the flow is called steady, and the closes in a row at the end."""
        in_row, last_mg, squares = 0, self.origin_mg, 0.0
        for place, end_mg in enumerate(self.ends_mg):
            step_mg = max(LOOK_MG, LOOK_FRACTION * (end_mg - self.origin_mg))
            if end_mg - last_mg < step_mg:
                continue
            last_mg = end_mg
            refusal, fit = self.at_close(place, squares, LOOK_NEAR_FRACTION)
            squares = 0.0 if fit is None else fit.session_sd_ratio**2
            grams = (end_mg - self.origin_mg) / 1000
            is_steady = (
                not refusal
                and fit is not None
                and bound_remaining_ratio(fit, grams)[1] < self.change_ratio
            )
            in_row = in_row + 1 if is_steady else 0
            if in_row == CLOSES_IN_ROW_COUNT:
                return place, in_row
        return None, in_row


class _Found:
    """The numbers of the last close; without a fit they are unknown."""

    def __init__(
        self, moments: Moments, fit: StreamFit | None, latest: SessionCell, at_grams: float
    ) -> None:
        self.moments, self.fit, self.latest, self.at_grams = moments, fit, latest, at_grams
        self.to_come: tuple[float | None, float | None] = (None, None)
        if fit is not None:
            least, most = bound_remaining_ratio(fit, at_grams)
            self.to_come = (significant(least), significant(most) if math.isfinite(most) else None)

    def decided(self, change_ratio: float, in_row: int) -> tuple[Decision, str]:
        least, most = self.to_come
        if least is not None and least > change_ratio:
            return "changing", "not_steady"
        if most is not None and most < change_ratio and in_row:
            return "undecided", "steady_so_far"
        return "undecided", "undecided"

    def setting_slope(self) -> tuple[float | None, float | None]:
        if self.fit is None or len(self.moments.names) - 1 not in self.fit.kept:
            return None, None
        slope, sd = _slope(self.moments, self.fit)
        return significant(slope), significant(sd)

    def flow_limits(self, *, is_now: bool) -> Limits:
        """Grams per second at the reference setting, where the grinder last stood."""
        if self.fit is None:
            return UNKNOWN
        wanted = {"level", *steps_of(self.latest)}
        columns = np.array([1.0 if name in wanted else 0.0 for name in self.moments.names])
        decay: Floats | float = np.exp(-self.at_grams / TAU_GRAMS) if is_now else 0.0
        value, sd = read_value(self.fit, columns, decay)
        low, high = union_limits(value, sd, self.fit.misfit_ratio, misfit_limit_ratio(self.fit))
        best = float(value[self.fit.misfit_ratio.argmin()])
        # beyond a factor of a thousand nothing is known
        found = [self.moments.origin_ratio + at for at in (low, best, high)]
        return Limits(*(significant(math.exp(at)) if abs(at) < 7 else None for at in found))

    def tau_limits(self) -> Limits:
        """Open where the grid ends within what is believed."""
        if self.fit is None:
            return UNKNOWN
        inside = np.flatnonzero(self.fit.misfit_ratio <= misfit_limit_ratio(self.fit))
        first, last = int(inside[0]), int(inside[-1])
        is_flat = first == 0 and last == len(TAU_GRAMS) - 1
        return Limits(
            significant(float(TAU_GRAMS[first])) if first else None,
            None if is_flat else significant(float(TAU_GRAMS[self.fit.misfit_ratio.argmin()])),
            significant(float(TAU_GRAMS[last])) if last < len(TAU_GRAMS) - 1 else None,
        )


def _slope(moments: Moments, fit: StreamFit) -> tuple[float, float]:
    """Effect of one setting on the logarithm of the flow at the best tau, and its error."""
    columns = np.zeros(len(moments.names))
    columns[-1] = 1.0
    value, sd = read_value(fit, columns, 0.0)
    best = int(fit.misfit_ratio.argmin())
    return float(value[best]), float(sd[best])


def _latest(cells: Sequence[SessionCell]) -> tuple[int, SessionCell]:
    """The setting of most grinds of the last day, and its cell with most of them."""
    last = [cell for cell in cells if cell.session == cells[-1].session]
    counts: dict[int, int] = {}
    for cell in last:
        counts[cell.setting_milli] = counts.get(cell.setting_milli, 0) + cell.grinds_count
    setting_milli = max(sorted(counts), key=counts.__getitem__)
    mine = [cell for cell in last if cell.setting_milli == setting_milli]
    return setting_milli, max(reversed(mine), key=lambda cell: cell.grinds_count)


def _ends_mg(cells: Sequence[SessionCell], sessions: Sessions) -> list[int]:
    """What had gone through the burrs at the close of each day with evidence."""
    ends = {cell.session: (cell.bin + 1) * BIN_MG for cell in cells}
    ends.update({close.session: close.to_mg for close in sessions.closes if close.session in ends})
    return list(ends.values())
