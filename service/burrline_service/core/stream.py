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

from .settling_measures import significant
from .stream_bounds import bound_remaining_ratio
from .stream_doses import merge_doses
from .stream_doubts import level_cautions, unrecorded_reason
from .stream_fit import StreamFit, fit_stream
from .stream_found import find_numbers, slope_at_best
from .stream_moments import Moments, sum_moments
from .stream_sentences import SMALLEST_CHANGE_RATIO, Decision, Stream
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
    found = find_numbers(
        moments, fit, latest, at_grams=(ends_mg[last] - origin_mg) / 1000,
        setting=reference_milli / 1000,
    )  # fmt: skip
    least, most = found[:2]
    decision, verdict = _decided(least, most, change_ratio, in_row)
    if steadied is not None:
        decision, verdict = "steadied", "flow_steadied"
    elif refusal:
        decision, verdict = "not_enough_data", refusal
        if refusal in ("too_few_sessions", "too_little_span"):
            verdict = unrecorded_reason(sessions, grinds_count) or refusal
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
        smallest_change_ratio=change_ratio,
        **found._asdict(),
        reference_seating=latest.seating,
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
            if slope_at_best(self.moments, fit)[1] * reach > self.change_ratio:
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


def _decided(
    least: float | None, most: float | None, change_ratio: float, in_row: int
) -> tuple[Decision, str]:
    if least is not None and least > change_ratio:
        return "changing", "not_steady"
    if most is not None and most < change_ratio and in_row:
        return "undecided", "steady_so_far"
    return "undecided", "undecided"


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
