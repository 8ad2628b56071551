"""Shapes of what a grind sample tells: sizes, fits, and why something is null."""

from __future__ import annotations

from typing import Any, get_args, get_type_hints

from marshmallow import fields

from ..core.particles_records import (
    DISTRIBUTION_KINDS,
    LogNormalFit,
    RosinRammlerFit,
    SampleSummary,
)
from .fields import Array, Choice, Inner, StrictFloat, StrictInteger, nullable
from .schemas_common import Answer, Body
from .schemas_distributions import LARGEST_DOSE_GRAMS, DistributionSchema, fines_cut
from .schemas_runs import FindingSchema


def _words(record: type, name: str) -> tuple[str, ...]:
    """The words a record's field may hold, null aside."""
    inner = get_args(get_type_hints(record)[name])
    words = [word for one in inner for word in (get_args(one) or (one,))]
    return tuple(word for word in words if isinstance(word, str))


def _micrometres(description: str, example: float | None = None) -> Any:
    return nullable(StrictFloat, f"{description}, in micrometres.", example=example)


class MissingSchema(Answer):
    """Why a member is null."""

    name = fields.String(metadata={"description": "The member that is null."})
    code = fields.String(metadata={"description": "Why, for a program."})
    detail = fields.String(metadata={"description": "Why, for a person."})


def _missing() -> Any:
    return Array(fields.Nested(MissingSchema), "Why members are null.")


def _findings() -> Any:
    return Array(
        fields.Nested(FindingSchema), "What is remarkable; the sample counts all the same."
    )


class SampleSizesSchema(Answer):
    """Sizes of one sample; a null has its reason in `missing`."""

    d10_micrometres = _micrometres("10 % of the mass is finer", 142.0)
    d50_micrometres = _micrometres("Half of the mass is finer", 318.5)
    d90_micrometres = _micrometres("90 % of the mass is finer", 655.0)
    span = nullable(StrictFloat, "(D90 - D10) / D50.", example=1.61)
    fines_fraction = nullable(
        StrictFloat, "What is finer than `fines_cut_micrometres`, as a fraction.", example=0.118
    )
    fines_cut_micrometres = StrictFloat("What fines are finer than, in micrometres.", example=100)
    missing = _missing()
    findings = _findings()


class PooledSizesSchema(Answer):
    """The doses of a checkpoint together: geometric means of sizes, the plain mean of fines."""

    replicate_count = StrictInteger("How many doses.", example=3)
    d10_micrometres = _micrometres("10 % of the mass is finer", 142.0)
    d50_micrometres = _micrometres("Half of the mass is finer", 318.5)
    d90_micrometres = _micrometres("90 % of the mass is finer", 655.0)
    span = nullable(StrictFloat, "(D90 - D10) / D50.", example=1.61)
    fines_fraction = nullable(
        StrictFloat, "What is finer than `fines_cut_micrometres`, as a fraction.", example=0.118
    )
    fines_cut_micrometres = StrictFloat("What fines are finer than, in micrometres.", example=100)
    d50_log_sd = nullable(
        StrictFloat, "Standard deviation of ln D50 between the doses; null with one dose."
    )
    fines_sd_fraction = nullable(
        StrictFloat,
        "Standard deviation of the fines fraction between the doses; null with one dose.",
    )
    missing = _missing()


class ModeSchema(Answer):
    """A peak of the density over the logarithm of size."""

    mode_micrometres = StrictFloat("The middle of its class, in micrometres.")
    low_micrometres = StrictFloat("Where the class begins, in micrometres.")
    high_micrometres = StrictFloat("Where it ends, in micrometres.")
    volume_fraction = StrictFloat("The share of the volume in it, as a fraction.")


class RosinRammlerFitSchema(Answer):
    """`R(x) = exp(-(x / scale)^exponent)`, what is coarser than x."""

    method = Choice("How it was fitted.", _words(RosinRammlerFit, "method"))
    exponent = StrictFloat("The exponent.")
    scale_micrometres = StrictFloat("36.8 % is coarser than this, in micrometres.")
    r_squared = StrictFloat("How much of the spread it explains, 0 to 1.")
    point_count = StrictInteger("From how many points.")


class LogNormalFitSchema(Answer):
    """`Q(x) = Phi(ln(x / median) / log_sd)`, what is finer than x."""

    method = Choice("How it was fitted.", _words(LogNormalFit, "method"))
    log_sd = StrictFloat("Standard deviation of the logarithm of size.")
    median_micrometres = StrictFloat("Half is finer, in micrometres.")
    r_squared = StrictFloat("How much of the spread it explains, 0 to 1.")
    point_count = StrictInteger("From how many points.")


class SampleToSummarizeSchema(Body):
    """One sample."""

    distribution = Inner(DistributionSchema, "Its particle sizes.", required=True)
    dose_grams = nullable(
        StrictFloat,
        "What went onto the sieves, in grams, to balance the masses against.",
        above=0,
        high=LARGEST_DOSE_GRAMS,
        example=25.0,
    )
    fines_cut_micrometres = fines_cut()


class SampleSummarySchema(Answer):
    """All that one distribution tells."""

    kind = Choice("How the sizes were told.", DISTRIBUTION_KINDS)
    sizes = Inner(SampleSizesSchema, "Percentiles, span and fines.")
    percentile_method = Choice(
        "How percentiles were found.", _words(SampleSummary, "percentile_method")
    )
    modes = Array(
        fields.Nested(ModeSchema), "Peaks of the density over the logarithm of size, q*(ln x)."
    )
    volume_mean_micrometres = _micrometres("D[4,3], the mean size by volume")
    surface_mean_micrometres = _micrometres("D[3,2], the mean size by surface")
    mean_method = nullable(
        Choice, "How the means were found.", _words(SampleSummary, "mean_method")
    )
    rosin_rammler = Array(
        fields.Nested(RosinRammlerFitSchema), "Rosin-Rammler fits, each with its method."
    )
    log_normal = Array(fields.Nested(LogNormalFitSchema), "Log-normal fits, each with its method.")
    particle_count = nullable(StrictInteger, "How many particles were measured; null: not told.")
    missing = _missing()
    findings = _findings()
