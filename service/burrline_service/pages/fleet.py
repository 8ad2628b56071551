"""The fleet page: every grinder's kilograms, duty, motor and break-in on one sheet."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, render_template, request

from ..actions import Database, access, places, report
from ..core.answers import Status
from ..core.errors import ScopeMissing, Unauthenticated
from ..core.records import Caller, Site
from . import words

PAGE_COUNT = 200
POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)


def make_blueprint(database: Database, *, clock: Callable[[], datetime]) -> Blueprint:
    blueprint = Blueprint(
        "pages", __name__, template_folder="templates", static_folder="static",
        static_url_path="/static",
    )  # fmt: skip

    @blueprint.get("/")
    def fleet() -> Response:
        now = clock()
        try:
            caller = _caller(database, now)
        except (Unauthenticated, ScopeMissing) as refusal:
            return _ask_for_key(str(refusal))
        sites = _all_sites(database, caller, now)
        # U+0000 names nothing and PostgreSQL takes it in no text
        chosen = request.args.get("site_id", "").replace("\0", "") or None
        states = _all_states(database, caller, chosen, now)
        zones = {site.site_id: ZoneInfo(site.time_zone) for site in sites}
        rows = [words.row_of(state, zones.get(state.site_id), now=now) for state in states]
        rows.sort(key=lambda row: (-row.urgency, row.site_id, row.grinder_id))
        page = render_template(
            "fleet.html",
            rows=rows,
            sites=sites,
            chosen=chosen,
            now=now,
            needs_caution=any(
                state.motor.state == "over"
                or state.duty.state == "exceeded"
                or any(alert.kind == "motor_heating" for alert in state.alerts)
                for state in states
            ),
            tally=words.tally_of(states),
        )
        return _sealed(Response(page, mimetype="text/html"))

    return blueprint


def _caller(database: Database, now: datetime) -> Caller:
    given = request.authorization
    if given is None or given.type != "basic" or not given.password:
        raise Unauthenticated("Sign in with a key as the password; the user name does not matter.")
    caller = access.authenticate(database, credential=given.password, now=now)
    if "read" not in caller.scopes:
        raise ScopeMissing("read")
    return caller


def _all_sites(database: Database, caller: Caller, now: datetime) -> list[Site]:
    sites: list[Site] = []
    position = None
    while True:
        page = places.list_sites(database, caller, limit=PAGE_COUNT, position=position, now=now)
        sites += page.items
        position = page.next_position
        if position is None:
            return sites


def _all_states(
    database: Database, caller: Caller, site_id: str | None, now: datetime
) -> list[Status]:
    states: list[Status] = []
    position = None
    while True:
        page = report.get_fleet(
            database, caller, site_id=site_id, limit=PAGE_COUNT, position=position, now=now
        )
        states += page.items
        position = page.next_position
        if position is None:
            return states


def _ask_for_key(detail: str) -> Response:
    page = render_template("sign_in.html", detail=detail)
    response = _sealed(Response(page, status=401, mimetype="text/html"))
    response.headers["WWW-Authenticate"] = 'Basic realm="burrline", charset="UTF-8"'
    return response


def _sealed(response: Response) -> Response:
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    return response
