"""The unit is the last word of every number that crosses a function border."""

from __future__ import annotations

import ast

from source_tree import SDK, SERVICE, classes, functions, module_name, parameters, parsed
from source_tree import project_files as files

UNITS = frozenset(
    {
        "celsius",
        "count",
        "days",
        "fraction",
        "grams",
        "hours",
        "joules",
        "kelvin",
        "micrometres",
        "millimetres",
        "probability",
        "ratio",  # a quotient without a unit: t, F, weighted squares
        "response",  # a measured quantity's own unit: micrometres or a fraction
        "second",  # grams_per_second
        "seconds",
        "setting",  # the dial's own unit
        "squares",  # of a response, summed
        "rpm",
        "watts",
    }
)
NUMBERS = frozenset({"float", "ArrayLike", "NDArray", "Floats"})
VAGUE_WORDS = frozenset({"data", "info", "manager", "helper", "helpers", "util", "utils", "misc"})

# These lists may only shrink: each name in them must still be found.
UNITLESS_PARAMETERS: frozenset[str] = frozenset()
UNITLESS_FIELDS = frozenset(
    {
        "burrline_service.core.prior.BurrClass.log_tau_sd",  # of a logarithm: has no unit
        "burrline_service.core.records.Grind.setting_step",  # a setting, the contract's word
        "burrline_service.core.entered.Correction.grams_offset",  # grams, the contract's word
        "burrline_service.core.entered.Correction.grams_factor",  # has no unit
        # ratios and logarithms, which have no unit, by the words of the standards
        "burrline_service.core.particles_records.SampleSizes.span",
        "burrline_service.core.particles_records.PooledSizes.span",
        "burrline_service.core.particles_records.PooledSizes.d50_log_sd",
        "burrline_service.core.particles_records.RosinRammlerFit.exponent",
        "burrline_service.core.particles_records.RosinRammlerFit.r_squared",
        "burrline_service.core.particles_records.LogNormalFit.log_sd",
        "burrline_service.core.particles_records.LogNormalFit.r_squared",
        "burrline_service.core.motor_answers.MotorReport.seconds_to_limit",  # the contract's word
        "burrline_service.core.answers.MotorState.seconds_to_limit",  # the contract's word
        "burrline_service.core.open_metrics.Sample.value",  # in the unit of its family's name
        "burrline_service.core.motor_answers.Limits.low",  # in the unit of the field it stands in
        "burrline_service.core.motor_answers.Limits.best",
        "burrline_service.core.motor_answers.Limits.high",
    }
)
UNITLESS_RESULTS: frozenset[str] = frozenset()
VAGUE_NAMES = frozenset(
    {
        "burrline_service.settings._default_data_dir",  # of BURRLINE_DATA_DIR
    }
)


def is_number(annotation: ast.expr | None) -> bool:
    """Whether an annotation speaks of floating-point numbers and nothing but them and None."""
    if annotation is None:
        return False
    if isinstance(annotation, ast.Constant) and isinstance(annotation.value, str):
        annotation = ast.parse(annotation.value, mode="eval").body
    if isinstance(annotation, ast.Name):
        return annotation.id in NUMBERS
    if isinstance(annotation, ast.Attribute):
        return annotation.attr in NUMBERS
    if isinstance(annotation, ast.BinOp):
        sides = (annotation.left, annotation.right)
        return any(map(is_number, sides))
    if isinstance(annotation, ast.Subscript):
        outer = annotation.value
        name = outer.attr if isinstance(outer, ast.Attribute) else getattr(outer, "id", "")
        if name in {"Sequence", "Iterable", "list", "Iterator"}:
            return is_number(annotation.slice)
        return name in NUMBERS
    return False


def ends_in_a_unit(name: str) -> bool:
    return name.rsplit("_", 1)[-1] in UNITS


def test_every_number_a_core_function_takes_carries_its_unit() -> None:
    found = {
        f"{module_name(path)}.{name}({argument.arg})"
        for path in files(SERVICE / "core", "*.py")
        for name, function in functions(parsed(path))
        if not name.rsplit(".", 1)[-1].startswith("_")
        for argument in parameters(function)
        if is_number(argument.annotation) and not ends_in_a_unit(argument.arg)
    }
    assert found == UNITLESS_PARAMETERS


def test_every_number_a_core_function_is_named_for_carries_its_unit() -> None:
    found = {
        f"{module_name(path)}.{name}"
        for path in files(SERVICE / "core", "*.py")
        for name, function in functions(parsed(path))
        if not name.rsplit(".", 1)[-1].startswith("_")
        if is_number(function.returns) and not ends_in_a_unit(name)
    }
    assert found == UNITLESS_RESULTS


def test_every_number_in_a_record_carries_its_unit() -> None:
    found = {
        f"{module_name(path)}.{owner.name}.{field.target.id}"
        for path in files(SERVICE, "*.py")
        for owner in classes(parsed(path))
        for field in owner.body
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name)
        if is_number(field.annotation) and not ends_in_a_unit(field.target.id)
    }
    assert found == UNITLESS_FIELDS


def test_no_module_class_or_function_has_a_name_that_says_nothing() -> None:
    found = set()
    for path in [*files(SERVICE, "*.py"), *files(SDK, "*.py")]:
        tree = parsed(path)
        names = [module_name(path).rsplit(".", 1)[-1]]
        names += [owner.name for owner in classes(tree)]
        names += [name.rsplit(".", 1)[-1] for name, _ in functions(tree)]
        for name in names:
            words = "".join(f"_{c}" if c.isupper() else c for c in name).lower().split("_")
            if VAGUE_WORDS & set(words):
                found.add(f"{module_name(path)}.{name}")
    assert found == VAGUE_NAMES
