"""Asymptotic regression by variable projection: everything is linear once tau is given.

``y(m) = y0 + A (1 - exp(-m / tau))`` on a fixed grid of ln tau: no optimiser, no start values, the
same answer whenever asked. Every limit is a union of intervals conditional on tau.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

GRID_GRAMS: Floats = 100.0 * 10.0 ** (np.arange(321) / 80.0)
"""The grid of tau: 0.1 to 1000 kg in steps of 2.9 %."""
LARGEST_TAU_GRAMS = 30_000.0
"""Slower burrs are not believed: without such a bound a flat line could never be told from a
drift without end. The one physical assumption of the rule, said in every verdict."""


@dataclass(frozen=True, eq=False)
class Profile:
    """Fits at every tau of a grid (last axis), given tau, with their standard deviations.

    ``value(g) = level + change (g - lever)`` with ``g = 1 - exp(-m / tau)`` has the variance
    ``level_sd^2 + change_sd^2 (g - lever)^2``. Each ``_ratio`` of a misfit is a weighted sum of
    squares: of the curve by tau, and of its limits flat, straight line and step.
    """

    tau_grams: Floats
    misfit_ratio: Floats
    change_response: Floats
    change_sd_response: Floats
    level_response: Floats
    level_sd_response: float
    lever_ratio: Floats
    flat_ratio: Floats
    line_ratio: Floats
    step_ratio: Floats


def profile_curve(
    grams: Floats,
    means_response: Floats,
    sd_response: Floats,
    *,
    levels_count: Floats | None = None,
    tau_grams: Floats = GRID_GRAMS,
) -> Profile:
    """Fit the curve to means at each tau of a grid by weighted least squares.

    ``Q(tau) = min over (y0, A, levels) of sum_j w_j (y_j - y0 - A g_j - levels_j)^2,  w = 1 /
    sd^2``

    Parameters
    ----------
    grams : array of shape (J,)
        Grams since the origin, >= 0.
    means_response : array of shape (..., J)
        What was measured; leading axes hold several sets of the same design.
    sd_response : array of shape (J,)
        Standard deviation of each mean, > 0.
    levels_count : array of shape (J, q) or None
        Columns that stand beside the curve: the start and level steps. None = a start alone;
        zero columns tie the start to 0. The first column is the level that is read off.
    tau_grams : array of shape (K,)
        The grid.

    Returns
    -------
    Profile
        Arrays of shape (..., K); the standard deviation of the change is infinite where the
        levels leave nothing to tell it.

    Raises
    ------
    numpy.linalg.LinAlgError
        The columns of levels depend on each other.

    Valid
    -----
    Tested to 10 digits on data in 14 points; the columns are scaled, so that tau may be a
    thousand times the range.

    Source
    ------
    Golub and Pereyra 1973, variable projection (from memory); NIST StRD nonlinear regression,
    Misra1a and BoxBOD, hold it in the tests.

    Examples
    --------
    >>> grams = np.array([0.0, 5000.0, 10000.0, 20000.0])
    >>> fit = profile_curve(grams, 300 + 30 * -np.expm1(-grams / 1000), np.ones(4))
    >>> float(fit.tau_grams[fit.misfit_ratio.argmin()])
    1000.0
    """
    root = 1.0 / sd_response
    columns = (np.ones((len(grams), 1)) if levels_count is None else levels_count) * root[:, None]
    y = means_response * root
    reader = np.zeros(len(grams))
    basis = np.zeros((len(grams), 0))
    if columns.shape[1]:
        basis, triangle = np.linalg.qr(columns)
        first = np.zeros(columns.shape[1])
        first[0] = 1.0
        reader = basis @ np.linalg.solve(triangle.T, first)
    grown = -np.expm1(-grams[None, :] / tau_grams[:, None])
    largest = grown.max(axis=1, initial=0.0)
    scale = np.where(largest > 0, largest, 1.0)
    x = grown / scale[:, None] * root
    rest_y = y - (y @ basis) @ basis.T
    slope, slope_sd, misfit = _regress(rest_y, x, basis)
    change, change_sd = slope / scale, slope_sd / scale
    lever = x @ reader * scale  # of the level on the change
    level = (y @ reader)[..., None]
    _, _, line = _regress(rest_y, (grams / max(grams.max(initial=0.0), 1.0) * root)[None], basis)
    _, _, step = _regress(rest_y, ((grams > 0) * root)[None], basis)
    return Profile(
        tau_grams=tau_grams,
        misfit_ratio=misfit,
        change_response=change,
        change_sd_response=change_sd,
        level_response=level,
        level_sd_response=float(math.sqrt(reader @ reader)),
        lever_ratio=lever,
        flat_ratio=(rest_y * rest_y).sum(axis=-1),
        line_ratio=line[..., 0],
        step_ratio=step[..., 0],
    )


def conditional_values(profile: Profile, grown_ratio: Floats) -> tuple[Floats, Floats]:
    """Read the fitted value and its standard deviation off a profile, given each tau.

    ``L = level + A (g - lever),  sd^2 = level_sd^2 + A_sd^2 (g - lever)^2``

    Parameters
    ----------
    profile : Profile
        The fits.
    grown_ratio : array of shape (K,) or scalar array
        The share g of the change that is done: 0 = the start, 1 = the settled value.

    Returns
    -------
    tuple of array
        Value and standard deviation, shape (..., K).

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    At the level of the first column of levels.

    Source
    ------
    Derived here: level and change are independent once the change is taken about its lever.

    Examples
    --------
    >>> fit = profile_curve(np.array([0.0, 1e3]), np.array([1.0, 2.0]), np.ones(2))
    >>> round(float(conditional_values(fit, np.array(0.0))[0][0]), 6)
    1.0
    """
    arm = grown_ratio - profile.lever_ratio
    with np.errstate(invalid="ignore"):
        lean = np.where(arm == 0, 0.0, profile.change_sd_response * np.abs(arm))
    value = profile.level_response + profile.change_response * arm
    return value, np.hypot(profile.level_sd_response, lean)


def only_believed(profile: Profile) -> Profile:
    """Leave out of a profile the fits whose tau is larger than believed.

    ``tau_k <= 30 kg``

    Parameters
    ----------
    profile : Profile
        Fits on a grid that reaches further.

    Returns
    -------
    Profile
        The same fits up to 30 kg.

    Raises
    ------
    IndexError
        The arrays do not share their last axis.

    Valid
    -----
    The grid holds tau of at most 30 kg.

    Source
    ------
    Our choice: see ``LARGEST_TAU_GRAMS``.

    Examples
    --------
    >>> fit = profile_curve(np.array([0.0, 1e3]), np.array([1.0, 2.0]), np.ones(2))
    >>> bool(only_believed(fit).tau_grams[-1] <= 30_000)
    True
    """
    count = int(np.count_nonzero(profile.tau_grams <= LARGEST_TAU_GRAMS))
    return replace(
        profile,
        tau_grams=profile.tau_grams[:count],
        misfit_ratio=profile.misfit_ratio[..., :count],
        change_response=profile.change_response[..., :count],
        change_sd_response=profile.change_sd_response[..., :count],
        lever_ratio=profile.lever_ratio[..., :count],
    )


def _regress(rest_y: Floats, x: Floats, basis: Floats) -> tuple[Floats, Floats, Floats]:
    """Slope, its standard deviation and the misfit of each row of x, the basis taken out."""
    rest = x - (x @ basis) @ basis.T
    weight = (rest * rest).sum(axis=-1)
    is_told = weight > 1e-24 * (x * x).sum(axis=-1)
    safe = np.where(is_told, weight, 1.0)
    slope = np.where(is_told, rest_y @ rest.T / safe, 0.0)
    deviation = np.where(is_told, 1.0 / np.sqrt(safe), np.inf)
    left = rest_y[..., None, :] - slope[..., None] * rest
    return slope, deviation, (left * left).sum(axis=-1)
