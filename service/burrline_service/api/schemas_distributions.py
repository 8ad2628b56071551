"""Shape of a grind sample as it is sent: one of four kinds of distribution."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ..core.particles_records import DISTRIBUTION_KINDS
from .fields import Array, Choice, StrictFloat, nullable
from .schemas_common import Body

MOST_SIEVES, MOST_CLASSES, MOST_PARTICLES = 60, 500, 50_000
LARGEST_MICROMETRES = 100_000
LARGEST_DOSE_GRAMS = 50_000

_NEEDED = {
    "sieve": ("aperture_micrometres", "retained_grams"),
    "classes": ("edge_micrometres",),
    "particles": ("diameter_micrometres",),
    "percentiles": (),
}


def _sizes(description: str, *, high: int, low: int = 1) -> Any:
    size = StrictFloat("A size, in micrometres.", above=0, high=LARGEST_MICROMETRES, example=450)
    return nullable(Array, size, description, low=low, high=high)


def _size(description: str, **kwargs: Any) -> Any:
    return nullable(
        StrictFloat, f"{description} In micrometres.", above=0, high=LARGEST_MICROMETRES, **kwargs
    )


def _amounts(description: str, *, high: int, low: int = 1) -> Any:
    amount = StrictFloat("An amount, not negative.", low=0, example=4.2)
    return nullable(Array, amount, description, low=low, high=high)


def fines_cut() -> Any:
    return nullable(
        StrictFloat,
        "Fines are what is finer than this, in micrometres; without it 100.",
        above=0,
        high=LARGEST_MICROMETRES,
        example=100,
    )


class DistributionSchema(Body):
    """Particle sizes of one dose, as one of four kinds; members of the other kinds stay out.

    `sieve`: n apertures in order and n + 1 masses, the pan's last. `classes`: n + 1 edges and n
    volume fractions or counts between them. `particles`: the diameter of every particle.
    `percentiles`: what an instrument printed, at least the D50 or the fines.
    """

    document = MappingProxyType(
        {
            "oneOf": [
                {"properties": {"kind": {"const": kind}}, "required": [*names]}
                for kind, names in _NEEDED.items()
            ]
        }
    )

    kind = Choice("How the sizes are told.", DISTRIBUTION_KINDS, required=True)
    aperture_micrometres = _sizes("`sieve`: the apertures, in order.", high=MOST_SIEVES)
    retained_grams = _amounts(
        "`sieve`: the mass on each, in grams, and then the pan's.", low=2, high=MOST_SIEVES + 1
    )
    pan_low_micrometres = _size("`sieve`: the smallest size in the pan, where known.")
    top_high_micrometres = _size("`sieve`: the largest size on the top sieve, where known.")
    edge_micrometres = nullable(
        Array,
        StrictFloat(
            "An edge, in micrometres; the lowest may be 0.", low=0, high=LARGEST_MICROMETRES
        ),
        "`classes`: the edges in order, one more than classes.",
        low=2,
        high=MOST_CLASSES + 1,
    )
    volume_fraction = _amounts("`classes`: the share of the volume in each.", high=MOST_CLASSES)
    count = _amounts("`classes`: instead, the particles in each.", high=MOST_CLASSES)
    diameter_micrometres = _sizes("`particles`: each diameter.", high=MOST_PARTICLES)
    d10_micrometres = _size("`percentiles`: 10 % of the mass is finer.", example=142.0)
    d50_micrometres = _size("`percentiles`: half of the mass is finer.", example=318.5)
    d90_micrometres = _size("`percentiles`: 90 % of the mass is finer.", example=655.0)
    fines_fraction = nullable(
        StrictFloat,
        "`percentiles`: the share finer than `fines_cut_micrometres`, 0 to 1.",
        low=0,
        high=1,
        example=0.118,
    )
    fines_cut_micrometres = _size("`percentiles`: what its fines are finer than.", example=100)
