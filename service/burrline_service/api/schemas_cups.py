"""Shape of what the cups say."""

from __future__ import annotations

from marshmallow import fields

from ..core.records import BREW_METHODS
from .fields import Array, Choice, Inner, Instant, StrictBoolean, StrictFloat, StrictInteger, Text
from .fields import nullable as maybe
from .schemas_common import Answer, burr_set_id, grinder_id
from .schemas_limits import limits, sentence


class SpreadSchema(Answer):
    """How far espresso times scatter about the mean of their own setting and coffee."""

    cup_count = StrictInteger("Shots used.")
    group_count = StrictInteger("Settings and coffees among them.")
    freedom_count = StrictInteger("Shots less groups.")
    mean_seconds = maybe(StrictFloat, "Mean time, in seconds.")
    sd_seconds = limits("Standard deviation within a group, in seconds")


class ShotTimesSchema(Answer):
    """Espresso times before and after the proof of settling; heavy tails widen the limits."""

    verdict = Text(
        "`compared`, or why not: `too_few_shots`, `not_settled`, `one_side_only`.",
        low=0,
        high=100,
    )
    sentence = sentence()
    before = maybe(Inner, SpreadSchema, "Before; null: too few shots.")
    after = maybe(Inner, SpreadSchema, "After; null: too few shots.")
    sd_ratio = limits("Standard deviation after over before")
    sd_difference_seconds = limits("Standard deviation after less before, in seconds")
    kurtosis = maybe(
        StrictFloat,
        "Kurtosis the limits go by, at least 3; null: no shots.",
        attribute="kurtosis_ratio",
    )


class ExtractionsSchema(Answer):
    """Extraction yields on one side."""

    cup_count = StrictInteger("Cups used.")
    mean_fraction = limits("Mean extraction yield, as a fraction of the dose")
    sd_fraction = maybe(
        StrictFloat, "Standard deviation between cups, as a fraction of the dose; null: one cup."
    )


class MethodSchema(Answer):
    """Extraction yield by one brew method, before and after the proof of settling.

    Espresso and percolation: dissolved solids times drink over dose. Immersion: by all of the
    water, as the liquid the grounds retain is as strong as the cup.
    """

    method = Choice("The method.", BREW_METHODS)
    before = maybe(Inner, ExtractionsSchema, "Before; null: no cups.")
    after = maybe(Inner, ExtractionsSchema, "After; null: no cups.")
    change_fraction = limits("Mean after less before, as a fraction of the dose")
    sentence = sentence()


class CupsLeftOutSchema(Answer):
    """Cups that were not used for one of the two."""

    use = Choice("For what.", ("extraction", "shot_seconds"))
    code = Text("Why, as a code.", low=0, high=100)
    cup_count = StrictInteger("How many.")
    sentence = sentence()


class CupsSchema(Answer):
    """What the cups say beside the grind: evidence, never a verdict on the burrs."""

    grinder_id = grinder_id("The grinder.")
    burr_set_id = maybe(burr_set_id, "The set that is in; null: none is recorded.")
    as_of = Instant("The instant this answer is for.")
    verdict = Text(
        "`both_sides`, `one_side_only`, `not_settled`, `no_cups` or `no_burr_set`.",
        low=0,
        high=100,
    )
    sentence = sentence()
    settled_at = maybe(Instant, "When the doses that proved it were ground; null: not proven.")
    before_from = maybe(Instant, "From when on cups before the proof were looked at.")
    after_from = maybe(Instant, "From when on cups after the proof were looked at.")
    cup_count = StrictInteger("Cups looked at.")
    is_cut_off = StrictBoolean("Whether there were more than are looked at.")
    shot_seconds = Inner(ShotTimesSchema, "Espresso times.")
    extraction = Array(fields.Nested(MethodSchema), "By brew method; empty without measured cups.")
    left_out = Array(fields.Nested(CupsLeftOutSchema), "Cups that were not used, and why.")
