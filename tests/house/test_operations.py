"""Every operation is a method of the SDK by the same name, with the same words for its ids."""

from __future__ import annotations

import inspect

from burrline import Client
from burrline_service.api import make_operations
from burrline_service.api.operation import Operation
from every_case import each_of

OPERATIONS = {operation.name: operation for operation in make_operations()}


def test_every_operation_has_one_sdk_method_and_no_method_is_left_over() -> None:
    public = {
        name
        for name, member in inspect.getmembers(Client, inspect.isfunction)
        if not name.startswith("_")
    }
    assert set(OPERATIONS) - public == set(), "operations without a method"
    verbs = {name.split("_")[0] for name in OPERATIONS}
    like_operations = {name for name in public if name.split("_")[0] in verbs}
    assert like_operations - set(OPERATIONS) == set(), "methods that no operation answers"


@each_of(OPERATIONS.values(), name=lambda operation: operation.name)
def test_an_operation_is_described_for_its_readers(operation: Operation) -> None:
    assert operation.summary
    assert operation.description
    assert operation.name == operation.name.lower()


@each_of(OPERATIONS.values(), name=lambda operation: operation.name)
def test_an_sdk_method_takes_the_ids_of_the_path_by_their_names(operation: Operation) -> None:
    taken = inspect.signature(getattr(Client, operation.name)).parameters
    assert set(operation.path_ids) <= set(taken)
