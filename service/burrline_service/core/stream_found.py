"""The numbers that the evidence on the flow tells at the close of its last day."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .quantiles import student_t_ratio
from .settling_limits import union_limits
from .settling_measures import Limits, significant
from .settling_profile import Floats
from .stream_bounds import (
    BOUND_PROBABILITY,
    bound_remaining_ratio,
    misfit_limit_ratio,
    read_value,
)
from .stream_fit import StreamFit
from .stream_moments import TAU_GRAMS, Moments, steps_of
from .stream_sentences import UNKNOWN, FlowSlope
from .stream_sessions import SessionCell

MOST_LOG_RATIO = 7.0
"""Beyond a factor of a thousand nothing is known."""


class Found(NamedTuple):
    """What the evidence tells at the close of a day, as the members of ``Stream``."""

    least_to_come_ratio: float | None
    most_to_come_ratio: float | None
    flow_grams_per_second: Limits
    settled_grams_per_second: Limits
    tau_grams: Limits
    setting_slope_ratio: float | None
    setting_slope_sd_ratio: float | None
    setting_slope: FlowSlope | None


def find_numbers(
    moments: Moments,
    fit: StreamFit | None,
    latest: SessionCell,
    *,
    at_grams: float,
    setting: float,
) -> Found:
    """Give what a fit tells at the close of its last day, with limits.

    ``flow = exp(level - A exp(-M / tau)), settled = exp(level)``, at the latest cell's level

    Parameters
    ----------
    moments : Moments
        Of all days.
    fit : StreamFit or None
        Of the days up to the close; None = nothing is known.
    latest : SessionCell
        Whose level the flow is told at.
    at_grams : float
        Grams through the set since the origin of the moments.
    setting : float
        The reference setting of the moments.

    Returns
    -------
    Found
        What remains is bounded one-sided (97.5 %), limits are two-sided 95 %, for any tau that is
        believed; the standard deviations of ``setting_slope`` are those for which the limits of
        Student's t would be as wide, its covariance goes by the correlation at the best tau.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``fit_stream``.

    Source
    ------
    ``union_limits``, ``bound_remaining_ratio``

    Examples
    --------
    >>> from burrline_service.core.stream_fit import example_fit
    >>> from burrline_service.core.stream_moments import example_sessions, sum_moments
    >>> cells = example_sessions().cells
    >>> moments = sum_moments(cells, origin_mg=0, reference_milli=4_800)
    >>> found = find_numbers(moments, example_fit(), cells[-1], at_grams=12_000.0, setting=4.8)
    >>> found.flow_grams_per_second.low < found.flow_grams_per_second.best
    True
    """
    told = _Found(moments, fit, latest, at_grams)
    return Found(
        *told.to_come,
        told.flow_limits(is_now=True),
        told.flow_limits(is_now=False),
        told.tau_limits(),
        *told.slope_at_best(),
        told.setting_slope(setting),
    )


class _Found:
    """The numbers of a close; without a fit they are unknown."""

    def __init__(
        self, moments: Moments, fit: StreamFit | None, latest: SessionCell, at_grams: float
    ) -> None:
        self.moments, self.fit, self.latest, self.at_grams = moments, fit, latest, at_grams
        self.to_come: tuple[float | None, float | None] = (None, None)
        if fit is not None:
            least, most = bound_remaining_ratio(fit, at_grams)
            self.to_come = (significant(least), significant(most) if math.isfinite(most) else None)

    def slope_at_best(self) -> tuple[float | None, float | None]:
        """What a unit of the dial does to the flow, and its error, at the best tau."""
        if not self._has_slope():
            return None, None
        assert self.fit is not None
        slope, sd = slope_at_best(self.moments, self.fit)
        return significant(slope), significant(sd)

    def setting_slope(self, setting: float) -> FlowSlope | None:
        """The same for any tau that is believed, and the flow now, with the errors of both.

        Standard deviations are those for which the limits of Student's t would be as wide.
        """
        if self.fit is None or not self._has_slope():
            return None
        dial, columns, decay = _dial(self.moments), self._columns(), self._decay
        slope, slope_sd = self._read(dial, 0.0)
        if not math.isfinite(slope_sd):
            return None
        told = FlowSlope(_rounded(slope), _rounded(slope_sd), self.fit.freedom_count, setting)
        level, level_sd = self._read(columns, decay)
        if not math.isfinite(level_sd) or abs(self.moments.origin_ratio + level) > MOST_LOG_RATIO:
            return told
        best = int(self.fit.misfit_ratio.argmin())
        of = ((dial, 0.0), (columns, decay), (dial + columns, decay))
        one, other, both = (float(read_value(self.fit, a, d)[1][best]) for a, d in of)
        shared = (both**2 - one**2 - other**2) / 2
        correlation = shared / (one * other) if one > 0 and other > 0 else 0.0
        return replace(
            told,
            log_flow_ratio=_rounded(self.moments.origin_ratio + level),
            log_flow_sd_ratio=_rounded(level_sd),
            covariance_ratio=_rounded(correlation * slope_sd * level_sd),
        )

    def _has_slope(self) -> bool:
        return self.fit is not None and len(self.moments.names) - 1 in self.fit.kept

    def _read(self, columns: Floats, decay: Floats | float) -> tuple[float, float]:
        """A value and the standard deviation that its limits stand for."""
        assert self.fit is not None
        value, sd = read_value(self.fit, columns, decay)
        low, high = union_limits(value, sd, self.fit.misfit_ratio, misfit_limit_ratio(self.fit))
        best = float(value[self.fit.misfit_ratio.argmin()])
        t = student_t_ratio(BOUND_PROBABILITY, self.fit.freedom_count)
        return best, max(best - low, high - best) / t

    def _columns(self) -> Floats:
        """The level where the grinder last stood, at the reference setting."""
        wanted = {"level", *steps_of(self.latest)}
        return np.array([1.0 if name in wanted else 0.0 for name in self.moments.names])

    @property
    def _decay(self) -> Floats:
        decay: Floats = np.exp(-self.at_grams / TAU_GRAMS)
        return decay

    def flow_limits(self, *, is_now: bool) -> Limits:
        """Grams per second at the reference setting, where the grinder last stood."""
        if self.fit is None:
            return UNKNOWN
        value, sd = read_value(self.fit, self._columns(), self._decay if is_now else 0.0)
        low, high = union_limits(value, sd, self.fit.misfit_ratio, misfit_limit_ratio(self.fit))
        best = float(value[self.fit.misfit_ratio.argmin()])
        # beyond a factor of a thousand nothing is known
        found = [self.moments.origin_ratio + at for at in (low, best, high)]
        return Limits(
            *(significant(math.exp(at)) if abs(at) < MOST_LOG_RATIO else None for at in found)
        )

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


def slope_at_best(moments: Moments, fit: StreamFit) -> tuple[float, float]:
    """Give the effect of one unit of the dial on the logarithm of the flow, at the best tau.

    ``beta, se(beta)``

    Parameters
    ----------
    moments : Moments
        Of all days.
    fit : StreamFit
        One in which the setting has a column of its own.

    Returns
    -------
    tuple of float
        The slope and its standard deviation.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``read_value``.

    Source
    ------
    ``read_value``

    Examples
    --------
    >>> from burrline_service.core.stream_fit import example_fit
    >>> from burrline_service.core.stream_moments import example_sessions, sum_moments
    >>> moments = sum_moments(example_sessions().cells, origin_mg=0, reference_milli=4_800)
    >>> round(slope_at_best(moments, example_fit())[0], 2)
    0.04
    """
    value, sd = read_value(fit, _dial(moments), 0.0)
    best = int(fit.misfit_ratio.argmin())
    return float(value[best]), float(sd[best])


def _dial(moments: Moments) -> Floats:
    columns = np.zeros(len(moments.names))
    columns[-1] = 1.0
    return columns


def _rounded(number: float) -> float:
    return significant(number) or 0.0
