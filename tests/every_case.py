"""Many like cases in one test: all of them are tried, and each that fails is named.

A test of its own for each costs pytest more than most cases do; a matrix of thousands is one test
for each of its rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

Case = TypeVar("Case")


def try_each(
    cases: Iterable[Case], check: Callable[[Case], None], *, name: Callable[[Case], str] = str
) -> None:
    """Raise what failed, noted with the case's name; a group of it if several failed."""
    failed: dict[str, Exception] = {}
    count = 0
    for case in cases:
        count += 1
        try:
            check(case)
        except Exception as error:
            error.add_note(f"the case: {name(case)}")
            failed[f"{name(case)} ({count})"] = error
    assert count, "there is no case: nothing is proven"
    if len(failed) == 1:
        raise next(iter(failed.values()))
    if failed:  # all names are told here, as pytest shows but some of a group
        told = ", ".join(failed)
        raise ExceptionGroup(f"{len(failed)} of {count} cases failed: {told}", [*failed.values()])


def each_of(
    cases: Iterable[Case], *, name: Callable[[Case], str] = str
) -> Callable[[Callable[[Case], None]], Callable[[], None]]:
    """Make a test of one case a test of all of them."""
    kept = [*cases]

    def made(check: Callable[[Case], None]) -> Callable[[], None]:
        def test() -> None:
            try_each(kept, check, name=name)

        test.__name__, test.__doc__, test.__module__ = (
            check.__name__,
            check.__doc__,
            check.__module__,
        )
        return test

    return made
