"""The verb ``apply``: make the service's sites, grinders and burr sets what a file says."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from burrline import errors
from burrline._convert import UNSET, Model, parse_instant
from burrline._fleet import IDS, MEMBERS, Thing, Unreadable, read_fleet
from burrline._plate import Member, flattened, nested
from burrline._terminal import (
    EX_DATAERR,
    EX_OK,
    Stop,
    Verbs,
    complain,
    content_of,
    instant,
    say,
    say_json,
)
from burrline.client import Client

CREATED, UPDATED, UNCHANGED, FAILED = "created", "updated", "unchanged", "failed"
COLUMN_HELP = "\n".join(
    f"  {member.name:<27}{member.meaning}" for kind in MEMBERS.values() for member in kind
)
MORE = f"""\
The first line names the columns, in any order; of these only site_id is needed. A line is about
the site it names; with a grinder_id also about that grinder there, with a burr_set_id also about
the set that is in it. An empty cell leaves things as they are, "-" takes away what is recorded.
Lines that begin with # are passed over. Cells may be parted by ";" instead of ",".

columns:
  {", ".join(IDS)}
{COLUMN_HELP}
  {"fitted_at":<27}when the set was fitted (RFC 3339); left out: as recorded, else now

A new site needs site_name and time_zone, a new grinder its name, a new burr set geometry and
prior_grams. Nothing is ever taken out for not being in the file, and applying a file again
changes nothing. A file with a faulty line is not applied at all; what the service refuses is
told, and the rest goes on.
"""


def add(verbs: Verbs) -> None:
    made = verbs.add(
        "apply", _apply, "Make sites, grinders and burr sets what a CSV file says.", more=MORE
    )
    made.add_argument("file", metavar="FILE", help="the CSV file; - for stdin")
    made.add_argument("--dry-run", action="store_true", help="say what would be done, change none")
    made.add_argument(
        "--effective-at",
        type=instant,
        metavar="INSTANT",
        help="from when on changes of sites and grinders hold; default now",
    )


def _apply(client: Client, options: argparse.Namespace) -> int:
    try:
        things, faults = read_fleet(content_of(options.file))
    except Unreadable as error:
        raise Stop(EX_DATAERR, f"burrline: {options.file}: {error}") from None
    for number, detail in faults:
        complain(f"line {number}: {detail}")
    if faults:
        raise Stop(EX_DATAERR, f"burrline: {options.file}: nothing was applied")
    fleet = Fleet(client, is_dry=options.dry_run, effective_at=options.effective_at)
    done: list[dict[str, Any]] = []
    for thing in things:
        entry = {"line": thing.line, "noun": thing.noun, "name": thing.name}
        try:
            outcome, detail = fleet.make(thing)
        except (errors.ClientError, ValueError) as error:
            if isinstance(error, (errors.AuthenticationError, errors.RateLimited)):
                raise
            outcome, detail = FAILED, str(error)
            complain(f"line {thing.line}: {thing.noun} {thing.name}: {detail}")
        else:
            if not options.json:
                words = f" ({detail})" if detail else ""
                would = "would be " if options.dry_run and outcome != UNCHANGED else ""
                say(f"line {thing.line}: {thing.noun} {thing.name} {would}{outcome}{words}")
        done.append({**entry, "outcome": outcome, "detail": detail})
    counts = Counter(entry["outcome"] for entry in done)
    if options.json:
        say_json({"is_dry_run": options.dry_run, "done": done})
    else:
        told = (f"{counts[one]} {one}" for one in (CREATED, UPDATED, UNCHANGED, FAILED))
        say(", ".join(told) + (" (dry run: nothing was changed)" if options.dry_run else ""))
    return EX_DATAERR if counts[FAILED] else EX_OK


class Fleet:
    """What is there, compared with what should be."""

    def __init__(self, client: Client, *, is_dry: bool, effective_at: Any) -> None:
        self._client, self._is_dry = client, is_dry
        self._dated = {} if effective_at is None else {"effective_at": effective_at}
        self._to_come: set[tuple[str, str]] = set()

    def make(self, thing: Thing) -> tuple[str, str]:
        """Create or change a thing where need be; what was done, and with which members."""
        act: dict[str, Callable[[Thing], tuple[str, str]]] = {
            "site": self._site,
            "grinder": self._grinder,
            "burr set": self._burr_set,
        }
        return act[thing.noun](thing)

    def _site(self, thing: Thing) -> tuple[str, str]:
        held = self._held(thing, self._client.get_site)
        if held is None:
            need(thing, "site_name", "time_zone")
            given = _nested(thing)
            return self._create(
                thing, lambda: self._client.create_site(site_id=thing.name, **given)
            )
        changed = _different(held, thing)
        patch = {**nested(changed, MEMBERS["site"]), **self._dated}
        return self._update(
            changed, lambda: self._client.update_site(thing.name, patch, if_match=held)
        )

    def _grinder(self, thing: Thing) -> tuple[str, str]:
        assert thing.place is not None
        held = self._held(thing, self._client.get_grinder)
        if held is None:
            need(thing, "name")
            self._need_place("site", thing.place, self._client.get_site)
            given = {**_nested(thing), "site_id": thing.place}
            return self._create(
                thing, lambda: self._client.create_grinder(grinder_id=thing.name, **given)
            )
        changed = _different(held, thing)
        patch = {**nested(changed, MEMBERS["grinder"]), **self._dated}
        if held.to_json()["site_id"] != thing.place:
            changed["site_id"] = patch["site_id"] = thing.place
        return self._update(
            changed, lambda: self._client.update_grinder(thing.name, patch, if_match=held)
        )

    def _burr_set(self, thing: Thing) -> tuple[str, str]:
        assert thing.place is not None
        held = self._held(thing, self._client.get_burr_set)
        fitted_at = None if thing.fitted_at is None else parse_instant(thing.fitted_at)
        if held is None:
            need(thing, "geometry")
            if "prior_grams" not in thing.values:
                raise ValueError("prior_grams is needed for a new burr set (or unknown)")
            self._need_place("grinder", thing.place, self._client.get_grinder)
            given = {**_nested(thing), "prior_grams": thing.values["prior_grams"]}
            return self._create(
                thing,
                lambda: self._client.fit_burr_set(
                    thing.place or "", burr_set_id=thing.name, fitted_at=fitted_at, **given
                ),
            )
        before = held.to_json()
        if before["voided_at"] is not None:
            raise ValueError("was voided; another one needs another id")
        changed = _different(held, thing)
        patch = nested(changed, MEMBERS["burr set"])
        stays, is_to_fit = _stays(before["fittings"], thing)
        if stays is not None:
            changed["fitted_at"] = thing.fitted_at
            patch["fittings"] = stays
        if is_to_fit:
            changed["grinder_id"] = thing.place

        def update() -> None:
            if patch:
                self._client.update_burr_set(thing.name, patch, if_match=held)
            if is_to_fit:
                self._client.fit_burr_set(
                    thing.place or "",
                    burr_set_id=thing.name,
                    fitted_at=fitted_at,
                    prior_grams=UNSET,
                )

        return self._update(changed, update)

    def _held(self, thing: Thing, read: Callable[[str], Model]) -> Model | None:
        try:
            return read(thing.name)
        except errors.NotFound:
            return None

    def _need_place(self, noun: str, name: str, read: Callable[[str], Model]) -> None:
        """In a dry run: what a thing is put into is there, or would have been made before."""
        if self._is_dry and (noun, name) not in self._to_come:
            read(name)

    def _create(self, thing: Thing, create: Callable[[], object]) -> tuple[str, str]:
        self._to_come.add((thing.noun, thing.name))
        if not self._is_dry:
            create()
        return CREATED, ""

    def _update(self, changed: Mapping[str, Any], update: Callable[[], object]) -> tuple[str, str]:
        if not changed:
            return UNCHANGED, ""
        if not self._is_dry:
            update()
        return UPDATED, ", ".join(changed)


def need(thing: Thing, *names: str) -> None:
    missing = [name for name in names if thing.values.get(name) is None]
    if missing:
        raise ValueError(f"{' and '.join(missing)} needed for a new {thing.noun}")


def _nested(thing: Thing) -> dict[str, Any]:
    """The values of a new thing: there is nothing to take away yet."""
    known = {name: value for name, value in thing.values.items() if value is not None}
    return nested(known, MEMBERS[thing.noun])


def _different(held: Model, thing: Thing) -> dict[str, Any]:
    members: tuple[Member, ...] = MEMBERS[thing.noun]
    found = flattened(held.to_json(), members)
    return {name: value for name, value in thing.values.items() if found[name] != value}


def _stays(
    fittings: list[dict[str, Any]], thing: Thing
) -> tuple[list[dict[str, Any]] | None, bool]:
    """The stays with a date mended, None where there is nothing to mend; and is it to be fitted."""
    here = [stay for stay in fittings if stay["grinder_id"] == thing.place]
    open_stay = next((stay for stay in reversed(here) if stay["removed_at"] is None), None)
    if thing.fitted_at is None:
        return None, open_stay is None
    if any(stay["fitted_at"] == thing.fitted_at for stay in here):
        return None, False
    if open_stay is None:
        return None, True
    return [
        {**stay, "fitted_at": thing.fitted_at} if stay is open_stay else stay for stay in fittings
    ], False
