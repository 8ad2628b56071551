"""What is wrong with a table of size classes or a list of particles: refused by name, not guessed.

The traps are those of instrument exports: cumulative columns taken for classes, oversize for
undersize, percent for fractions, values that stand under one edge instead of between two (read as
the wrong edge, every size shifts by a class: 14.8 % at 20 classes per decade).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .errors import SampleRefused
from .particles_checks import check_size, check_sizes, check_values, is_cumulative
from .particles_records import ClassTable, ParticleList
from .records import Finding

SUM_SLACK_FRACTION = 0.01
"""How far rounded class fractions may be from 1 in sum (our choice)."""


def class_findings(table: ClassTable) -> tuple[Finding, ...]:
    """Judge a table of size classes: refuse what cannot be read, say what is doubtful.

    ``n + 1 edges, all rising or all falling; n values >= 0; fractions sum to 1``

    Parameters
    ----------
    table : ClassTable
        The table as it was sent, with either volume fractions or counts.

    Returns
    -------
    tuple of Finding
        ``edges_descending``, ``fractions_rescaled``, ``perhaps_cumulative``; often none.

    Raises
    ------
    SampleRefused
        ``which_quantity``, ``no_edges``, ``size_out_of_range``, ``edge_repeated``,
        ``edges_not_ordered``, ``value_per_edge``, ``value_count``, ``negative_value``,
        ``value_out_of_range``, ``no_mass``, ``cumulative_undersize``, ``cumulative_oversize``,
        ``percent_for_fraction``, ``fractions_do_not_sum``, ``count_not_whole``.

    Valid
    -----
    Sums within 0.01 of 1 are rounding and are rescaled, from 0.002 on with a finding.

    Source
    ------
    Defined here; the upper-edge trap was seen in published instrument exports.

    Examples
    --------
    >>> class_findings(ClassTable((50.0, 100.0, 200.0), (0.3, 0.695)))[0].code
    'fractions_rescaled'
    """
    edges = table.edge_micrometres
    if (table.volume_fraction is None) == (table.count is None):
        raise SampleRefused(
            "which_quantity", "Give either volume_fraction or count, exactly one of them."
        )
    name = "count" if table.volume_fraction is None else "volume_fraction"
    values = table.volume_fraction if table.volume_fraction is not None else table.count or ()
    is_ascending = check_sizes(edges, "edge", "/edge_micrometres", 2)
    n = len(edges) - 1
    if len(values) == n + 1:
        raise SampleRefused(
            "value_per_edge",
            f"{n + 1} values stand beside {n + 1} edges. {n + 1} classes need {n + 2} edges: say "
            "whether each value stands under its class's lower or upper edge by adding the edge "
            "that is missing at the other end. Cumulative values are not taken.",
            pointer=f"/{name}",
            numbers={"needed": n, "found": n + 1},
        )
    if len(values) != n:
        raise SampleRefused(
            "value_count",
            f"{n + 1} edges enclose {n} classes, but {len(values)} values are given.",
            pointer=f"/{name}",
            numbers={"needed": n, "found": len(values)},
        )
    check_values(values, name)
    total = math.fsum(values)
    findings = []
    if not is_ascending:
        findings.append(
            Finding("edges_descending", "The edges fall; each value was read between its two.")
        )
    if name == "count":
        _check_counts(values)
        if n >= 4 and is_cumulative(values):
            findings.append(
                Finding(
                    "perhaps_cumulative",
                    f"The counts only ever {'rise' if values[-1] > values[0] else 'fall'} over "
                    f"{n} classes: check that they are not running sums.",
                )
            )
    else:
        findings += _sum_of_fractions(values, total, is_ascending)
    return tuple(findings)


def check_particles(particles: ParticleList) -> None:
    """Refuse a list of diameters that is empty or holds an impossible one.

    ``n >= 1, 0.001 <= d <= 1e6 micrometres``

    Parameters
    ----------
    particles : ParticleList
        The list as it was sent.

    Returns
    -------
    None
        Nothing: the list can be used.

    Raises
    ------
    SampleRefused
        ``no_particles``, ``size_out_of_range``.

    Valid
    -----
    Any n from 1 on; whether n is enough is said elsewhere.

    Source
    ------
    Defined here.

    Examples
    --------
    >>> check_particles(ParticleList(()))
    Traceback (most recent call last):
    burrline_service.core.errors.SampleRefused: The list of diameters is empty.
    """
    if not particles.diameter_micrometres:
        raise SampleRefused(
            "no_particles", "The list of diameters is empty.", pointer="/diameter_micrometres"
        )
    for index, size in enumerate(particles.diameter_micrometres):
        check_size("diameter", size, f"/diameter_micrometres/{index}")


def _check_counts(counts: Sequence[float]) -> None:
    for index, count in enumerate(counts):
        if count != math.floor(count):
            raise SampleRefused(
                "count_not_whole",
                f"{count:g} is no count of particles. Fractions of a number distribution are not "
                "taken: send the counts, or the volume fractions.",
                pointer=f"/count/{index}",
                numbers={"value": count},
            )


def _sum_of_fractions(values: tuple[float, ...], total: float, is_ascending: bool) -> list[Finding]:
    numbers = {"total": total, "largest": max(values)}
    rising = values if is_ascending else values[::-1]
    for whole, unit in ((1.0, "1"), (100.0, "100 percent")):
        for end, code, column in (
            (-1, "cumulative_undersize", "undersize"),
            (0, "cumulative_oversize", "oversize"),
        ):
            if (
                len(values) >= 2
                and total > 1.2 * whole
                and is_cumulative(rising)
                and max(values) == rising[end]
                and abs(rising[end] - whole) <= SUM_SLACK_FRACTION * whole
            ):
                raise SampleRefused(
                    code,
                    f"The values run to {unit} by themselves: a cumulative {column} column. Send "
                    "what each class holds.",
                    pointer="/volume_fraction", numbers=numbers,
                )  # fmt: skip
    if abs(total - 100) <= 100 * SUM_SLACK_FRACTION:
        raise SampleRefused(
            "percent_for_fraction",
            f"The values sum to {total:g}: these are percent. Divide them by 100.",
            pointer="/volume_fraction", numbers=numbers,
        )  # fmt: skip
    if abs(total - 1) > SUM_SLACK_FRACTION:
        raise SampleRefused(
            "fractions_do_not_sum",
            f"Volume fractions must sum to 1, these sum to {total:g}: classes are missing, or "
            "they are something else.",
            pointer="/volume_fraction", numbers=numbers,
        )  # fmt: skip
    if abs(total - 1) > 0.2 * SUM_SLACK_FRACTION:
        return [Finding("fractions_rescaled", f"The fractions sum to {total:g}, rescaled to 1.")]
    return []
