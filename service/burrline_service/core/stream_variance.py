"""The variance between groups, beside the scatter within them."""

from __future__ import annotations

from .settling_profile import Floats

MOST_ROUNDS = 60
NEAR_FRACTION = 1e-10
"""How well a variance between groups must stand."""


def between_squares(
    residual_response: Floats, variance_squares: Floats, freedom_count: int
) -> float:
    """Estimate the variance between groups from what their means are off by (Paule and Mandel).

    ``sum_g r_g^2 / (s^2 + v_g) = nu``, solved for s^2; 0 where the sum at s^2 = 0 is below nu

    Parameters
    ----------
    residual_response : array of shape (G,)
        Means less what they should be.
    variance_squares : array of shape (G,)
        Their variances within the groups, > 0.
    freedom_count : int
        Degrees of freedom nu, > 0.

    Returns
    -------
    float
        s^2 in the squared unit of the residuals.

    Raises
    ------
    ValueError
        No freedom, or a variance that is not positive.

    Valid
    -----
    The sum falls and is convex in s^2, so Newton's steps from 0 never pass the root.

    Source
    ------
    Paule and Mandel 1982, Journal of Research of the National Bureau of Standards 87 (from memory);
    held to table 1 of Kacker 2004 in the tests.

    Examples
    --------
    >>> import numpy as np
    >>> round(between_squares(np.array([-2.0, 0.0, 2.0]), np.ones(3), 2), 9)
    3.0
    """
    if freedom_count < 1 or not (variance_squares > 0).all():
        raise ValueError("a variance between groups needs freedom and variances above 0")
    squares = residual_response * residual_response
    found = 0.0
    for _ in range(MOST_ROUNDS):
        share = 1.0 / (variance_squares + found)
        over = float(squares @ share) - freedom_count
        if over <= NEAR_FRACTION * freedom_count:
            break
        found += over / float(squares @ (share * share))
    return found
