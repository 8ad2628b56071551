"""What a grind sample may come as, and what is told about it.

Fractions count volume, which is mass where all particles have one density. A distribution is held
as it was sent; ``particles_tables`` reads it. Names are the ones of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

from .records import Finding

if TYPE_CHECKING:  # the API's shapes read these records, and serve without numpy
    import numpy as np
    from numpy.typing import NDArray

Floats: TypeAlias = "NDArray[np.float64]"

DEFAULT_FINES_CUT_MICROMETRES = 100.0
"""What passes this size is called fines (common practice, no source; no standard sieve has it)."""
DISTRIBUTION_KINDS = ("sieve", "classes", "particles", "percentiles")


@dataclass(frozen=True)
class SieveTable:
    """Masses on a stack of sieves: one per aperture, in the same order, and the pan's last.

    The pan has no lower size and the top sieve no upper one, unless they are given.
    """

    aperture_micrometres: tuple[float, ...]
    retained_grams: tuple[float, ...]
    pan_low_micrometres: float | None = None
    top_high_micrometres: float | None = None
    kind: Literal["sieve"] = "sieve"


@dataclass(frozen=True)
class ClassTable:
    """Volume fractions or counts of the classes between n + 1 edges; a lowest edge may be 0."""

    edge_micrometres: tuple[float, ...]
    volume_fraction: tuple[float, ...] | None = None
    count: tuple[float, ...] | None = None
    kind: Literal["classes"] = "classes"


@dataclass(frozen=True)
class ParticleList:
    """The diameter of every particle that was measured, in any order."""

    diameter_micrometres: tuple[float, ...]
    kind: Literal["particles"] = "particles"


@dataclass(frozen=True)
class Percentiles:
    """Finished numbers off an instrument; whatever it gave, at least D50 or the fines."""

    d10_micrometres: float | None = None
    d50_micrometres: float | None = None
    d90_micrometres: float | None = None
    fines_fraction: float | None = None
    fines_cut_micrometres: float | None = None
    kind: Literal["percentiles"] = "percentiles"


Distribution = SieveTable | ClassTable | ParticleList | Percentiles


@dataclass(frozen=True)
class Missing:
    """Why an answer is null: ``name`` is the null member's, ``code`` is for programs."""

    name: str
    code: str
    detail: str


@dataclass(frozen=True)
class Curve:
    """The cumulative undersize at ascending sizes, and its slope there per unit of ln size.

    ``is_stepped`` is set where each size is a particle's own and nothing lies between.
    """

    size_micrometres: Floats
    undersize_fraction: Floats
    slope_fraction: Floats
    is_stepped: bool = False


@dataclass(frozen=True)
class ClassedSample:
    """A distribution as volume fractions of ascending, closed classes with two open ends.

    ``low_open_fraction`` lies below the lowest closed class (the pan), ``high_open_fraction``
    above the highest (on the top sieve). ``class_count`` is kept where particles were counted in
    classes; ``particle_count`` is how many were measured, None where nobody counted.
    """

    low_micrometres: Floats
    high_micrometres: Floats
    volume_fraction: Floats
    low_open_fraction: float
    high_open_fraction: float
    curve: Curve
    findings: tuple[Finding, ...] = ()
    class_count: Floats | None = field(default=None, repr=False)
    particle_count: int | None = None
    diameter_micrometres: Floats | None = field(default=None, repr=False)


@dataclass(frozen=True)
class SampleSizes:
    """The numbers of one sample that checkpoints work on; a null has its reason in ``missing``."""

    d10_micrometres: float | None
    d50_micrometres: float | None
    d90_micrometres: float | None
    span: float | None
    fines_fraction: float | None
    fines_cut_micrometres: float
    missing: tuple[Missing, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Mode:
    """A peak of the density on a logarithmic axis, q*(ln x): the class that holds it."""

    mode_micrometres: float
    low_micrometres: float
    high_micrometres: float
    volume_fraction: float


@dataclass(frozen=True)
class RosinRammlerFit:
    """``R(x) = exp(-(x / x')**n)``: ``exponent`` is n, ``scale_micrometres`` is x'."""

    method: Literal["loglog_least_squares", "undersize_least_squares"]
    exponent: float
    scale_micrometres: float
    r_squared: float
    point_count: int


@dataclass(frozen=True)
class LogNormalFit:
    """``Q(x) = Phi(ln(x / x50) / s)``: ``log_sd`` is s, the same for every type of quantity."""

    method: Literal["probit_least_squares", "undersize_least_squares"]
    log_sd: float
    median_micrometres: float
    r_squared: float
    point_count: int


@dataclass(frozen=True)
class SampleSummary:
    """All that one distribution tells. ``percentile_method`` names how the percentiles came."""

    kind: Literal["sieve", "classes", "particles", "percentiles"]
    sizes: SampleSizes
    percentile_method: Literal["pchip_ln_size", "particle_steps", "as_given"]
    modes: tuple[Mode, ...]
    volume_mean_micrometres: float | None
    surface_mean_micrometres: float | None
    mean_method: Literal["geometric_mid", "uniform_number", "particle_sums"] | None
    rosin_rammler: tuple[RosinRammlerFit, ...]
    log_normal: tuple[LogNormalFit, ...]
    particle_count: int | None
    missing: tuple[Missing, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class PooledSizes:
    """Replicates of one checkpoint taken together: geometric means of sizes, plain of fines.

    ``d50_log_sd`` is the standard deviation of ln D50 between the replicates.
    """

    replicate_count: int
    d10_micrometres: float | None
    d50_micrometres: float | None
    d90_micrometres: float | None
    span: float | None
    fines_fraction: float | None
    fines_cut_micrometres: float
    d50_log_sd: float | None
    fines_sd_fraction: float | None
    missing: tuple[Missing, ...] = ()
