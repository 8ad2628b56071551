"""Shapes of burr sets and their fittings."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from marshmallow import fields

from ..core.records import GEOMETRIES, PRE_TREATMENTS
from .fields import Array, Choice, Instant, StrictBoolean, StrictFloat, Text, nullable
from .schemas_common import (
    Answer,
    Body,
    burr_set_id,
    created_at,
    cursor_of_next,
    grinder_id,
    items_of,
)

LARGEST_BURR_GRAMS = 1_000_000_000

_GEOMETRY = "The shape of the burrs: `flat`, `conical` or `other`."
_PRE_TREATED = "Whether the burrs were broken in before they came, and where."


def _grams(description: str, example: float | None = None) -> Any:
    return nullable(StrictFloat, description, low=0, high=LARGEST_BURR_GRAMS, example=example)


_PRIOR = "Grams ground with the set before burrline: 0 for a new one, null if unknown."


class BurrSetWordsSchema(Body):
    diameter_millimetres = nullable(
        StrictFloat, "Outer diameter, in millimetres.", above=0, high=1000, example=64
    )
    burr_model = nullable(Text, "The maker's name of the burrs.", high=200, example="Trial 64 F")
    serial = nullable(Text, "The set's serial number.", high=200)
    material = nullable(Text, "What the burrs are made of.", high=200, example="hardened steel")
    coating = nullable(Text, "Their coating.", high=200)
    pre_treated = Choice(_PRE_TREATED, PRE_TREATMENTS, metadata={"default": "unknown"})
    low_prior_grams = _grams("At least so many grams before burrline.")
    high_prior_grams = _grams("At most so many grams before burrline.")
    rated_life_grams = _grams("The maker's rated life, in grams.", 400_000)


class NewBurrSetSchema(BurrSetWordsSchema):
    """A burr set not recorded before, and when it was fitted."""

    burr_set_id = burr_set_id("The burr set's id, chosen by you; without it one is made.")
    geometry = Choice(_GEOMETRY, GEOMETRIES, required=True)
    prior_grams = nullable(
        StrictFloat,
        _PRIOR,
        low=0,
        high=LARGEST_BURR_GRAMS,
        example=0,
        required=True,
    )
    fitted_at = Instant("When it was fitted; without it, now.")


class ExistingBurrSetSchema(Body):
    """A recorded burr set that is fitted (again), here."""

    burr_set_id = burr_set_id(required=True)
    fitted_at = Instant("When it was fitted; without it, now.")


class BurrSetToFitSchema(NewBurrSetSchema):
    """A new burr set by its description, or a recorded one by its id alone."""

    document = MappingProxyType({"one_of": (NewBurrSetSchema, ExistingBurrSetSchema)})

    def load(self, data: Any, **kwargs: Any) -> Any:
        is_existing = (
            isinstance(data, Mapping)
            and "burr_set_id" in data
            and set(data)
            <= {
                "burr_set_id",
                "fitted_at",
            }
        )
        if is_existing:
            return ExistingBurrSetSchema().load(data, **kwargs)
        return super().load(data, **kwargs)


class FittingInputSchema(Body):
    """One stay of the set in a grinder."""

    grinder_id = grinder_id("The grinder it sat in.", required=True)
    fitted_at = Instant("When it was fitted.", required=True)
    removed_at = nullable(Instant, "When it was taken out; null or absent: still in.", example=None)
    is_removal_implied = StrictBoolean(
        "True, as it was read: nobody entered the removal and nobody does now, another fitting "
        "implies it. False or absent: `removed_at` is entered."
    )


class FittingSchema(Answer):
    """One stay of the set in a grinder: from `fitted_at` up to, not including, `removed_at`."""

    grinder_id = grinder_id("The grinder it sat in.")
    fitted_at = Instant("When it was fitted.")
    removed_at = nullable(Instant, "When it was taken out; null: still in.", example=None)
    is_removal_implied = StrictBoolean(
        "Whether nobody entered the removal: another set was fitted then, or this one elsewhere. "
        "If that is voided or moved, the stay goes on."
    )


class BurrSetChangeSchema(BurrSetWordsSchema):
    """A merge patch of a burr set; `fittings`, where given, replaces the whole list."""

    geometry = Choice(_GEOMETRY, GEOMETRIES)
    prior_grams = _grams(_PRIOR, 0)
    fittings = Array(
        fields.Nested(FittingInputSchema, error_messages={"type": "must be an object"}),
        "Every stay of the set, in any order.",
        high=500,
    )


class BurrSetSchema(Answer):
    """A burr set and where it has been."""

    burr_set_id = burr_set_id()
    geometry = Choice(_GEOMETRY, GEOMETRIES)
    diameter_millimetres = nullable(StrictFloat, "Outer diameter, in millimetres.", example=64)
    burr_model = nullable(Text, "The maker's name of the burrs.", high=200, example="Trial 64 F")
    serial = nullable(Text, "The set's serial number.", high=200)
    material = nullable(Text, "What the burrs are made of.", high=200, example="hardened steel")
    coating = nullable(Text, "Their coating.", high=200)
    pre_treated = Choice(_PRE_TREATED, PRE_TREATMENTS)
    prior_grams = nullable(StrictFloat, _PRIOR, example=0)
    low_prior_grams = nullable(StrictFloat, "At least so many grams before burrline.")
    high_prior_grams = nullable(StrictFloat, "At most so many grams before burrline.")
    rated_life_grams = nullable(StrictFloat, "The maker's rated life, in grams.")
    fittings = Array(fields.Nested(FittingSchema), "Every stay of the set, oldest first.")
    created_at = created_at("burr set")
    voided_at = nullable(Instant, "When it was voided; null: it counts.", example=None)


class BurrSetPageSchema(Answer):
    """One page of burr sets."""

    items = items_of(BurrSetSchema, "burr sets")
    next_cursor = cursor_of_next()
