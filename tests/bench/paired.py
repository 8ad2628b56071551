"""Comparing ways of doing a thing: taken in turn, in one run, by medians."""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import databases
from databases import MadeDatabase


def times_seconds(
    ways: Mapping[str, Callable[[], object]], *, repeats: int, calls: int
) -> dict[str, list[float]]:
    """Seconds per call of each way, once per repeat; the order rotates from repeat to repeat."""
    names = list(ways)
    for way in ways.values():  # compiled statements and warm caches are not what is compared
        way()
    found: dict[str, list[float]] = {name: [] for name in names}
    for repeat in range(repeats):
        turn = repeat % len(names)
        for name in names[turn:] + names[:turn]:
            began = time.perf_counter()
            for _ in range(calls):
                ways[name]()
            found[name].append((time.perf_counter() - began) / calls)
    return found


def ratio(times: Mapping[str, list[float]], name: str, to: str) -> float:
    """Median over the repeats of one way's time by the other's in the same repeat."""
    return statistics.median(
        mine / other for mine, other in zip(times[name], times[to], strict=True)
    )


def spread(times: Mapping[str, list[float]], name: str, to: str) -> str:
    """The lower and upper quartile of those ratios, as text."""
    ratios = sorted(mine / other for mine, other in zip(times[name], times[to], strict=True))
    if len(ratios) < 2:
        return f"{ratios[0]:.2f}"
    low, _, high = statistics.quantiles(ratios, n=4)
    return f"{low:.2f} to {high:.2f}"


def milliseconds(times: Mapping[str, list[float]], name: str) -> str:
    return f"{1000 * statistics.median(times[name]):.2f} ms"


@contextmanager
def maker(kind: str) -> Iterator[Callable[[], MadeDatabase]]:
    """Gives ``make()``, a fresh migrated database of the kind each time; all gone at the end."""
    folder = Path(tempfile.mkdtemp(prefix="burrline-bench-"))

    def make() -> MadeDatabase:
        if kind == "sqlite":
            return databases.make_sqlite_database(databases.make_sqlite_template(folder), folder)
        server = databases.shared_server(folder)
        return databases.make_postgresql_database(server, databases.template_name(folder))

    try:
        yield make
    finally:
        databases.end_session(folder)
