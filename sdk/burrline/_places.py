"""Sites, grinders and burr sets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from burrline._calls import Calls, IfMatch, path_of
from burrline._convert import UNSET, Model, Unset, body_of
from burrline._http import Answer
from burrline._paging import Page
from burrline.models import BurrSet, Grinder, Site

Given = Mapping[str, Any] | Model


class Places(Calls):
    """The operations on sites, grinders and burr sets."""

    def create_site(
        self,
        *,
        site_id: str,
        name: str,
        time_zone: str,
        opening_hours: Given | None = None,
        closed_days: Iterable[str] | None = None,
    ) -> Site:
        """Make a site; ``time_zone`` is its IANA name, such as ``Europe/Vienna``.

        ``opening_hours`` are local, by day: ``{"mon": [["07:00", "19:00"]]}``; left out, the site
        counts as always open. ``closed_days`` are dates such as ``"2026-12-25"``.
        """
        named = {
            "site_id": site_id,
            "name": name,
            "time_zone": time_zone,
            "opening_hours": opening_hours,
            "closed_days": closed_days,
        }
        return self._post("/v1/sites", _site, body_of(None, known(named)))

    def list_sites(self, *, limit: int | None = None, cursor: str | None = None) -> Page[Site]:
        """The sites this key may see."""
        return self._list("/v1/sites", Site.from_json, {}, limit=limit, cursor=cursor)

    def get_site(self, site_id: str) -> Site:
        """One site."""
        return self._get(path_of("/v1/sites/{}", site_id), _site)

    def update_site(
        self,
        site_id: str,
        changes: Given | None = None,
        *,
        if_match: IfMatch | None = None,
        **fields: Any,
    ) -> Site:
        """Change some fields of a site; ``None`` clears one, ``effective_at`` dates the change.

        ``if_match`` (an etag, a revision or the site as read) refuses the change if somebody was
        faster; without it the site is read first and changed as it is then.
        """
        path = path_of("/v1/sites/{}", site_id)
        held = self.get_site(site_id) if if_match is None else if_match
        return self._patch(path, _site, body_of(changes, fields), held)

    def create_grinder(
        self,
        *,
        grinder_id: str,
        site_id: str,
        name: str,
        model: str | None = None,
        serial: str | None = None,
        rated_duty: Given | None = None,
        motor: Given | None = None,
        grind: Given | None = None,
        hopper_grams: float | None = None,
        retained_grams: float | None = None,
        retired_at: datetime | None = None,
        out_of_service: Iterable[Given] | None = None,
    ) -> Grinder:
        """Make a grinder with what its plate and manual say; what is not known is left out."""
        named = {
            "grinder_id": grinder_id,
            "site_id": site_id,
            "name": name,
            "model": model,
            "serial": serial,
            "rated_duty": rated_duty,
            "motor": motor,
            "grind": grind,
            "hopper_grams": hopper_grams,
            "retained_grams": retained_grams,
            "retired_at": retired_at,
            "out_of_service": None if out_of_service is None else [*map(plain, out_of_service)],
        }
        return self._post("/v1/grinders", _grinder, body_of(None, known(named)))

    def list_grinders(
        self, *, site_id: str | None = None, limit: int | None = None, cursor: str | None = None
    ) -> Page[Grinder]:
        """The grinders this key may see, or those of one site."""
        query = {"site_id": site_id}
        return self._list("/v1/grinders", Grinder.from_json, query, limit=limit, cursor=cursor)

    def get_grinder(self, grinder_id: str) -> Grinder:
        """One grinder with its nameplate."""
        return self._get(path_of("/v1/grinders/{}", grinder_id), _grinder)

    def update_grinder(
        self,
        grinder_id: str,
        changes: Given | None = None,
        *,
        if_match: IfMatch | None = None,
        **fields: Any,
    ) -> Grinder:
        """Change some fields of a grinder; ``None`` clears one, ``effective_at`` dates the change.

        ``if_match`` (an etag, a revision or the grinder as read) refuses the change if somebody
        was faster; without it the grinder is read first and changed as it is then.
        """
        path = path_of("/v1/grinders/{}", grinder_id)
        held = self.get_grinder(grinder_id) if if_match is None else if_match
        return self._patch(path, _grinder, body_of(changes, fields), held)

    def fit_burr_set(
        self,
        grinder_id: str,
        *,
        burr_set_id: str | None = None,
        fitted_at: datetime | None = None,
        geometry: str | None = None,
        prior_grams: float | Unset | None = UNSET,
        low_prior_grams: float | None = None,
        high_prior_grams: float | None = None,
        diameter_millimetres: float | None = None,
        burr_model: str | None = None,
        serial: str | None = None,
        material: str | None = None,
        coating: str | None = None,
        pre_treated: str | None = None,
        rated_life_grams: float | None = None,
    ) -> BurrSet:
        """Fit a burr set to a grinder, now or at ``fitted_at``; the one before comes out then.

        A new set needs ``geometry`` and ``prior_grams`` (what went through it before; ``None`` if
        nobody knows). A set that was fitted before needs its ``burr_set_id`` alone.
        """
        named = {
            "burr_set_id": burr_set_id,
            "fitted_at": fitted_at,
            "geometry": geometry,
            "low_prior_grams": low_prior_grams,
            "high_prior_grams": high_prior_grams,
            "diameter_millimetres": diameter_millimetres,
            "burr_model": burr_model,
            "serial": serial,
            "material": material,
            "coating": coating,
            "pre_treated": pre_treated,
            "rated_life_grams": rated_life_grams,
        }
        body = body_of(known(named), {"prior_grams": prior_grams})
        return self._post(path_of("/v1/grinders/{}/burr-sets", grinder_id), _burr_set, body)

    def list_burr_sets(
        self, grinder_id: str, *, limit: int | None = None, cursor: str | None = None
    ) -> Page[BurrSet]:
        """The burr sets that are or were in a grinder."""
        path = path_of("/v1/grinders/{}/burr-sets", grinder_id)
        return self._list(path, BurrSet.from_json, {}, limit=limit, cursor=cursor)

    def get_burr_set(self, burr_set_id: str) -> BurrSet:
        """One burr set with its fittings."""
        return self._get(path_of("/v1/burr-sets/{}", burr_set_id), _burr_set)

    def update_burr_set(
        self,
        burr_set_id: str,
        changes: Given | None = None,
        *,
        if_match: IfMatch | None = None,
        fittings: Iterable[Given] | Unset = UNSET,
        **fields: Any,
    ) -> BurrSet:
        """Change a burr set's description, or its ``fittings``, which are replaced as a whole.

        ``if_match`` (an etag, a revision or the set as read) refuses the change if somebody was
        faster; without it the set is read first and changed as it is then.
        """
        path = path_of("/v1/burr-sets/{}", burr_set_id)
        held = self.get_burr_set(burr_set_id) if if_match is None else if_match
        body = body_of(changes, {**fields, "fittings": fittings})
        return self._patch(path, _burr_set, body, held)

    def void_burr_set(self, burr_set_id: str) -> BurrSet:
        """Take a set entered by mistake out of every answer."""
        return self._post(path_of("/v1/burr-sets/{}/void", burr_set_id), _burr_set)


def plain(given: Given) -> dict[str, Any]:
    """A mapping or a model as the object that is sent."""
    return body_of(given, {})


def known(named: Mapping[str, Any]) -> dict[str, Any]:
    """The arguments that were given."""
    return {name: one for name, one in named.items() if one is not None}


def _site(answer: Answer) -> Site:
    return Site.from_json(answer.body, etag=answer.etag)


def _grinder(answer: Answer) -> Grinder:
    return Grinder.from_json(answer.body, etag=answer.etag)


def _burr_set(answer: Answer) -> BurrSet:
    return BurrSet.from_json(answer.body, etag=answer.etag)
