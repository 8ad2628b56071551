"""Settings of alerts: what an account sets, a site and a grinder may override, from when on.

When each kind opens and closes (``x`` = a setting; all are pure folds of dated facts):

=================  ============================================  ================================
kind, severity     opens                                         closes
=================  ============================================  ================================
motor_overheat     a reading at or over the limit                a reading ``release_kelvin`` below
alert                                                            it; 15 min without a reading
motor_heating      the limit is likely to be reached within      10 min after the last forecast of
caution            10 min, by the motor's model                  it
duty_exceeded      on-time of the trailing cycle over the        at ``release_fraction`` of the
caution            plate's rating                                rating
long_run           one run past ``longest_run_seconds``          the run ends
caution
flow_low           median of the last ``run_count`` runs is      that median is back by
caution            ``drop_fraction`` (and 3 deviations) under    ``release_fraction`` of the drop;
                   the grinder's own flow of the last weeks      24 h after the last that showed it
clock_suspect      ``run_count`` runs in a row of one source     the first run of that source that
caution            came the same multiple of half an hour late   did not; 24 h after the last
burr_life          the set's kilograms reach its rated life      another set is fitted
caution
silent             ``open_seconds`` of opening hours without a   the next run; the grinder retires
notice             run
checkpoint_due     the kilograms reach the next checkpoint's,    a checkpoint; another set
notice             after a first one
settled            a measurement proves it                       7 days later; a measurement that
notice                                                           contradicts it
=================  ============================================  ================================

A kind that is not ``is_on`` is not judged while it is off; one with ``minimum_seconds`` opens when
its condition has held for so long. Quiet hours hold back notices and cautions, never an ``alert``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import Any, NamedTuple

from .nameplate import merged

Patch = Mapping[str, Any]
Dated = Sequence[tuple[int, Patch]]

DEFAULT_RULES: Mapping[str, Any] = {
    "motor_overheat": {"is_on": True, "minimum_seconds": 0.0, "release_kelvin": 5.0},
    "motor_heating": {"is_on": True, "minimum_seconds": 0.0},
    "duty_exceeded": {"is_on": True, "minimum_seconds": 0.0, "release_fraction": 0.9},
    "long_run": {"is_on": True, "minimum_seconds": 0.0, "longest_run_seconds": 600.0},
    "flow_low": {
        "is_on": True,
        "minimum_seconds": 0.0,
        "drop_fraction": 0.2,
        "release_fraction": 0.5,
        "run_count": 5,
    },
    "clock_suspect": {"is_on": True, "run_count": 5},
    "burr_life": {"is_on": True},
    "silent": {"is_on": True, "open_seconds": 57_600.0},
    "checkpoint_due": {"is_on": True},
    "settled": {"is_on": True},
    "quiet_hours": {},
}
"""What holds where nobody set anything (our choice, no source)."""
KINDS = tuple(name for name in DEFAULT_RULES if name != "quiet_hours")
SEVERITY_OF = {
    "motor_overheat": "alert",
    **dict.fromkeys(
        ("motor_heating", "duty_exceeded", "long_run", "flow_low", "clock_suspect", "burr_life"),
        "caution",
    ),
    **dict.fromkeys(("silent", "checkpoint_due", "settled"), "notice"),
}


class DatedRules(NamedTuple):
    """Rules and the instant from which on they are in force, POSIX ms."""

    from_ms: int
    rules: Mapping[str, Any]


ALWAYS = (DatedRules(0, DEFAULT_RULES),)


def rules_in_force(levels: Sequence[Dated]) -> tuple[DatedRules, ...]:
    """Lay the rules that follow from dated patches of several levels out on the time line.

    ``rules(t) = default <- account(t) <- site(t) <- grinder(t)``, each the fold of its patches

    Parameters
    ----------
    levels : sequence of sequence of tuple
        For the account, its site and its grinder, in this order: merge patches with the instant
        (POSIX ms) from which on each holds, in any order.

    Returns
    -------
    tuple of DatedRules
        Ascending; the first holds from 1970 on, and before.

    Raises
    ------
    Nothing; what a patch may hold is checked when it is set.

    Valid
    -----
    A null in a patch inherits again. A change holds from its own instant on and leaves what was
    before as it was.

    Source
    ------
    RFC 7396 (merge patches); inheritance defined here.

    Examples
    --------
    >>> account = [(5, {"silent": {"is_on": False}})]
    >>> grinder = [(9, {"silent": {"is_on": True}}), (12, {"silent": None})]
    >>> [(at, rules["silent"]["is_on"]) for at, rules in rules_in_force([account, [], grinder])]
    [(0, True), (5, False), (9, True), (12, False)]
    """
    if not any(levels):
        return ALWAYS
    instants = sorted({0, *(max(0, at) for at, _ in chain.from_iterable(levels))})
    return tuple(
        DatedRules(at, _effective(own_settings(level, at) for level in levels)) for at in instants
    )


def rules_at(dated: Sequence[DatedRules], at_ms: int) -> Mapping[str, Any]:
    """Find the rules in force at an instant.

    ``the latest with from <= t, else the first``

    Parameters
    ----------
    dated : sequence of DatedRules
        Ascending, at least one.
    at_ms : int
        The instant t, POSIX ms.

    Returns
    -------
    mapping
        The rules, one entry for each kind and ``quiet_hours``.

    Raises
    ------
    Nothing.

    Valid
    -----
    Any instant.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> rules_at(ALWAYS, 12)["long_run"]["longest_run_seconds"]
    600.0
    """
    found = dated[0].rules
    for from_ms, rules in dated:
        if from_ms > at_ms:
            break
        found = rules
    return found


def own_settings(level: Dated, at_ms: int) -> dict[str, Any]:
    """Fold what one level set by itself by an instant.

    ``fold of merge patches with from <= t``

    Parameters
    ----------
    level : sequence of tuple
        Instants (POSIX ms) and merge patches, in any order.
    at_ms : int
        The instant t, POSIX ms.

    Returns
    -------
    dict
        Only what this level sets; empty = all is inherited.

    Raises
    ------
    Nothing.

    Valid
    -----
    Two patches for one instant do not occur: the store joins them.

    Source
    ------
    RFC 7396.

    Examples
    --------
    >>> own_settings([(5, {"silent": {"is_on": False}}), (3, {"settled": {"is_on": False}})], 4)
    {'settled': {'is_on': False}}
    """
    own: dict[str, Any] = {}
    for from_ms, patch in sorted(level, key=lambda dated: dated[0]):
        if from_ms <= at_ms:
            own = merged(own, patch)
    return own


def patch_between(before: Patch, after: Patch) -> dict[str, Any]:
    """Find the merge patch that turns one document into another.

    ``merged(before, patch) = after``

    Parameters
    ----------
    before, after : mapping
        Documents of nested mappings; neither holds a null.

    Returns
    -------
    dict
        The smallest patch; empty when they are equal.

    Raises
    ------
    Nothing.

    Valid
    -----
    A value that is no mapping is replaced whole.

    Source
    ------
    RFC 7396, section 2, turned round.

    Examples
    --------
    >>> patch_between({"a": {"x": 1, "y": 2}, "b": 1}, {"a": {"x": 1, "y": 3}})
    {'a': {'y': 3}, 'b': None}
    """
    patch: dict[str, Any] = {}
    for name in (*before, *(name for name in after if name not in before)):
        if name not in after:
            patch[name] = None
        elif name not in before:
            patch[name] = after[name]
        elif before[name] != after[name]:
            both = isinstance(before[name], Mapping) and isinstance(after[name], Mapping)
            patch[name] = patch_between(before[name], after[name]) if both else after[name]
    return patch


def _effective(levels: Iterable[Patch]) -> Mapping[str, Any]:
    rules: Mapping[str, Any] = DEFAULT_RULES
    for level in levels:
        rules = merged(rules, {n: v for n, v in level.items() if n != "quiet_hours"})
        if level.get("quiet_hours") is not None:  # replaced whole: {} has no quiet hours at all
            rules = {**rules, "quiet_hours": level["quiet_hours"]}
    return rules
