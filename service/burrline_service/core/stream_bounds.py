"""What the fit of the flow bounds: the change still to come, and any value read off it."""

from __future__ import annotations

import numpy as np

from .quantiles import student_t_ratio
from .settling_limits import half_widths_response
from .settling_profile import Floats
from .stream_fit import StreamFit
from .stream_moments import TAU_GRAMS

BOUND_PROBABILITY = 0.975
"""Of the quantile of Student's t for every bound: one-sided 97.5 %, two-sided 95 %."""


def misfit_limit_ratio(fit: StreamFit, bound_probability: float = BOUND_PROBABILITY) -> float:
    """Give the largest misfit that is believed.

    ``c = Q_min + t^2 B,  t = t_(G - p - 1)(probability)``

    Parameters
    ----------
    fit : StreamFit
        A fit.
    bound_probability : float
        Of the quantile of Student's t.

    Returns
    -------
    float
        Weighted sum of squares.

    Raises
    ------
    ValueError
        The probability is not between 0 and 1.

    Valid
    -----
    Days, not grinds, are the degrees of freedom.

    Source
    ------
    Bates and Watts 1988, chapter 6 (from memory), with the Birge factor for the variance.

    Examples
    --------
    >>> from burrline_service.core.stream_fit import example_fit
    >>> fit = example_fit()
    >>> fit.freedom_count, round(misfit_limit_ratio(fit) - float(fit.misfit_ratio.min()), 3)
    (8, 5.318)
    """
    t = student_t_ratio(bound_probability, fit.freedom_count)
    return float(fit.misfit_ratio.min()) + t * t * fit.birge_ratio


def bound_remaining_ratio(
    fit: StreamFit, at_grams: float, bound_probability: float = BOUND_PROBABILITY
) -> tuple[float, float]:
    """Bound the size of the change of the flow still to come, from below and above.

    ``U = max over S of (|A_k| + h_k) exp(-M / tau_k);  D = min over S of max(|A_k| - h_k, 0)
    exp(-M / tau_k);  S = {k : Q_k <= c}``

    Parameters
    ----------
    fit : StreamFit
        A fit.
    at_grams : float
        M, grams since the origin of the decays.
    bound_probability : float
        Confidence of each of the two, one-sided.

    Returns
    -------
    tuple of float
        D and U, each on its own side, of the logarithm of the flow.

    Raises
    ------
    Nothing.

    Valid
    -----
    For tau from 0.25 to 30 kg; U may be infinite.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.stream_fit import example_fit
    >>> least, most = bound_remaining_ratio(example_fit(), 14_000.0)
    >>> 0 <= least < most
    True
    """
    limit = misfit_limit_ratio(fit, bound_probability)
    inside = fit.misfit_ratio <= limit
    half = half_widths_response(fit.change_sd_ratio, fit.misfit_ratio, limit)[inside]
    size = np.abs(fit.change_ratio[inside])
    left = np.exp(-at_grams / TAU_GRAMS[inside])
    least, most = np.maximum(size - half, 0.0) * left, (size + half) * left
    return float(least.min()), float(most.max())


def read_value(
    fit: StreamFit, columns_ratio: Floats, decay_ratio: Floats | float
) -> tuple[Floats, Floats]:
    """Read a value and its standard deviation off the fit, given each tau.

    ``L = a'c + d c_e,  V = a' C a + (d - a' Z)^2 V_e``

    Parameters
    ----------
    fit : StreamFit
        A fit.
    columns_ratio : array of shape (P,)
        a: what stands in each column of the moments.
    decay_ratio : array of shape (K,) or float
        d: what stands in the column of the decay.

    Returns
    -------
    tuple of arrays of shape (K,)
        The value and its standard deviation, of the logarithm of the flow.

    Raises
    ------
    Nothing.

    Valid
    -----
    For what lies in the space of the cells that were looked at.

    Source
    ------
    Derived here: the inverse of a matrix in two blocks.

    Examples
    --------
    >>> from burrline_service.core.stream_fit import example_fit
    >>> fit = example_fit()
    >>> value, sd = read_value(fit, np.zeros(2), 1.0)
    >>> bool(np.allclose(value, -fit.change_ratio) and np.allclose(sd, fit.change_sd_ratio))
    True
    """
    a = columns_ratio[list(fit.kept)]
    aside = decay_ratio - a @ fit.solved_decay_ratio
    value = a @ fit.solved_u_ratio - fit.change_ratio * aside
    with np.errstate(invalid="ignore"):
        of_change = np.where(aside == 0, 0.0, aside**2 * fit.change_sd_ratio**2)
    return value, np.sqrt(np.maximum(a @ fit.column_inverse_squares @ a, 0.0) + of_change)
