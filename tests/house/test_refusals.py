"""Every refusal has its row in the one table, and no two rows are mistaken for each other."""

from __future__ import annotations

import importlib
import pkgutil
import re

import pytest

import burrline_service
from burrline_service.api.problems import PROBLEMS
from burrline_service.core.errors import Refusal


def every_refusal() -> set[type[Refusal]]:
    """All subclasses of ``Refusal``, in whichever module of the service they are written."""
    for found in pkgutil.walk_packages(burrline_service.__path__, "burrline_service."):
        if not found.name.endswith("__main__") and ".migrations" not in found.name:
            importlib.import_module(found.name)
    waiting: list[type[Refusal]] = [Refusal]
    kinds: set[type[Refusal]] = set()
    while waiting:
        for kind in waiting.pop().__subclasses__():
            if kind.__module__.startswith("burrline_service.") and kind not in kinds:
                kinds.add(kind)
                waiting.append(kind)
    return kinds


def test_every_refusal_has_a_row_of_its_own() -> None:
    assert every_refusal() == set(PROBLEMS)


def test_no_two_refusals_share_a_problem_type() -> None:
    names = [problem.name for problem in PROBLEMS.values()]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("kind", PROBLEMS, ids=lambda kind: kind.__name__)
def test_a_problem_type_is_named_after_what_it_is(kind: type[Refusal]) -> None:
    problem = PROBLEMS[kind]
    assert re.fullmatch("[a-z]+(-[a-z]+)*", problem.name)
    assert problem.title
    assert not problem.title.endswith(".")
    assert 400 <= problem.status < 600


@pytest.mark.parametrize("kind", PROBLEMS, ids=lambda kind: kind.__name__)
def test_a_refusal_says_what_it_is(kind: type[Refusal]) -> None:
    assert kind.__doc__
