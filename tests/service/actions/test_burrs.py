"""Kilograms follow the burr set: wherever it goes, and whenever somebody says where it was."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from burrline_service.actions import burrs
from burrline_service.core.errors import (
    AlreadyExists,
    FittingsOverlap,
    Invalid,
    NotFound,
    OutOfReach,
    RevisionMismatch,
    RevisionRequired,
)
from burrline_service.core.records import BurrSet, Caller, Fitting
from burrline_service.store.database import Database
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    a_run,
    fit,
    make_grinder,
    make_site,
    new_account,
    new_chain,
    send,
    status,
    status_text,
)

ANY = frozenset({-1})
SLOW = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
BEGUN_AT = NOW - 4 * DAY
GRINDERS = ("bar-1", "bar-2")
SETS = ("a", "b", "c")


def patch(
    database: Database,
    caller: Caller,
    burr_set_id: str,
    fields: dict[str, Any],
    *,
    if_match: frozenset[int] | None = ANY,
    now: datetime = NOW,
) -> BurrSet:
    return burrs.update_burr_set(
        database, caller, burr_set_id=burr_set_id, fields=fields, if_match=if_match, now=now
    )


def stays(*entered: tuple[str, datetime, datetime | None]) -> dict[str, Any]:
    return {
        "fittings": [
            {"grinder_id": grinder_id, "fitted_at": fitted_at, "removed_at": removed_at}
            for grinder_id, fitted_at, removed_at in entered
        ]
    }


def grams(database: Database, caller: Caller, grinder_id: str = "bar-1", **more: Any) -> Any:
    found = status(database, caller, grinder_id, **more).throughput
    return found.burr_set_id, found.burr_grams


# --- one set after another ------------------------------------------------------------------------


def test_without_a_set_nothing_is_said_of_burrs(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW - HOUR)])
    found = status(database, caller)
    assert found.throughput.burr_set_id is None
    assert found.throughput.burr_grams is None
    assert found.throughput.grinder_grams == 18.0
    assert found.break_in.verdict == "no_burr_set"


def test_fitting_a_set_closes_the_one_before(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 2 * DAY)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    found = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    assert found.fittings == (Fitting("bar-1", NOW - 2 * DAY, NOW - DAY, True),)
    page = burrs.list_burr_sets(
        database, caller, grinder_id="bar-1", limit=10, position=None, now=NOW
    )
    assert [burr_set.burr_set_id for burr_set in page.items] == ["b", "a"]


def test_a_set_fitted_late_takes_over_the_kilograms_ground_since(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    runs = [a_run(number, NOW - number * HOUR - MINUTE) for number in range(60)]
    send(database, caller, runs)
    assert grams(database, caller) == ("a", 60 * 18.0)
    fit(database, caller, "bar-1", "b", NOW - 10 * HOUR)  # told only now
    assert grams(database, caller) == ("b", 10 * 18.0)
    assert grams(database, caller, as_of=NOW - 10 * HOUR - MINUTE) == ("a", 50 * 18.0)


def test_a_set_takes_its_kilograms_to_another_grinder_and_back(database: Database) -> None:
    caller = new_chain(database, *GRINDERS)
    fit(database, caller, "bar-1", "a", NOW - 10 * HOUR, prior_grams=5000.0)
    fit(database, caller, "bar-2", "a", NOW - 6 * HOUR, is_new=False)
    fit(database, caller, "bar-1", "a", NOW - 2 * HOUR, is_new=False)
    for number in range(10):
        at = NOW - number * HOUR - MINUTE
        send(
            database,
            caller,
            [
                a_run(number, at, grams=1.0),
                a_run(100 + number, at, grams=100.0, grinder_id="bar-2"),
            ],
        )
    assert grams(database, caller) == ("a", 2 * 1.0 + 4 * 100.0 + 4 * 1.0)
    assert status(database, caller).throughput.total_burr_grams == 5406.0
    assert grams(database, caller, "bar-2") == (None, None)
    assert grams(database, caller, "bar-2", as_of=NOW - 4 * HOUR) == ("a", 2 * 100.0 + 4 * 1.0)


def test_cleaning_counts_for_the_motor_and_not_for_the_burrs(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - DAY)
    send(
        database,
        caller,
        [a_run(1, NOW - HOUR), a_run(2, NOW - HOUR + MINUTE, purpose="cleaning", grams=40.0)],
    )
    found = status(database, caller).throughput
    assert (found.burr_grams, found.burr_run_count, found.grinder_grams) == (18.0, 1, 18.0)
    assert found.today_grams == 18.0
    assert found.grinder_run_seconds == 16.0


def test_an_unknown_prior_leaves_the_total_unknown(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - DAY, prior_grams=None)
    send(database, caller, [a_run(1, NOW - HOUR)])
    found = status(database, caller).throughput
    assert (found.burr_grams, found.total_burr_grams) == (18.0, None)


# --- any history ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Entered:
    grinder_id: str
    burr_set_id: str
    hour: int
    removed_hour: int | None


histories = st.lists(
    st.builds(
        lambda grinder, burr_set, hour, stay: Entered(
            grinder, burr_set, hour, None if stay is None else hour + stay
        ),
        st.sampled_from(GRINDERS),
        st.sampled_from(SETS),
        st.integers(0, 85),
        st.none() | st.integers(1, 9),
    ),
    min_size=1,
    max_size=6,
    unique_by=(
        lambda entered: (entered.grinder_id, entered.hour),
        lambda entered: (entered.burr_set_id, entered.hour),
    ),
)


def instant(hour: int) -> datetime:
    """Odd minutes, so that no change falls on the border of an hour."""
    return BEGUN_AT + timedelta(hours=hour, minutes=17, milliseconds=1)


def model(history: list[Entered], grinder_id: str, at: datetime) -> str | None:
    """Which set is in a grinder: the last word about the grinder and about the set, not undone."""
    begun = [entered for entered in history if instant(entered.hour) <= at]
    for entered in begun:
        last_of_grinder = max(
            (other for other in begun if other.grinder_id == grinder_id),
            key=lambda other: other.hour,
            default=None,
        )
        last_of_set = max(
            (other for other in begun if other.burr_set_id == entered.burr_set_id),
            key=lambda other: other.hour,
        )
        if entered is last_of_grinder and entered is last_of_set:
            gone = entered.removed_hour
            return None if gone is not None and instant(gone) <= at else entered.burr_set_id
    return None


@SLOW
@given(history=histories, order=st.randoms(use_true_random=False), data=st.data())
def test_kilograms_per_set_are_those_of_a_model_that_asks_for_each_run_where_it_fell(
    database: Database, history: list[Entered], order: Any, data: st.DataObject
) -> None:
    caller = new_chain(database, *GRINDERS)
    runs = [
        a_run(
            number,
            instant(data.draw(st.integers(0, 94)))
            + timedelta(milliseconds=data.draw(st.sampled_from([-1, 0, 1, 1_800_000]))),
            grams=float(2 ** (number % 12)),
            grinder_id=GRINDERS[number % 2],
        )
        for number in range(24)
    ]
    send(database, caller, runs[:12])
    entering = list(history)
    order.shuffle(entering)
    known: set[str] = set()
    is_consistent = True
    for entered in entering:
        try:
            fit(
                database,
                caller,
                entered.grinder_id,
                entered.burr_set_id,
                instant(entered.hour),
                is_new=entered.burr_set_id not in known,
            )
            known.add(entered.burr_set_id)
            if entered.removed_hour is not None:
                found = burrs.get_burr_set(
                    database, caller, burr_set_id=entered.burr_set_id, now=NOW
                )
                mended = [
                    (
                        stay.grinder_id,
                        stay.fitted_at,
                        instant(entered.removed_hour)
                        if stay.fitted_at == instant(entered.hour)
                        else stay.removed_at,
                    )
                    for stay in found.fittings
                ]
                patch(database, caller, entered.burr_set_id, stays(*mended))
        except FittingsOverlap:
            is_consistent = False
            break
    send(database, caller, runs[12:])
    if not is_consistent:
        return
    for grinder_id in GRINDERS:
        for at in (NOW, instant(40), instant(41) - timedelta(milliseconds=1)):
            current = model(history, grinder_id, at)
            expected = sum(
                run.grams or 0.0
                for run in runs
                if run.started_at is not None
                and run.started_at <= at
                and model(history, run.grinder_id, run.started_at) == current
            )
            found = grams(database, caller, grinder_id, as_of=at)
            assert found == (current, None if current is None else expected)


# --- mending --------------------------------------------------------------------------------------


def test_a_mended_date_moves_the_runs_it_should(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    fit(database, caller, "bar-1", "b", NOW - 8 * HOUR)
    send(database, caller, [a_run(number, NOW - number * HOUR - MINUTE) for number in range(24)])
    assert grams(database, caller) == ("b", 8 * 18.0)
    mended = patch(database, caller, "b", stays(("bar-1", NOW - 20 * HOUR, None)))
    assert mended.fittings == (Fitting("bar-1", NOW - 20 * HOUR, None),)
    assert grams(database, caller) == ("b", 20 * 18.0)
    assert grams(database, caller, as_of=NOW - 21 * HOUR) == ("a", 3 * 18.0)
    first = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    assert first.fittings == (Fitting("bar-1", NOW - 3 * DAY, NOW - 20 * HOUR, True),)


def test_a_set_can_be_taken_out_and_never_have_been_in(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    send(database, caller, [a_run(number, NOW - number * HOUR - MINUTE) for number in range(48)])
    patch(database, caller, "b", stays(("bar-1", NOW - DAY, NOW - 12 * HOUR)))
    assert grams(database, caller) == (None, None)
    assert patch(database, caller, "b", stays()).fittings == ()
    assert grams(database, caller) == ("a", 48 * 18.0)


def test_sending_back_what_was_read_changes_nothing_and_freezes_nothing(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    send(database, caller, [a_run(number, NOW - number * HOUR - MINUTE) for number in range(48)])
    before = status_text(status(database, caller))
    read = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    same = {"fittings": [asdict(stay) for stay in read.fittings]}
    assert patch(database, caller, "a", same).fittings == read.fittings
    assert status_text(status(database, caller)) == before
    # the end that was read was the other set's doing, and goes with it
    patch(database, caller, "b", stays(("bar-1", NOW - 12 * HOUR, None)))
    found = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    assert found.fittings == (Fitting("bar-1", NOW - 3 * DAY, NOW - 12 * HOUR, True),)


@pytest.mark.parametrize("is_entered_first", [True, False])
def test_a_removal_that_was_entered_stays_when_the_set_fitted_then_is_voided(
    database: Database, is_entered_first: bool
) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    removed = stays(("bar-1", NOW - 3 * DAY, NOW - DAY))
    if is_entered_first:
        patch(database, caller, "a", removed)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    if not is_entered_first:
        patch(database, caller, "a", removed)
    assert burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW).fittings == (
        Fitting("bar-1", NOW - 3 * DAY, NOW - DAY, False),
    )
    burrs.void_burr_set(database, caller, burr_set_id="b", now=NOW)
    assert grams(database, caller) == (None, None)
    found = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    assert found.fittings == (Fitting("bar-1", NOW - 3 * DAY, NOW - DAY, False),)


def test_an_implied_removal_that_was_changed_is_refused_and_not_lost(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    read = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    changed = asdict(replace(read.fittings[0], removed_at=NOW - 2 * DAY))
    with pytest.raises(Invalid) as refusal:
        patch(database, caller, "a", {"fittings": [changed]})
    assert [fault.pointer for fault in refusal.value.faults] == ["/fittings/0/removed_at"]
    mended = patch(database, caller, "a", {"fittings": [{**changed, "is_removal_implied": False}]})
    assert mended.fittings == (Fitting("bar-1", NOW - 3 * DAY, NOW - 2 * DAY),)


def test_descriptions_are_merged(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - DAY, coating="none", rated_life_grams=800_000.0)
    found = patch(database, caller, "a", {"coating": None, "material": "steel"})
    assert (found.coating, found.material, found.rated_life_grams) == (None, "steel", 800_000.0)
    assert found.fittings == (Fitting("bar-1", NOW - DAY, None),)
    with pytest.raises(Invalid):
        patch(database, caller, "a", {"geometry": None})


# --- refusals -------------------------------------------------------------------------------------


def test_what_contradicts_another_fitting_is_refused_by_the_sets_own_name_and_undone(
    database: Database,
) -> None:
    caller = new_chain(database, *GRINDERS)
    fit(database, caller, "bar-1", "a", NOW - 3 * DAY)
    patch(database, caller, "a", stays(("bar-1", NOW - 3 * DAY, NOW - DAY)))
    before = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    with pytest.raises(FittingsOverlap, match="'a'"):
        fit(database, caller, "bar-1", "b", NOW - 2 * DAY)
    with pytest.raises(FittingsOverlap, match="'a'"):
        fit(database, caller, "bar-2", "a", NOW - 2 * DAY, is_new=False)
    with pytest.raises(FittingsOverlap):
        fit(database, caller, "bar-1", "b", NOW - 3 * DAY)
    assert burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW) == before
    with pytest.raises(NotFound):
        burrs.get_burr_set(database, caller, burr_set_id="b", now=NOW)
    fit(database, caller, "bar-1", "b", NOW - DAY)  # the name is free, and so is the grinder


def test_dates_to_come_and_backward_stays_are_refused(database: Database) -> None:
    caller = new_chain(database)
    with pytest.raises(Invalid) as refusal:
        fit(database, caller, "bar-1", "a", NOW + MINUTE)
    assert [fault.pointer for fault in refusal.value.faults] == ["/fitted_at"]
    fit(database, caller, "bar-1", "a", NOW - DAY)
    with pytest.raises(Invalid) as refusal:
        patch(database, caller, "a", stays(("bar-1", NOW - DAY, NOW + MINUTE)))
    assert [fault.pointer for fault in refusal.value.faults] == ["/fittings/0/removed_at"]
    with pytest.raises(Invalid):
        patch(database, caller, "a", stays(("bar-1", NOW - DAY, NOW - DAY)))
    with pytest.raises(Invalid):
        patch(database, caller, "a", stays(("nowhere", NOW - DAY, None)))


def test_unknown_and_taken_names_are_refused(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - DAY)
    with pytest.raises(AlreadyExists):
        fit(database, caller, "bar-1", "a", NOW - HOUR)
    with pytest.raises(NotFound):
        fit(database, caller, "bar-1", "z", NOW - HOUR, is_new=False)
    with pytest.raises(NotFound):
        fit(database, caller, "nowhere", "b", NOW - HOUR)


def test_a_set_without_a_name_gets_one(database: Database) -> None:
    caller = new_chain(database)
    fields = {"geometry": "conical", "prior_grams": None, "fitted_at": NOW - DAY}
    made = burrs.fit_burr_set(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    again = burrs.get_burr_set(database, caller, burr_set_id=made.burr_set_id, now=NOW)
    assert again == made
    assert made.burr_set_id


def test_a_change_needs_the_current_revision(database: Database) -> None:
    caller = new_chain(database)
    made = fit(database, caller, "bar-1", "a", NOW - DAY)
    with pytest.raises(RevisionRequired):
        patch(database, caller, "a", {"material": "steel"}, if_match=None)
    current = frozenset({made.revision})
    changed = patch(database, caller, "a", {"material": "steel"}, if_match=current)
    assert changed.revision > made.revision
    for stale in (current, frozenset[int]()):
        with pytest.raises(RevisionMismatch):
            patch(database, caller, "a", {"material": "iron"}, if_match=stale)


def test_a_neighbour_whose_stay_another_set_ended_has_changed(database: Database) -> None:
    caller = new_chain(database)
    made = fit(database, caller, "bar-1", "a", NOW - 2 * DAY)
    fit(database, caller, "bar-1", "b", NOW - DAY)
    with pytest.raises(RevisionMismatch):
        patch(database, caller, "a", {"material": "x"}, if_match=frozenset({made.revision}))


# --- reach ----------------------------------------------------------------------------------------


def test_a_bound_key_sees_the_sets_of_its_own_grinders_only(database: Database) -> None:
    caller = new_chain(database, "bar-1")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    fit(database, caller, "bar-1", "a", NOW - DAY)
    fit(database, caller, "bar-9", "b", NOW - DAY)
    for bound in (
        replace(caller, site_ids=frozenset({"harbour"})),
        replace(caller, grinder_ids=frozenset({"bar-9"})),
    ):
        assert burrs.get_burr_set(database, bound, burr_set_id="b", now=NOW).burr_set_id == "b"
        with pytest.raises(NotFound):
            burrs.get_burr_set(database, bound, burr_set_id="a", now=NOW)
        with pytest.raises(NotFound):
            patch(database, bound, "a", {"material": "steel"})
        with pytest.raises(NotFound):
            fit(database, bound, "bar-9", "a", NOW - HOUR, is_new=False)
        with pytest.raises(NotFound):
            fit(database, bound, "bar-1", "b", NOW - HOUR, is_new=False)
        with pytest.raises(Invalid):
            patch(database, bound, "b", stays(("bar-1", NOW - HOUR, None)))
        with pytest.raises(NotFound):
            burrs.list_burr_sets(
                database, bound, grinder_id="bar-1", limit=5, position=None, now=NOW
            )


def test_a_bound_key_sees_a_sets_stays_in_its_own_grinders_alone(database: Database) -> None:
    caller = new_chain(database, "bar-1")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    fit(database, caller, "bar-1", "a", NOW - 2 * DAY)
    moved = fit(database, caller, "bar-9", "a", NOW - DAY, is_new=False)
    assert [stay.grinder_id for stay in moved.fittings] == ["bar-1", "bar-9"]
    bound = replace(caller, site_ids=frozenset({"harbour"}))
    seen = (Fitting("bar-9", NOW - DAY),)
    assert burrs.get_burr_set(database, bound, burr_set_id="a", now=NOW).fittings == seen
    page = burrs.list_burr_sets(
        database, bound, grinder_id="bar-9", limit=5, position=None, now=NOW
    )
    assert [burr_set.fittings for burr_set in page.items] == [seen]
    assert patch(database, bound, "a", {"material": "steel"}).fittings == seen
    for act in (
        lambda: patch(database, bound, "a", stays(("bar-9", NOW - DAY, None))),
        lambda: burrs.void_burr_set(database, bound, burr_set_id="a", now=NOW),
    ):
        with pytest.raises(OutOfReach) as refusal:
            act()
        assert "bar-1" not in str(refusal.value)
    kept = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    assert kept.fittings == moved.fittings


def test_voiding_a_set_again_answers_like_the_first_time(database: Database) -> None:
    caller = new_chain(database, "bar-1")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    fit(database, caller, "bar-1", "a", NOW - DAY)
    fit(database, caller, "bar-9", "b", NOW - DAY)
    bound = replace(caller, site_ids=frozenset({"mill-lane"}))
    first, again = (
        burrs.void_burr_set(database, bound, burr_set_id="a", now=NOW + later)
        for later in (timedelta(), HOUR)
    )
    assert first == again
    assert first.voided_at == NOW
    assert burrs.get_burr_set(database, bound, burr_set_id="a", now=NOW) == first
    elsewhere = replace(caller, site_ids=frozenset({"harbour"}))
    with pytest.raises(NotFound):
        burrs.void_burr_set(database, elsewhere, burr_set_id="a", now=NOW)


def test_a_stranger_finds_no_set(database: Database) -> None:
    caller, stranger = new_chain(database), new_chain(database)
    fit(database, caller, "bar-1", "a", NOW - DAY)
    with pytest.raises(NotFound):
        burrs.get_burr_set(database, stranger, burr_set_id="a", now=NOW)
    fit(database, stranger, "bar-1", "a", NOW - HOUR)  # the name is free there


@pytest.mark.parametrize("limit", [1, 2, 5])
def test_pages_of_sets_hold_each_once_latest_first(database: Database, limit: int) -> None:
    caller = new_chain(database)
    for number in range(5):
        fit(database, caller, "bar-1", f"s-{number}", NOW - DAY + number * HOUR)
    found: list[str] = []
    position: tuple[Any, ...] | None = None
    while True:
        page = burrs.list_burr_sets(
            database, caller, grinder_id="bar-1", limit=limit, position=position, now=NOW
        )
        found += [burr_set.burr_set_id for burr_set in page.items]
        position = page.next_position
        if position is None:
            break
    assert found == ["s-4", "s-3", "s-2", "s-1", "s-0"]


# --- the local day --------------------------------------------------------------------------------

# Source: the tz database (IANA), release 2026f, file ``europe``: Rule EU, last Sunday in March
# and in October at 1:00 UTC, so 2024-03-31 lasts 23 h and 2024-10-27 25 h in Berlin; file
# ``asia``: Zone Asia/Kathmandu, 5:45 ahead since 1986, whose days begin amid a UTC hour.
LOCAL_DAYS = [
    ("Europe/Berlin", datetime(2024, 3, 30, 23, tzinfo=UTC), 23),
    ("Europe/Berlin", datetime(2024, 10, 26, 22, tzinfo=UTC), 25),
    ("Europe/Berlin", datetime(2024, 10, 27, 23, tzinfo=UTC), 24),
    ("Asia/Kathmandu", datetime(2024, 5, 3, 18, 15, tzinfo=UTC), 24),
]


@pytest.mark.parametrize(("time_zone", "begins", "hours"), LOCAL_DAYS)
def test_todays_grams_are_those_of_the_sites_own_day(
    database: Database, time_zone: str, begins: datetime, hours: int
) -> None:
    caller = new_account(database)
    make_site(database, caller, time_zone=time_zone)
    make_grinder(database, caller)
    ends = begins + hours * HOUR
    tick = timedelta(milliseconds=1)
    instants = [begins - tick, begins, begins + HOUR, ends - HOUR, ends - tick, ends]
    send(
        database,
        caller,
        [a_run(number, at, grams=float(10**number)) for number, at in enumerate(instants)],
    )

    def today_grams(at: datetime) -> float:
        return status(database, caller, as_of=at).throughput.today_grams

    assert today_grams(begins - tick) == 1.0
    assert today_grams(begins) == 10.0
    assert today_grams(ends - tick) == 11110.0
    assert today_grams(ends) == 100000.0
