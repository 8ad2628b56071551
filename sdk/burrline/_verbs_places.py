"""The verbs ``grinder`` and ``burrs``."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

from burrline._convert import UNSET, format_instant, to_json
from burrline._plate import BURR_SET, PLATE, add_clear, add_flags, flat_of, nested
from burrline._show_entries import burr_set_line, grinder_lines
from burrline._terminal import EX_DATAERR, Stop, Verbs, instant, tell, tell_all, wrong_usage
from burrline.client import Client
from burrline.models import Fitting, Span

NEVER = "none"


def add(verbs: Verbs) -> None:
    grinder = verbs.group("grinder", "Create, change or show a grinder.")
    made = grinder.add("create", _create_grinder, "Create a grinder with what its plate says.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--site", required=True, metavar="SITE", help="the site it stands at")
    _add_out_of_service(made)
    add_flags(made, PLATE)

    made = grinder.add("update", _update_grinder, "Change what is recorded of a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--site", metavar="SITE", help="the site it stands at")
    made.add_argument(
        "--effective-at", type=instant, metavar="INSTANT", help="from when on; default now"
    )
    _add_out_of_service(made)
    add_flags(made, PLATE)
    add_clear(made, PLATE)

    made = grinder.add("show", _show_grinder, "Show what is recorded of a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")

    burrs = verbs.group("burrs", "Fit, list, mend or void burr sets.")
    made = burrs.add(
        "fit",
        _fit_burrs,
        "Fit a burr set to a grinder; the one before comes out then.",
        more="A new set needs --geometry and --prior-grams, a recorded one its id alone.",
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("burr_set_id", nargs="?", metavar="SET")
    made.add_argument(
        "--fitted-at", type=instant, metavar="INSTANT", help="when it was fitted; default now"
    )
    add_flags(made, BURR_SET)

    made = burrs.add("list", _list_burrs, "List the sets that are or were in a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")

    made = burrs.add(
        "mend",
        _mend_burrs,
        "Mend a wrong date or description; the runs follow by themselves.",
        more="Dates are those of the latest stay, or of the one named by --stay.",
    )
    made.add_argument("burr_set_id", metavar="SET")
    made.add_argument("--fitted-at", type=instant, metavar="INSTANT", help="when it was fitted")
    made.add_argument(
        "--removed-at",
        type=_instant_or_never,
        metavar="INSTANT",
        help=f"when it was taken out, or {NEVER}: still in",
    )
    made.add_argument("--stay", type=int, metavar="N", help="which stay, 1 for the first")
    add_flags(made, BURR_SET)
    add_clear(made, BURR_SET)

    made = burrs.add("void", _void_burrs, "Take a set entered by mistake out of every answer.")
    made.add_argument("burr_set_id", metavar="SET")


def _add_out_of_service(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out-of-service",
        type=_stretch,
        action="append",
        default=[],
        metavar="FROM[/TO]",
        help="when it was out of service; with the FROM of one recorded, mends that",
    )


def _create_grinder(client: Client, options: argparse.Namespace) -> int:
    plate = nested(flat_of(options, PLATE), PLATE)
    if "name" not in plate:
        raise wrong_usage(options, "--name is needed")
    if options.out_of_service:
        plate["out_of_service"] = options.out_of_service
    grinder = client.create_grinder(grinder_id=options.grinder_id, site_id=options.site, **plate)
    return tell(options, grinder, f"{grinder.grinder_id} created")


def _update_grinder(client: Client, options: argparse.Namespace) -> int:
    patch = nested(flat_of(options, PLATE), PLATE)
    if options.site is not None:
        patch["site_id"] = options.site
    if not patch and not options.out_of_service:
        raise wrong_usage(options, "say what to change")
    held = client.get_grinder(options.grinder_id)
    if options.out_of_service:
        patch["out_of_service"] = _with_stretches(held.out_of_service, options.out_of_service)
    if options.effective_at is not None:
        patch["effective_at"] = options.effective_at
    grinder = client.update_grinder(options.grinder_id, patch, if_match=held)
    return tell(options, grinder, f"{grinder.grinder_id} updated")


def _show_grinder(client: Client, options: argparse.Namespace) -> int:
    grinder = client.get_grinder(options.grinder_id)
    return tell(options, grinder, grinder_lines(grinder))


def _fit_burrs(client: Client, options: argparse.Namespace) -> int:
    description = nested(flat_of(options, BURR_SET), BURR_SET)
    description.setdefault("prior_grams", UNSET)
    burr_set = client.fit_burr_set(
        options.grinder_id,
        burr_set_id=options.burr_set_id,
        fitted_at=options.fitted_at,
        **description,
    )
    return tell(options, burr_set, burr_set_line(burr_set))


def _list_burrs(client: Client, options: argparse.Namespace) -> int:
    return tell_all(options, client.list_burr_sets(options.grinder_id), burr_set_line)


def _mend_burrs(client: Client, options: argparse.Namespace) -> int:
    patch = nested(flat_of(options, BURR_SET), BURR_SET)
    has_dates = options.fitted_at is not None or options.removed_at is not None
    if not patch and not has_dates:
        raise wrong_usage(options, "say what to mend")
    held = client.get_burr_set(options.burr_set_id)
    if has_dates:
        patch["fittings"] = _mended(held.fittings, options)
    burr_set = client.update_burr_set(options.burr_set_id, patch, if_match=held)
    return tell(options, burr_set, burr_set_line(burr_set))


def _void_burrs(client: Client, options: argparse.Namespace) -> int:
    burr_set = client.void_burr_set(options.burr_set_id)
    return tell(options, burr_set, f"{burr_set.burr_set_id} voided")


def _mended(fittings: Sequence[Fitting], options: argparse.Namespace) -> list[dict[str, Any]]:
    stays = [fitting.to_json() for fitting in fittings]
    place = len(stays) if options.stay is None else options.stay
    if not 1 <= place <= len(stays):
        raise Stop(
            EX_DATAERR, f"{options.prog}: {options.burr_set_id} has {len(stays)} stays, no {place}"
        )
    stay = stays[place - 1]
    if options.fitted_at is not None:
        stay["fitted_at"] = format_instant(options.fitted_at)
    if options.removed_at is not None:
        is_in = options.removed_at == NEVER
        stay["removed_at"] = None if is_in else format_instant(options.removed_at)
        stay["is_removal_implied"] = False
    return stays


def _with_stretches(
    recorded: Sequence[Span], told: Sequence[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Those recorded and those told; one told with the beginning of one recorded replaces it."""
    stretches = {span.to_json()["from"]: span.to_json() for span in recorded}
    for stretch in told:
        stretches[to_json(stretch["from"])] = to_json(stretch)
    return [stretches[begins] for begins in sorted(stretches)]


def _stretch(text: str) -> dict[str, Any]:
    begins, _, ends = text.partition("/")
    return {"from": instant(begins), "to": instant(ends) if ends else None}


def _instant_or_never(text: str) -> Any:
    return NEVER if text == NEVER else instant(text)
