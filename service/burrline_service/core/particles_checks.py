"""Checks that tables of particle sizes share: sizes in order, values in range, running sums."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from .errors import SampleRefused

SMALLEST_MICROMETRES, LARGEST_MICROMETRES = 1e-3, 1e6
LARGEST_VALUE = 1e12
SMALLEST_TOTAL = 1e-6
CLOSEST_RATIO = 1 + 1e-6
"""Two edges closer than this ratio are the same one written twice."""


def check_size(noun: str, size_micrometres: float, pointer: str) -> None:
    """Refuse a size that is no size of a particle.

    ``0.001 <= x <= 1e6 micrometres``

    Parameters
    ----------
    noun : str
        What the size is of, for the sentence.
    size_micrometres : float
        The size x in micrometres.
    pointer : str
        Where it stands.

    Returns
    -------
    None
        Nothing: the size can be used.

    Raises
    ------
    SampleRefused
        ``size_out_of_range``.

    Valid
    -----
    From a nanometre to a metre.

    Source
    ------
    Defined here: wide enough for any powder.

    Examples
    --------
    >>> check_size("edge", 1e7, "/edge_micrometres/0")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    burrline_service.core.errors.SampleRefused: The edge 1e+07 micrometres ...
    """
    if not SMALLEST_MICROMETRES <= size_micrometres <= LARGEST_MICROMETRES:
        raise SampleRefused(
            "size_out_of_range",
            f"The {noun} {size_micrometres:g} micrometres is outside "
            f"{SMALLEST_MICROMETRES:g} to {LARGEST_MICROMETRES:g}.",
            pointer=pointer,
            numbers={"size_micrometres": size_micrometres},
        )


def check_sizes(size_micrometres: Sequence[float], noun: str, pointer: str, least: int) -> bool:
    """Refuse sizes that are not all rising or all falling, and tell whether they rise.

    ``x_1 < x_2 < ... < x_n  or  x_1 > x_2 > ... > x_n,  n >= least``

    Parameters
    ----------
    size_micrometres : sequence of float, shape (n,)
        The sizes in micrometres; only a lowest edge may be 0.
    noun : str
        What each size is, ``aperture`` or ``edge``.
    pointer : str
        Where the list stands.
    least : int
        How many are needed.

    Returns
    -------
    bool
        Whether they rise.

    Raises
    ------
    SampleRefused
        ``no_...s``, ``size_out_of_range``, ``..._repeated``, ``...s_not_ordered``.

    Valid
    -----
    Sizes within a millionth of each other are the same.

    Source
    ------
    Defined here.

    Examples
    --------
    >>> check_sizes([400.0, 200.0], "aperture", "/aperture_micrometres", 1)
    False
    """
    sizes = size_micrometres
    if len(sizes) < least:
        raise SampleRefused(
            f"no_{noun}s", f"At least {least} {noun}s are needed, {len(sizes)} are given.",
            pointer=pointer, numbers={"needed": least, "found": len(sizes)},
        )  # fmt: skip
    is_ascending = sizes[0] <= sizes[-1]
    rising = sizes if is_ascending else sizes[::-1]
    for index, size in enumerate(sizes):
        is_open_end = noun == "edge" and size == 0 and rising[0] == 0 and rising[1] > 0
        if not (is_open_end and index == (0 if is_ascending else len(sizes) - 1)):
            check_size(noun, size, f"{pointer}/{index}")
    for index in range(1, len(sizes)):
        before, after = sizes[index - 1], sizes[index]
        low, high = min(before, after), max(before, after)
        if low > 0 and high / low < CLOSEST_RATIO:
            raise SampleRefused(
                f"{noun}_repeated", f"The {noun} {after:g} micrometres is there twice.",
                pointer=f"{pointer}/{index}", numbers={"size_micrometres": after},
            )  # fmt: skip
        if (before < after) != is_ascending:
            raise SampleRefused(
                f"{noun}s_not_ordered",
                f"The {noun}s neither only fall nor only rise: {after:g} after {before:g} "
                "micrometres.",
                pointer=f"{pointer}/{index}",
                numbers={"before_micrometres": before, "after_micrometres": after},
            )
    return is_ascending


def check_values(values: tuple[float, ...], name: str) -> None:
    """Refuse masses, fractions or counts that are none, and a table of them that is empty.

    ``total = sum(v_i),  0 <= v_i <= 1e12,  total >= 1e-6``

    Parameters
    ----------
    values : tuple of float, shape (n,)
        The values in their own unit.
    name : str
        The member they are.

    Returns
    -------
    None
        Nothing: the values can be used.

    Raises
    ------
    SampleRefused
        ``negative_value``, ``value_out_of_range``, ``no_mass``.

    Valid
    -----
    Finite numbers; a NaN is out of range.

    Source
    ------
    Defined here.

    Examples
    --------
    >>> check_values((0.0, 0.0), "count")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    burrline_service.core.errors.SampleRefused: All of count ...
    """
    for index, value in enumerate(values):
        if not 0 <= value <= LARGEST_VALUE:
            raise SampleRefused(
                "negative_value" if value < 0 else "value_out_of_range",
                f"{name} {value:g} is not within 0 to {LARGEST_VALUE:g}.",
                pointer=f"/{name}/{index}",
                numbers={"value": value},
            )
    total = math.fsum(values)
    if total < SMALLEST_TOTAL:
        raise SampleRefused(
            "no_mass",
            f"All of {name} together is {total:g}: there is nothing to measure.",
            pointer=f"/{name}",
            numbers={"total": total},
        )


def is_cumulative(values: tuple[float, ...]) -> bool:
    """Tell whether values only ever rise or only ever fall, as running sums do.

    ``v_1 <= v_2 <= ... <= v_n  or  v_1 >= v_2 >= ... >= v_n,  v_1 != v_n``

    Parameters
    ----------
    values : sequence of float, shape (n,)
        Masses, fractions or counts.

    Returns
    -------
    bool
        Whether they could be running sums; few values often could.

    Source
    ------
    Defined here.

    Examples
    --------
    >>> is_cumulative((0.1, 0.6, 1.0)), is_cumulative((0.1, 0.6, 0.3))
    (True, False)
    """
    pairs = list(pairwise(values))
    return values[0] != values[-1] and (
        all(a <= b for a, b in pairs) or all(a >= b for a, b in pairs)
    )
