"""Whether a burr set has settled, told by checkpoints alone: the verdict and its numbers.

No prior enters here. "Not significantly different" is never "settled": settled means that the
largest change still to come is smaller than the change that matters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .joining import Row
from .settling_findings import find_limits, needed_replicates
from .settling_fit import Fit, Fits, believed, bounds_to_come, fit_series
from .settling_measures import Limits, ResponseFit, limits_of_tau, measure_response, significant
from .settling_series import Rule, Series, lacking, make_series

Decision = Literal["settled", "not_settled", "undecided", "not_enough_data"]


@dataclass(frozen=True, eq=False)
class Settling:
    """The verdict of the checkpoints at the last of them.

    ``verdict`` is one code: ``settled``, ``not_settled``, or why it is neither; ``findings`` are
    all codes that hold. Kilograms count like the checkpoints' own; limits are two-sided 95 %.
    """

    decision: Decision
    verdict: str
    findings: tuple[str, ...]
    at_grams: float | None
    origin_grams: float | None
    checkpoint_count: int
    tau_grams: Limits | None
    settles_at_grams: Limits | None
    responses: tuple[ResponseFit, ...]
    is_shared: bool
    conflict_ratio: float | None
    is_settled_extrapolated: bool
    needed_replicates_count: int | None
    series: tuple[Series, ...]
    fits: Fits | None


def assess_settling(
    rows: Sequence[Row], rule: Rule | None = None, *, current_grams: float | None = None
) -> Settling:
    """Judge from joined checkpoints whether the grind has settled.

    ``settled: U_r < delta_r for all r;  not settled: D_r > delta_r for any r;  else undecided``

    Parameters
    ----------
    rows : sequence of Row
        Joined checkpoints, in any order.
    rule : Rule or None
        The change that matters and the scatter of sittings; None = the defaults.
    current_grams : float or None
        Grams through the burrs now, for the weaker word ``is_settled_extrapolated``.

    Returns
    -------
    Settling
        Codes besides ``settled`` and ``not_settled``: ``too_few_checkpoints``,
        ``no_replicates``, ``no_measurable_change``, ``bend_not_visible``,
        ``settled_before_first_check``, ``model_misfit``, ``unexpected_direction``,
        ``noise_too_large_for_delta``, ``undecided``.

    Raises
    ------
    AttributeError
        A row is no ``Row``: any set of rows gets a verdict.

    Valid
    -----
    Burrs with one tau of at most 30 kg. The first checkpoint is the origin, so used burrs can be
    proven settled too. A response counts when it was measured at the last checkpoint, or none was.

    Source
    ------
    Derived here; tests/simulations/settling.py shows how often it calls too early.

    Examples
    --------
    >>> assess_settling([]).verdict
    'too_few_checkpoints'
    """
    rule = Rule() if rule is None else rule
    ordered = sorted(rows, key=lambda row: (row.burr_grams, row.ground_at, row.checkpoint_id))
    every = _series(ordered, rule)
    able = [series for series in every if lacking(series) is None]
    if not able:
        reasons = {lacking(series) for series in every}
        code = "no_replicates" if "no_replicates" in reasons else "too_few_checkpoints"
        return _without_fit(ordered, every, code)
    latest = ordered[-1].checkpoint_id
    chosen = [series for series in able if series.checkpoint_ids[-1] == latest] or able
    fits = fit_series(chosen)
    near = [believed(fit) for fit in fits.fits]
    at = min(float(series.grams[-1]) for series in chosen)
    origin = ordered[0].burr_grams
    bounds = [bounds_to_come(fit, at) for fit in near]
    deltas = [series.change_response for series in chosen]
    decision: Decision = "undecided"
    if all(most < delta for (_, most), delta in zip(bounds, deltas, strict=True)):
        decision = "settled"
    elif any(least > delta for (least, _), delta in zip(bounds, deltas, strict=True)):
        decision = "not_settled"
    findings = find_limits(fits, is_undecided=decision == "undecided")
    is_flat = "no_measurable_change" in findings
    measures = tuple(
        measure_response(fit, bound, at, is_flat=is_flat)
        for fit, bound in zip(fits.fits, bounds, strict=True)
    )
    is_ahead = current_grams is not None and current_grams - origin > at
    return Settling(
        decision=decision,
        verdict=decision if decision != "undecided" else next(iter(findings), "undecided"),
        findings=findings,
        at_grams=origin + at,
        origin_grams=origin,
        checkpoint_count=len(ordered),
        tau_grams=None if is_flat else limits_of_tau(fits.fits[0]),
        settles_at_grams=None if is_flat else _latest_settling(measures),
        responses=measures,
        is_shared=fits.is_shared,
        conflict_ratio=significant(fits.conflict_ratio),
        is_settled_extrapolated=bool(
            is_ahead and decision != "settled" and _is_settled_at(near, current_grams, origin)
        ),
        needed_replicates_count=(
            max((needed_replicates(series) or 0 for series in chosen), default=0) or None
            if "noise_too_large_for_delta" in findings
            else None
        ),
        series=tuple(every),
        fits=fits,
    )


def _series(ordered: Sequence[Row], rule: Rule) -> list[Series]:
    if not ordered:
        return []
    origin = ordered[0].burr_grams
    names: tuple[Literal["d50", "fines"], ...] = ("d50", "fines")
    made = (make_series(ordered, name, rule, origin_grams=origin) for name in names)
    return [series for series in made if series is not None]


def _is_settled_at(near: Sequence[Fit], at_grams: float | None, origin_grams: float) -> bool:
    if at_grams is None or not math.isfinite(at_grams):
        return False
    return all(
        bounds_to_come(fit, at_grams - origin_grams)[1] < fit.series.change_response for fit in near
    )


def _latest_settling(measures: Sequence[ResponseFit]) -> Limits:
    """When the last of the responses has no more than the change that matters to come."""
    whens = [measure.settles_at_grams for measure in measures]

    def _latest(values: list[float | None]) -> float | None:
        return None if None in values else max(v for v in values if v is not None)

    return Limits(
        _latest([when.low for when in whens]),
        _latest([when.best for when in whens]),
        _latest([when.high for when in whens]),
    )


def _without_fit(ordered: Sequence[Row], every: Sequence[Series], code: str) -> Settling:
    return Settling(
        decision="not_enough_data",
        verdict=code,
        findings=(code,),
        at_grams=ordered[-1].burr_grams if ordered else None,
        origin_grams=ordered[0].burr_grams if ordered else None,
        checkpoint_count=len(ordered),
        tau_grams=None,
        settles_at_grams=None,
        responses=(),
        is_shared=False,
        conflict_ratio=None,
        is_settled_extrapolated=False,
        needed_replicates_count=None,
        series=tuple(every),
        fits=None,
    )
