"""The client's other methods: changes with etags, pages, paths, answers that do not fit."""

from __future__ import annotations

import itertools
import json
import pickle
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
import responses

from burrline import Client, Page, errors, models

URL = "http://burrline.test:8460"
SITE = {
    "site_id": "mill-lane",
    "name": "Mill Lane",
    "time_zone": "Europe/Oslo",
    "opening_hours": None,
    "closed_days": [],
    "created_at": "2026-03-01T08:30:00.000Z",
}
KEY_ANSWER = {
    "key_id": "Qm3xT9Lk",
    "name": "scale",
    "scopes": ["read"],
    "site_ids": [],
    "grinder_ids": [],
    "last_four": "wxyz",
    "created_at": "2026-03-01T08:30:00.000Z",
    "expires_at": None,
    "revoked_at": None,
    "last_used_at": None,
}


def site(number: int) -> dict[str, str]:
    return {**SITE, "site_id": f"site-{number}"}


# --- changes ------------------------------------------------------------------------------------


def test_a_change_without_an_etag_reads_first_and_changes_what_it_read(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites/mill-lane", json=SITE, headers={"ETag": '"r17"'})
    wire.patch(
        f"{URL}/v1/sites/mill-lane", json={**SITE, "name": "Lane"}, headers={"ETag": '"r18"'}
    )
    changed = client.update_site("mill-lane", name="Lane")
    assert (changed.name, changed.etag) == ("Lane", '"r18"')
    patch = wire.calls[1].request
    assert patch.headers["If-Match"] == '"r17"'
    assert patch.headers["Content-Type"] == "application/merge-patch+json"
    assert json.loads(patch.body or b"") == {"name": "Lane"}


@pytest.mark.parametrize("given", ['"r17"', "r17", 17, "model"])
def test_a_change_takes_an_etag_a_revision_or_what_was_read(
    given: Any, client: Client, wire: responses.RequestsMock
) -> None:
    if given == "model":
        given = models.Site.from_json(SITE, etag='"r17"')
    wire.patch(f"{URL}/v1/sites/mill-lane", json=SITE, headers={"ETag": '"r18"'})
    client.update_site("mill-lane", {"name": "Lane"}, if_match=given)
    assert [call.request.method for call in wire.calls] == ["PATCH"]
    assert wire.calls[0].request.headers["If-Match"] == '"r17"'


def test_a_model_out_of_a_list_has_no_etag_and_says_so(client: Client) -> None:
    with pytest.raises(ValueError, match="this Site has no etag"):
        client.update_site("mill-lane", name="Lane", if_match=models.Site.from_json(SITE))


def test_null_clears_and_what_a_model_does_not_know_is_left_alone(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.patch(f"{URL}/v1/grinders/bar-1", status=412, json={"title": "changed"})
    with pytest.raises(errors.PreconditionFailed):
        client.update_grinder(
            "bar-1",
            {"serial": None},
            if_match=3,
            motor=models.Motor(sensor="housing", limit_celsius=75.0),
            effective_at=datetime(2026, 3, 1, tzinfo=UTC),
        )
    assert json.loads(wire.calls[0].request.body or b"") == {
        "serial": None,
        "motor": {"sensor": "housing", "limit_celsius": 75.0},
        "effective_at": "2026-03-01T00:00:00.000Z",
    }


def test_fittings_are_replaced_as_a_whole(client: Client, wire: responses.RequestsMock) -> None:
    wire.patch(f"{URL}/v1/burr-sets/flat-64-a", status=409, json={"title": "overlap"})
    fitted_at = datetime(2026, 3, 1, tzinfo=UTC)
    with pytest.raises(errors.Conflict):
        client.update_burr_set(
            "flat-64-a",
            if_match=1,
            fittings=[{"grinder_id": "bar-1", "fitted_at": fitted_at, "removed_at": None}],
        )
    assert json.loads(wire.calls[0].request.body or b"") == {
        "fittings": [
            {"grinder_id": "bar-1", "fitted_at": "2026-03-01T00:00:00.000Z", "removed_at": None}
        ]
    }


def test_a_burr_sets_prior_grams_may_be_unknown_but_not_forgotten(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.post(f"{URL}/v1/grinders/bar-1/burr-sets", status=422, json={"title": "invalid"})
    for given in ({"geometry": "flat", "prior_grams": None}, {"burr_set_id": "flat-64-a"}):
        with pytest.raises(errors.ValidationFailed):
            client.fit_burr_set("bar-1", **given)  # type: ignore[arg-type]
    bodies = [json.loads(call.request.body or b"") for call in wire.calls]
    assert bodies == [{"geometry": "flat", "prior_grams": None}, {"burr_set_id": "flat-64-a"}]


def test_a_new_key_comes_with_its_secret_and_a_revoked_one_without(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.post(f"{URL}/v1/keys", json={**KEY_ANSWER, "secret": "burrline_x"}, status=201)
    wire.delete(f"{URL}/v1/keys/Qm3xT9Lk", json=KEY_ANSWER)
    made = client.create_key(name="scale", scopes={"read", "manage"}, site_ids=("mill-lane",))
    assert made.secret == "burrline_x"
    assert json.loads(wire.calls[0].request.body or b"") == {
        "name": "scale",
        "scopes": ["manage", "read"],
        "site_ids": ["mill-lane"],
    }
    assert client.revoke_key("Qm3xT9Lk").key_id == "Qm3xT9Lk"


# --- pages --------------------------------------------------------------------------------------


def three_pages(wire: responses.RequestsMock) -> None:
    pages = {
        None: ([site(1), site(2)], "c1"),
        "c1": ([], "c2"),
        "c2": ([site(3)], None),
    }
    for cursor, (items, next_cursor) in pages.items():
        query = {"limit": "2", **({"cursor": cursor} if cursor else {})}
        wire.get(
            f"{URL}/v1/sites",
            json={"items": items, "next_cursor": next_cursor},
            match=[responses.matchers.query_param_matcher(query)],
        )


def test_iterating_walks_all_pages_and_asks_for_each_when_it_is_reached(
    client: Client, wire: responses.RequestsMock
) -> None:
    three_pages(wire)
    page = client.list_sites(limit=2)
    assert isinstance(page, Page)
    assert [one.site_id for one in page.items] == ["site-1", "site-2"]
    walk = iter(page)
    next(walk)
    next(walk)
    assert len(wire.calls) == 1
    assert [one.site_id for one in walk] == ["site-3"]
    assert len(wire.calls) == 3
    assert [one.site_id for one in page] == ["site-1", "site-2", "site-3"]


def test_pages_can_be_walked_by_hand(client: Client, wire: responses.RequestsMock) -> None:
    three_pages(wire)
    page: Page[models.Site] | None = client.list_sites(limit=2)
    found = []
    while page is not None:
        found.append((len(page.items), page.next_cursor))
        page = page.next_page()
    assert found == [(2, "c1"), (0, "c2"), (1, None)]
    assert client.list_sites(limit=2, cursor="c2").items[0].site_id == "site-3"


def test_a_list_that_goes_round_in_circles_is_an_error(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites", json={"items": [site(1)], "next_cursor": "again"})
    with pytest.raises(errors.TransportError, match="a cursor came twice"):
        list(itertools.islice(client.list_sites(), 10))


def test_a_filter_goes_with_every_page(client: Client, wire: responses.RequestsMock) -> None:
    wire.get(
        f"{URL}/v1/grinders",
        json={"items": [], "next_cursor": "c1"},
        match=[responses.matchers.query_param_matcher({"site_id": "mill-lane"})],
    )
    wire.get(
        f"{URL}/v1/grinders",
        json={"items": [], "next_cursor": None},
        match=[responses.matchers.query_param_matcher({"site_id": "mill-lane", "cursor": "c1"})],
    )
    assert list(client.list_grinders(site_id="mill-lane")) == []


# --- paths and answers --------------------------------------------------------------------------


def test_an_id_is_one_segment_of_the_path_whatever_it_holds(
    client: Client, wire: responses.RequestsMock
) -> None:
    for given, path in [("a/../b", "a%2F..%2Fb"), ("ä?x=1#y", "%C3%A4%3Fx%3D1%23y")]:
        wire.get(f"{URL}/v1/sites/{path}", json=SITE)
        client.get_site(given)
        assert wire.calls[-1].request.url == f"{URL}/v1/sites/{path}"


@pytest.mark.parametrize("site_id", ["", ".", ".."])
def test_an_id_that_would_be_another_path_is_refused(site_id: str, client: Client) -> None:
    with pytest.raises(ValueError, match="cannot be an id"):
        client.get_site(site_id)


def test_fields_of_a_later_service_are_kept(client: Client, wire: responses.RequestsMock) -> None:
    wire.get(f"{URL}/v1/sites/mill-lane", json={**SITE, "roof": {"colour": "red"}})
    found = client.get_site("mill-lane")
    assert found.extra == {"roof": {"colour": "red"}}
    assert found.to_json() == {**SITE, "roof": {"colour": "red"}}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": 7}, "Site.name should be a string, is int"),
        ({"created_at": "yesterday"}, "Site.created_at: not an RFC 3339 instant"),
        ({"created_at": None}, "Site.created_at should be a string, is null"),
    ],
)
def test_an_answer_that_does_not_fit_is_an_error_that_names_the_place(
    change: dict[str, Any], says: str, client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites/mill-lane", json={**SITE, **change})
    with pytest.raises(errors.TransportError, match=says) as raised:
        client.get_site("mill-lane")
    assert raised.value.status == 200


def test_a_guest_networks_json_is_not_taken_for_a_site(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites/mill-lane", json={"login": "required"})
    with pytest.raises(errors.TransportError, match=r"Site\.\w+ is missing"):
        client.get_site("mill-lane")


def test_a_status_can_be_asked_for_a_past_instant(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", status=422, json={"title": "future"})
    with pytest.raises(errors.ValidationFailed):
        client.get_status("bar-1", as_of=datetime(2026, 3, 1, tzinfo=UTC))
    assert wire.calls[0].request.params == {"as_of": "2026-03-01T00:00:00.000Z"}  # type: ignore[attr-defined]


def test_the_document_and_its_page_can_be_read(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/openapi.json", json={"openapi": "3.1.1"})
    wire.get(f"{URL}/docs", body="<!doctype html>", content_type="text/html")
    assert client.get_openapi() == {"openapi": "3.1.1"}
    assert client.get_docs() == "<!doctype html>"


def test_errors_survive_being_sent_between_processes(
    make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites/x", status=404, json={"title": "Nothing here", "detail": "No x."})
    with pytest.raises(errors.NotFound) as raised:
        make_client().get_site("x")
    copy = pickle.loads(pickle.dumps(raised.value))
    assert type(copy) is errors.NotFound
    assert (str(copy), copy.status, copy.problem) == (
        str(raised.value),
        404,
        {"title": "Nothing here", "detail": "No x."},
    )
