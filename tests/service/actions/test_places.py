"""Sites and grinders: making, finding, changing, and facts that hold from a date on."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from burrline_service.actions import places, report
from burrline_service.core.errors import (
    AlreadyExists,
    FutureInstant,
    Invalid,
    NotFound,
    OutOfReach,
    RevisionMismatch,
    RevisionRequired,
)
from burrline_service.core.records import (
    Caller,
    Grinder,
    RatedDuty,
    Site,
)
from burrline_service.store.database import Database
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    a_run,
    make_grinder,
    make_site,
    new_account,
    new_chain,
    send,
    status,
)

ANY = frozenset({-1})
SLOW = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def change(
    database: Database,
    caller: Caller,
    fields: dict[str, Any],
    *,
    grinder_id: str = "bar-1",
    if_match: frozenset[int] | None = ANY,
    now: datetime = NOW,
) -> Grinder:
    return places.update_grinder(
        database, caller, grinder_id=grinder_id, fields=fields, if_match=if_match, now=now
    )


def change_site(
    database: Database,
    caller: Caller,
    fields: dict[str, Any],
    *,
    if_match: frozenset[int] | None = ANY,
) -> Site:
    return places.update_site(
        database, caller, site_id="mill-lane", fields=fields, if_match=if_match, now=NOW
    )


# --- making ---------------------------------------------------------------------------------------


def test_a_site_and_a_grinder_are_read_as_they_were_made(database: Database) -> None:
    caller = new_account(database)
    site = make_site(database, caller)
    assert places.get_site(database, caller, site_id="mill-lane", now=NOW) == site
    made = make_grinder(
        database,
        caller,
        serial="T64-1",
        rated_duty={"kind": "intermittent", "on_seconds": 30.0, "cycle_seconds": 120.0},
        hopper_grams=None,
    )
    assert places.get_grinder(database, caller, grinder_id="bar-1", now=NOW) == made
    assert made.rated_duty == RatedDuty("intermittent", 30.0, 120.0)
    assert (made.site_id, made.serial, made.hopper_grams) == ("mill-lane", "T64-1", None)


def test_names_are_taken_once_in_an_account_and_free_in_another(database: Database) -> None:
    caller, stranger = new_chain(database), new_account(database)
    with pytest.raises(AlreadyExists):
        make_site(database, caller)
    with pytest.raises(AlreadyExists):
        make_grinder(database, caller)
    with pytest.raises(Invalid):
        make_grinder(database, stranger)
    with pytest.raises(NotFound):
        places.get_site(database, stranger, site_id="mill-lane", now=NOW)
    with pytest.raises(NotFound):
        places.get_grinder(database, stranger, grinder_id="bar-1", now=NOW)
    make_site(database, stranger)
    make_grinder(database, stranger)


@pytest.mark.parametrize("time_zone", ["Europe/Atlantis", "localtime", "", "europe/dublin"])
def test_a_place_without_a_time_zone_of_the_tz_database_is_refused(
    database: Database, time_zone: str
) -> None:
    caller = new_account(database)
    with pytest.raises(Invalid):
        make_site(database, caller, time_zone=time_zone)
    make_site(database, caller)
    with pytest.raises(Invalid):
        change_site(database, caller, {"time_zone": time_zone})


def test_a_plate_that_contradicts_itself_is_not_stored(database: Database) -> None:
    caller = new_chain(database, motor={"caution_celsius": 60.0})
    with pytest.raises(Invalid):
        make_grinder(database, caller, "bar-2", rated_duty={"kind": "intermittent"})
    with pytest.raises(NotFound):
        places.get_grinder(database, caller, grinder_id="bar-2", now=NOW)
    before = places.get_grinder(database, caller, grinder_id="bar-1", now=NOW)
    with pytest.raises(Invalid):
        change(database, caller, {"motor": {"limit_celsius": 50.0}})
    assert places.get_grinder(database, caller, grinder_id="bar-1", now=NOW) == before


# --- changing -------------------------------------------------------------------------------------


def test_a_change_needs_the_current_revision(database: Database) -> None:
    caller = new_chain(database)
    for act, make in ((change, {"model": "Trial"}), (change_site, {"name": "Mill"})):
        with pytest.raises(RevisionRequired):
            act(database, caller, make, if_match=None)  # type: ignore[operator]
        for useless in (frozenset[int](), frozenset({2, 77})):
            with pytest.raises(RevisionMismatch) as refusal:
                act(database, caller, make, if_match=useless)  # type: ignore[operator]
            assert refusal.value.found_revision == 1
        assert act(database, caller, make, if_match=frozenset({9, 1})).revision == 2  # type: ignore[operator]
        assert act(database, caller, make, if_match=ANY).revision == 3  # type: ignore[operator]


def test_a_patch_is_merged_into_the_plate(database: Database) -> None:
    caller = new_chain(
        database,
        model="Trial",
        motor={"rated_watts": 350.0, "sensor": "housing"},
        hopper_grams=900.0,
    )
    found = change(
        database,
        caller,
        {"model": None, "motor": {"sensor": None, "limit_celsius": 80.0}, "name": "Bar left"},
    )
    assert (found.model, found.name, found.hopper_grams) == (None, "Bar left", 900.0)
    assert found.motor is not None
    assert (found.motor.rated_watts, found.motor.sensor) == (350.0, None)
    assert found.motor.limit_celsius == 80.0
    assert change(database, caller, {"motor": None}).motor is None


def test_a_patch_of_nothing_changes_nothing_but_the_revision(database: Database) -> None:
    caller = new_chain(database, model="Trial")
    before = places.get_grinder(database, caller, grinder_id="bar-1", now=NOW)
    assert change(database, caller, {}) == replace(before, revision=2)


# --- dated facts ----------------------------------------------------------------------------------


def test_a_dated_change_holds_from_its_date_on_and_leaves_the_past(database: Database) -> None:
    caller = new_chain(database, rated_duty={"kind": "intermittent", "duty_fraction": 0.25})
    change(database, caller, {"rated_duty": {"duty_fraction": 0.4}, "effective_at": NOW - DAY})
    limits = {
        at: status(database, caller, as_of=at).duty.rated_on_seconds
        for at in (NOW - DAY - MINUTE, NOW - DAY, NOW)
    }
    # 25 % and 40 % of the default cycle of 10 min
    assert limits == {NOW - DAY - MINUTE: 150.0, NOW - DAY: 240.0, NOW: 240.0}


def test_facts_given_at_creation_hold_for_all_time_before(database: Database) -> None:
    caller = new_chain(database, rated_duty={"kind": "intermittent", "duty_fraction": 0.25})
    for at in (datetime(1900, 1, 1, tzinfo=UTC), datetime(1970, 1, 1, tzinfo=UTC)):
        assert status(database, caller, as_of=at).duty.rated_on_seconds == 150.0


@pytest.mark.parametrize("year", [1900, 1970, 2020])
def test_a_change_can_be_dated_back_without_limit(database: Database, year: int) -> None:
    caller = new_chain(database, model="Trial")
    at = datetime(year, 1, 1, tzinfo=UTC)
    found = change(database, caller, {"model": "Other", "effective_at": at})
    assert found.model == "Other"


def test_a_change_to_come_is_refused(database: Database) -> None:
    caller = new_chain(database)
    with pytest.raises(Invalid) as refusal:
        change(database, caller, {"model": "x", "effective_at": NOW + timedelta(milliseconds=1)})
    assert [fault.pointer for fault in refusal.value.faults] == ["/effective_at"]


def test_a_change_back_then_is_held_against_what_came_later(database: Database) -> None:
    caller = new_chain(database)
    change(database, caller, {"motor": {"limit_celsius": 80.0}, "effective_at": NOW - DAY})
    with pytest.raises(Invalid):
        change(
            database, caller, {"motor": {"caution_celsius": 90.0}, "effective_at": NOW - 2 * DAY}
        )
    found = change(
        database, caller, {"motor": {"caution_celsius": 70.0}, "effective_at": NOW - 2 * DAY}
    )
    assert found.motor is not None
    assert (found.motor.caution_celsius, found.motor.limit_celsius) == (70.0, 80.0)


def test_what_was_removed_and_begun_anew_at_one_instant_keeps_nothing_of_before(
    database: Database,
) -> None:
    caller = new_chain(database, motor={"rated_watts": 350.0, "sensor": "housing"})
    at = NOW - DAY
    change(database, caller, {"motor": None, "effective_at": at})
    found = change(database, caller, {"motor": {"thermal_class": 155}, "effective_at": at})
    assert found.motor is not None
    assert (found.motor.thermal_class, found.motor.rated_watts, found.motor.sensor) == (
        155, None, None,
    )  # fmt: skip


dated_patches = st.lists(
    st.tuples(
        st.integers(0, 20),
        st.fixed_dictionaries(
            {},
            optional={
                "model": st.sampled_from(["x", "y", None]),
                "hopper_grams": st.sampled_from([500.0, 900.0, None]),
                "site_id": st.sampled_from(["mill-lane", "harbour"]),
                "motor": st.none()
                | st.fixed_dictionaries(
                    {},
                    optional={
                        "rated_watts": st.sampled_from([200.0, 350.0, None]),
                        "sensor": st.sampled_from(["housing", "winding", None]),
                    },
                ),
            },
        ),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda dated: dated[0],
)


@SLOW
@given(dated=dated_patches, order=st.randoms(use_true_random=False))
def test_the_order_in_which_dated_changes_are_sent_does_not_matter(
    database: Database, dated: list[tuple[int, dict[str, Any]]], order: Any
) -> None:
    answers = []
    for is_shuffled in (False, True):
        caller = new_chain(database, motor={"rated_watts": 100.0})
        make_site(database, caller, "harbour", time_zone="Asia/Tokyo")
        send(database, caller, [a_run(number, NOW - number * HOUR) for number in range(0, 30, 3)])
        sending = sorted(dated, key=lambda one: one[0])
        if is_shuffled:
            order.shuffle(sending)
        for hours, fields in sending:
            change(database, caller, {**fields, "effective_at": NOW - (20 - hours) * HOUR})
        found = places.get_grinder(database, caller, grinder_id="bar-1", now=NOW)
        answers.append(
            (
                replace(found, revision=0),
                [
                    replace(status(database, caller, as_of=NOW - hours * HOUR), revision=0)
                    for hours in range(0, 22, 3)
                ],
            )
        )
    assert answers[0] == answers[1]


def test_a_grinder_moves_and_its_past_stays_where_it_was(database: Database) -> None:
    caller = new_chain(database)
    make_site(database, caller, "harbour", time_zone="Asia/Tokyo")
    change(database, caller, {"site_id": "harbour", "effective_at": NOW - DAY})
    assert status(database, caller, as_of=NOW - DAY - MINUTE).site_id == "mill-lane"
    assert status(database, caller).site_id == "harbour"
    with pytest.raises(Invalid):
        change(database, caller, {"site_id": "nowhere"})

    def listed(site_id: str) -> list[str]:
        page = places.list_grinders(
            database, caller, site_id=site_id, limit=10, position=None, now=NOW
        )
        return [grinder.grinder_id for grinder in page.items]

    assert (listed("harbour"), listed("mill-lane")) == (["bar-1"], [])


# --- lists and reach ------------------------------------------------------------------------------


def all_pages(act: Any, database: Database, caller: Caller, limit: int, **more: Any) -> list[Any]:
    found: list[Any] = []
    position: tuple[Any, ...] | None = None
    while True:
        page = act(database, caller, limit=limit, position=position, now=NOW, **more)
        assert len(page.items) <= limit
        found += page.items
        position = page.next_position
        if position is None:
            return found


@pytest.mark.parametrize("limit", [1, 3, 5, 6])
def test_lists_hold_each_once_in_order(database: Database, limit: int) -> None:
    ids = [f"bar-{number}" for number in range(5)]
    caller = new_chain(database, *reversed(ids))
    make_site(database, caller, "harbour")
    grinders = all_pages(places.list_grinders, database, caller, limit)
    assert [grinder.grinder_id for grinder in grinders] == ids
    sites = all_pages(places.list_sites, database, caller, limit)
    assert [site.site_id for site in sites] == ["harbour", "mill-lane"]
    fleet = all_pages(report.get_fleet, database, caller, limit)
    assert [one.grinder_id for one in fleet] == ids
    assert all_pages(report.get_fleet, database, caller, limit, site_id="harbour") == []


def test_a_bound_key_sees_and_makes_only_what_is_its_own(database: Database) -> None:
    caller = new_chain(database, "bar-1", "bar-2")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    of_site = replace(caller, site_ids=frozenset({"harbour"}))
    of_grinder = replace(caller, grinder_ids=frozenset({"bar-2"}))
    for bound, grinder_ids, site_ids in (
        (of_site, ["bar-9"], ["harbour"]),
        (of_grinder, ["bar-2"], []),
    ):
        for act in (places.list_grinders, report.get_fleet):
            found = all_pages(act, database, bound, 2)
            assert [one.grinder_id for one in found] == grinder_ids
        found = all_pages(places.list_sites, database, bound, 2)
        assert [one.site_id for one in found] == site_ids
        for act in (places.get_grinder, report.get_status):
            with pytest.raises(NotFound):
                act(database, bound, grinder_id="bar-1", now=NOW)
        with pytest.raises(NotFound):
            places.get_site(database, bound, site_id="mill-lane", now=NOW)
        with pytest.raises(OutOfReach):
            make_site(database, bound, "third")
        with pytest.raises(OutOfReach):
            make_grinder(database, bound, "bar-3", site_id="mill-lane")
        with pytest.raises(NotFound):
            change(database, bound, {"model": "x"})
    make_grinder(database, of_site, "bar-8", site_id="harbour")
    with pytest.raises(OutOfReach):
        change(database, of_site, {"site_id": "mill-lane"}, grinder_id="bar-8")


# --- questions about the past ---------------------------------------------------------------------


def test_an_instant_to_come_is_refused(database: Database) -> None:
    caller = new_chain(database)
    with pytest.raises(FutureInstant):
        status(database, caller, as_of=NOW + timedelta(milliseconds=1))
    assert status(database, caller, as_of=NOW).as_of == NOW


def test_the_fleet_says_of_each_grinder_what_its_status_says(database: Database) -> None:
    caller = new_chain(database, "bar-1", "bar-2")
    send(database, caller, [a_run(1, NOW - HOUR), a_run(2, NOW - MINUTE, grinder_id="bar-2")])
    page = report.get_fleet(database, caller, limit=10, position=None, now=NOW)
    assert list(page.items) == [status(database, caller, one) for one in ("bar-1", "bar-2")]
