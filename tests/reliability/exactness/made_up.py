"""Facts drawn so that they meet: few instants, many of them on the edges that matter."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from .facts import (
    AHEAD_MS,
    BASES,
    BEGIN_MS,
    DAY,
    HOUR,
    MINUTE,
    NOW_MS,
    PURPOSES,
    SECOND,
    CorrectionFact,
    RunFact,
    Stay,
)
from .told import instant

grinder_ids = st.sampled_from(("bar-1", "bar-1", "bar-2"))
hours = st.sampled_from((*(1,) * 8, *(2,) * 3, 49, 49, 23, 24, 22, 0, 48, 72, 95, 120))
offsets = st.sampled_from(
    (0, 1, 999, 2 * SECOND, 2 * SECOND + 1, 4 * SECOND, 5 * SECOND, 8 * SECOND, 10 * SECOND,
     12 * SECOND, 30 * SECOND, 0, 5 * SECOND, 8 * MINUTE, 30 * MINUTE, 30 * MINUTE - 1,
     59 * MINUTE + 50 * SECOND, HOUR - 1)
)  # fmt: skip
instants = st.builds(lambda hour, offset: BEGIN_MS + hour * HOUR + offset, hours, offsets)
beginnings = st.just(BEGIN_MS) | instants
lengths = st.sampled_from((HOUR, DAY, 3 * HOUR + 7, 10 * SECOND, MINUTE, 7, 1))
long_lengths = st.sampled_from((None, None, DAY, HOUR, 3 * HOUR, 10 * SECOND))
sources = st.sampled_from((None, "scale", "scale", "plug", "plug"))


details = st.sampled_from(
    (
        {},
        {},
        {"motor_decicelsius": 415},
        {"motor_decicelsius": 620, "setting_milli": 5_000},
        {"setting_milli": 5_000, "coffee_lot": "K-7"},
    )
)


@st.composite
def runs(draw: st.DrawFn) -> RunFact:
    """A run, still without an id of its own."""
    at_ms = draw(instants)
    on_ms = draw(
        st.sampled_from(
            (
                8 * SECOND,
                12_345,
                None,
                2 * SECOND,
                5 * SECOND,
                None,
                100 * SECOND,
                0,
                45 * MINUTE,
                2 * HOUR + 1,
            )
        )
    )
    how = draw(st.sampled_from((*("device",) * 8, "age", "age", "received", "2019", "ahead")))
    times: dict[str, Any] = {"started_ms": at_ms, "sent_ms": NOW_MS}
    if how == "age":
        times = {"age_ms": NOW_MS - at_ms, "sent_ms": NOW_MS}
    elif how == "received":
        times = {"sent_ms": at_ms + (on_ms or 0)}
    elif how == "2019":
        times = {"started_ms": BEGIN_MS - 3000 * DAY, "sent_ms": at_ms + (on_ms or 0)}
    elif how == "ahead":
        times = {
            "started_ms": NOW_MS + AHEAD_MS + 1,
            "age_ms": NOW_MS - at_ms,
            "sent_ms": NOW_MS,
        }
    return RunFact(
        run_id="",
        grinder_id=draw(grinder_ids),
        on_ms=on_ms,
        grams_mg=draw(
            st.sampled_from((18_000, None, 18_301, 17_999, 9_000, 18_600, 25_001, 300, 0, 1))
        ),
        basis=draw(st.sampled_from(("weighed_out", *BASES))),
        purpose=draw(st.sampled_from((None, None, None, "service", "cleaning", "break_in"))),
        source=draw(sources),
        **draw(details),
        **times,
    )


period_values = st.fixed_dictionaries(
    {},
    optional={
        "purpose": st.sampled_from(("cleaning", "break_in", "purge")),
        "setting": st.sampled_from((4.8, 5.2)),
        "coffee_lot": st.sampled_from(("L-1", "L-2")),
        "rpm": st.sampled_from((900, 1400)),
        "feed": st.sampled_from(("hopper", "single_dose")),
    },
).filter(bool)
mistakes = st.sampled_from(
    (
        {"factor_ppm": 1_010_000},
        {"factor_ppm": 999_999},
        {"factor_ppm": 500_000, "offset_mg": 1},
        {"factor_ppm": 2_000_000, "clock_ms": -HOUR},
        {"offset_mg": -200},
        {"offset_mg": -18_000, "factor_ppm": 1_500_000},
        {"clock_ms": HOUR},
        {"clock_ms": -2_500},
        {"clock_ms": 1_500, "offset_mg": 300},
        {"clock_ms": -DAY},
        {"clock_ms": 30 * MINUTE, "factor_ppm": 0},
        {"is_void": True},
        {"is_void": True, "clock_ms": 4_000},
        {"is_unwatched": True},
        {"is_unwatched": True, "offset_mg": 100},
    )
)
corrections = st.builds(
    lambda at_ms, length_ms, grinder_id, source, made: CorrectionFact(
        "", grinder_id, source, at_ms, None if length_ms is None else at_ms + length_ms, **made
    ),
    beginnings,
    long_lengths,
    grinder_ids,
    st.sampled_from((None, None, None, None, "", "scale", "plug")),
    mistakes,
)
tallied_mg = st.sampled_from((999_999, 12_345_677, 1_000_000, 1, 12_345_678, 0))
bases = st.sampled_from(BASES)
purposes = st.sampled_from((*PURPOSES, "service", "cleaning"))
# Many a removal is at the very instant at which another set is fitted.
stays = st.builds(
    lambda grinder_id, at_ms, length: Stay(
        grinder_id, at_ms, None if length is None else at_ms + length
    ),
    grinder_ids,
    instants,
    st.sampled_from((None, None, HOUR, HOUR, DAY, 5 * SECOND, 5 * SECOND + 3)),
)
plate_changes = st.one_of(
    st.builds(
        lambda flow: (("grind", {"expected_grams_per_second": flow}),),
        st.sampled_from((1.5, 2.5)),
    ),
    st.builds(
        lambda seconds: (
            ("rated_duty", {"kind": "intermittent", "on_seconds": 60.0, "cycle_seconds": seconds}),
        ),
        st.sampled_from((120.0, 600.0)),
    ),
    st.builds(lambda site_id: (("site_id", site_id),), st.sampled_from(("mill-lane", "quay"))),
    st.builds(
        lambda from_ms, length: (
            (
                "out_of_service",
                [
                    {
                        "from": instant(from_ms),
                        "to": None if length is None else instant(from_ms + length),
                    }
                ],
            ),
        ),
        instants,
        st.one_of(st.none(), lengths),
    ),
)
site_changes = st.one_of(
    st.builds(
        lambda zone: (("time_zone", zone),),
        st.sampled_from(("America/St_Johns", "Asia/Kolkata", "Europe/Berlin")),
    ),
    st.builds(
        lambda hours: (("opening_hours", hours),),
        st.sampled_from(
            (
                None,
                {"sat": [["22:00", "04:00"]], "sun": [["08:15", "20:00"]]},
            )
        ),
    ),
    st.builds(lambda days: (("closed_days", days),), st.sampled_from(([], ["2026-03-28"]))),
)
changes = st.tuples(grinder_ids, plate_changes) | st.tuples(
    st.sampled_from(("mill-lane", "quay")), site_changes
)
