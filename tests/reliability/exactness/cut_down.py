"""A history that fails, cut down to the facts that make it fail."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from burrline_service.store.database import Database

from . import naive
from .facts import Fact, Known, name_of
from .told import ToldService

Check = Callable[[Database, ToldService, Known, Random], None]
TRY_COUNT = 8


def smallest(
    known: Known, complaint_about: Callable[[Known], str | None]
) -> tuple[Known, str | None]:
    """Leave out facts, one at a time, as long as the rest is complained about."""
    complaint = complaint_about(known)
    if complaint is None:
        return known, None
    is_shorter = True
    while is_shorter:
        is_shorter = False
        for fact in reversed(known.entered):
            fewer = _without(known, fact)
            found = complaint_about(fewer)
            if found is not None:
                known, complaint, is_shorter = fewer, found, True
    for name in sorted(known.voided):
        fewer = Known(known.entered, known.voided - {name})
        found = complaint_about(fewer)
        if found is not None:
            known, complaint = fewer, found
    return known, complaint


def complaint_of(
    database: Database, make_service: Callable[[Database], ToldService], tell: Check, check: Check
) -> Callable[[Known], str | None]:
    """Tell the facts to a new service, some ways, and say what is wrong with it."""

    def complaint_about(known: Known) -> str | None:
        if not naive.can_be_true(known):
            return None
        for seed in range(TRY_COUNT):
            dice = Random(seed)
            service = make_service(database)
            try:
                tell(database, service, known, dice)
            except AssertionError:
                return None  # without what was left out it cannot be told
            try:
                check(database, service, known, dice)
            except (AssertionError, ValueError) as error:
                return f"{type(error).__name__}: {error}"
        return None

    return complaint_about


def _without(known: Known, left_out: Fact) -> Known:
    kept = tuple(fact for fact in known.entered if fact is not left_out)
    return Known(kept, known.voided & {name_of(fact) for fact in kept})


def described(known: Known) -> str:
    lines = [f"  {fact}" for fact in known.entered]
    lines += [f"  voided: {name}" for name in sorted(known.voided)]
    return "\n".join(lines)
