"""A distribution out of plain JSON values: shapes and numbers, before anything is judged."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from .errors import SampleRefused
from .particles_records import (
    DISTRIBUTION_KINDS,
    ClassTable,
    Distribution,
    ParticleList,
    Percentiles,
    SieveTable,
)

_MEMBERS = {
    "sieve": (
        "aperture_micrometres",
        "retained_grams",
        "pan_low_micrometres",
        "top_high_micrometres",
    ),
    "classes": ("edge_micrometres", "volume_fraction", "count"),
    "particles": ("diameter_micrometres",),
    "percentiles": (
        "d10_micrometres",
        "d50_micrometres",
        "d90_micrometres",
        "fines_fraction",
        "fines_cut_micrometres",
    ),
}


def distribution_of(members: Mapping[str, object]) -> Distribution:
    """Read a distribution out of the members of its JSON object.

    ``kind`` is sieve, classes, particles or percentiles; every other member belongs to its kind.

    Parameters
    ----------
    members : mapping
        ``kind`` and the kind's own members; null counts as absent.

    Returns
    -------
    Distribution
        The record of that kind, not judged yet: ``particles_tables.classed_sample`` does that.

    Raises
    ------
    SampleRefused
        ``unknown_kind``, ``unknown_member``, ``missing_member``, ``not_a_number``, ``not_a_list``.

    Valid
    -----
    Numbers must be finite; true and false are none.

    Source
    ------
    Defined here: burrline's own JSON.

    Examples
    --------
    >>> distribution_of({"kind": "particles", "diameter_micrometres": [12, 30.5]})
    ParticleList(diameter_micrometres=(12.0, 30.5), kind='particles')
    """
    kind = members.get("kind")
    if not isinstance(kind, str) or kind not in _MEMBERS:
        raise SampleRefused(
            "unknown_kind",
            f"kind must be one of {', '.join(DISTRIBUTION_KINDS)}, not {_shown(kind)}.",
            pointer="/kind",
        )
    known = _MEMBERS[kind]
    for name, value in members.items():
        if name != "kind" and name not in known and value is not None:
            raise SampleRefused(
                "unknown_member",
                f"a distribution of kind {kind} has no {_shown(name)}; it takes "
                f"{', '.join(known)}.",
                pointer=f"/{name}".replace("~", "~0"),
            )
    if kind == "sieve":
        return SieveTable(
            _numbers(members, "aperture_micrometres"),
            _numbers(members, "retained_grams"),
            _maybe_number(members, "pan_low_micrometres"),
            _maybe_number(members, "top_high_micrometres"),
        )
    if kind == "classes":
        return ClassTable(
            _numbers(members, "edge_micrometres"),
            _maybe_numbers(members, "volume_fraction"),
            _maybe_numbers(members, "count"),
        )
    if kind == "particles":
        return ParticleList(_numbers(members, "diameter_micrometres"))
    return Percentiles(
        _maybe_number(members, "d10_micrometres"),
        _maybe_number(members, "d50_micrometres"),
        _maybe_number(members, "d90_micrometres"),
        _maybe_number(members, "fines_fraction"),
        _maybe_number(members, "fines_cut_micrometres"),
    )


def _shown(value: object) -> str:
    shown = ascii(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def _numbers(members: Mapping[str, object], name: str) -> tuple[float, ...]:
    found = _maybe_numbers(members, name)
    if found is None:
        raise SampleRefused("missing_member", f"{name} is missing.", pointer=f"/{name}")
    return found


def _maybe_numbers(members: Mapping[str, object], name: str) -> tuple[float, ...] | None:
    values = members.get(name)
    if values is None:
        return None
    if not isinstance(values, Sequence) or isinstance(values, str | bytes):
        raise SampleRefused(
            "not_a_list", f"{name} must be a list of numbers, not {_shown(values)}.",
            pointer=f"/{name}",
        )  # fmt: skip
    return tuple(_number(value, f"/{name}/{index}") for index, value in enumerate(values))


def _maybe_number(members: Mapping[str, object], name: str) -> float | None:
    value = members.get(name)
    return None if value is None else _number(value, f"/{name}")


def _number(value: object, pointer: str) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            found = float(value)
        except OverflowError:
            found = math.inf
        if math.isfinite(found):
            return found
    raise SampleRefused(
        "not_a_number",
        f"{pointer[1:].replace('/', ' ')} must be a finite number, not {_shown(value)}.",
        pointer=pointer,
    )
