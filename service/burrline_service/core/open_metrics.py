"""Numbers for whoever watches a service: families of samples, written as OpenMetrics text."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
SUFFIXES: Mapping[str, frozenset[str]] = {
    "counter": frozenset({"_total"}),
    "gauge": frozenset({""}),
    "info": frozenset({"_info"}),
    "summary": frozenset({"_sum", "_count"}),
}
Kind = Literal["counter", "gauge", "info", "summary"]
Labels = tuple[tuple[str, str], ...]
_NAME = re.compile("[a-z][a-z0-9_]*", re.ASCII)


@dataclass(frozen=True)
class Sample:
    """One number; ``suffix`` comes after the family's name."""

    value: int | float
    labels: Labels = ()
    suffix: str = ""


@dataclass(frozen=True)
class Family:
    """Samples of one name; its unit, where it has one, is the last word of the name."""

    name: str
    kind: Kind
    about: str
    unit: str = ""
    samples: Sequence[Sample] = field(default=())


def exposition(families: Iterable[Family]) -> str:
    r"""Write families as OpenMetrics text.

    ``TYPE, UNIT, HELP, samples`` of each family in turn, then ``EOF``, lines ended by LF

    Parameters
    ----------
    families : iterable of Family
        Each name once.

    Returns
    -------
    str
        The text, of the media type ``MEDIA_TYPE``.

    Raises
    ------
    ValueError
        A name that is none or is there twice, a unit that is not the name's last word, a suffix
        that the kind does not have, a label twice in a sample or one sample twice, a counter
        below nothing.

    Source
    ------
    OpenMetrics 1.0.0, "Text format", "Metric types", "Units and base units".

    Examples
    --------
    >>> sample = Sample(1.5, (("a", "b"),))
    >>> up = Family("up_seconds", "gauge", "Since the start.", "seconds", [sample])
    >>> print(exposition([up]), end="")
    # TYPE up_seconds gauge
    # UNIT up_seconds seconds
    # HELP up_seconds Since the start.
    up_seconds{a="b"} 1.5
    # EOF
    """
    lines: list[str] = []
    names: set[str] = set()
    written: dict[Labels, str] = {}
    for family in families:
        _check(family, names)
        names.add(family.name)
        lines.append(f"# TYPE {family.name} {family.kind}")
        if family.unit:
            lines.append(f"# UNIT {family.name} {family.unit}")
        lines.append(f"# HELP {family.name} {_escaped(family.about)}")
        seen: set[tuple[str, Labels]] = set()
        for sample in family.samples:
            if (sample.suffix, sample.labels) in seen:
                raise ValueError(f"{family.name} has the labels {sample.labels} twice")
            seen.add((sample.suffix, sample.labels))
            lines.append(_line(family, sample, written))
    return "\n".join([*lines, "# EOF", ""])


def _check(family: Family, names: set[str]) -> None:
    if not _NAME.fullmatch(family.name) or family.name in names:
        raise ValueError(f"{family.name!r} is no name, or there twice")
    if family.unit and not family.name.endswith(f"_{family.unit}"):
        raise ValueError(f"{family.name} does not end in its unit {family.unit}")


def _line(family: Family, sample: Sample, written: dict[Labels, str]) -> str:
    if sample.suffix not in SUFFIXES[family.kind]:
        raise ValueError(f"a {family.kind} has no sample {family.name}{sample.suffix}")
    if family.kind != "gauge" and not sample.value >= 0:
        raise ValueError(f"{family.name} cannot be {sample.value}")
    braces = written.get(sample.labels)
    if braces is None:
        braces = written[sample.labels] = _braces(family, sample.labels)
    return f"{family.name}{sample.suffix}{braces} {_number(sample.value)}"


def _braces(family: Family, labels: Labels) -> str:
    names = [name for name, _ in labels]
    if len(set(names)) != len(names) or not all(map(_NAME.fullmatch, names)):
        raise ValueError(f"{family.name} has the labels {names}")
    told = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels)
    return f"{{{told}}}" if told else ""


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace("\n", r"\n").replace('"', r"\"")


def _number(value: int | float) -> str:
    if isinstance(value, int):
        return str(value)
    if math.isnan(value) or math.isinf(value):
        return "NaN" if math.isnan(value) else ("+Inf" if value > 0 else "-Inf")
    return repr(value)
