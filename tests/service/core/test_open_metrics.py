"""Text that the parser of the reference implementation reads back as what was written."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from burrline_service.core.open_metrics import Family, Kind, Sample, exposition


@settings(max_examples=30, deadline=None)
@given(
    st.text('ab"\\\n{}=, é\u2028', max_size=12),
    st.floats(allow_nan=False),
    st.text('x\n\\"', max_size=5),
)
def test_labels_and_numbers_come_back_as_they_were(value: str, number: float, about: str) -> None:
    text = exposition([Family("heat", "gauge", about, samples=[Sample(number, (("at", value),))])])
    (family,) = text_string_to_metric_families(text)
    (sample,) = family.samples
    assert (sample.labels, sample.value) == ({"at": value}, number)


def test_each_kind_is_written_with_its_unit_before_its_help() -> None:
    text = exposition(
        [
            Family("a_seconds", "counter", "A.", "seconds", [Sample(2, (), "_total")]),
            Family("b", "gauge", "B.", samples=[Sample(-1.5), Sample(math.inf, (("c", "d"),))]),
            Family("e", "info", "E.", samples=[Sample(1, (("f", "g"),), "_info")]),
            Family(
                "h_grams",
                "summary",
                "H.",
                "grams",
                [Sample(3, (), "_count"), Sample(0.5, (), "_sum")],
            ),
            Family("nothing", "gauge", "N."),
        ]
    )
    assert text.startswith(
        "# TYPE a_seconds counter\n# UNIT a_seconds seconds\n# HELP a_seconds A.\n"
    )
    assert text.endswith("# EOF\n")
    assert [family.type for family in text_string_to_metric_families(text)] == [
        "counter", "gauge", "info", "summary", "gauge",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "name", "unit", "samples"),
    [
        ("gauge", "Bad", "", []),
        ("gauge", "heat", "celsius", []),
        ("counter", "c", "", [Sample(1)]),
        ("counter", "c", "", [Sample(-1, (), "_total")]),
        ("counter", "c", "", [Sample(math.nan, (), "_total")]),
        ("gauge", "g", "", [Sample(1, (), "_total")]),
        ("gauge", "g", "", [Sample(1), Sample(2)]),
        ("gauge", "g", "", [Sample(1, (("a", "b"), ("a", "c")))]),
        ("gauge", "g", "", [Sample(1, (("A b", "c"),))]),
    ],
)
def test_what_could_not_be_read_back_is_not_written(
    kind: Kind, name: str, unit: str, samples: list[Sample]
) -> None:
    with pytest.raises(ValueError):
        exposition([Family(name, kind, "x", unit, samples)])


def test_a_name_is_written_once() -> None:
    with pytest.raises(ValueError, match="twice"):
        exposition([Family("a", "gauge", "A."), Family("a", "gauge", "A.")])
