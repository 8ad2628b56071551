"""The checkpoint rule on worked examples that another program computed.

Made-up measurements of an invented set; the expected numbers come from an independent
implementation of the same published method (variable projection on a grid of ln tau, profile
likelihood, Birge factor; a gridded posterior), not from this service. The grid is 0.1 to 1000 kg in
80 steps a decade. No published source.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest

from burrline_service.core.joining import Row
from burrline_service.core.prior import BurrClass
from burrline_service.core.quantiles import f_ratio
from burrline_service.core.settling import assess_settling
from burrline_service.core.settling_fit import (
    Fit,
    believed,
    bounds_to_come,
    fit_series,
    misfit_limit_ratio,
)
from burrline_service.core.settling_measures import limits_of_settling, measure_response
from burrline_service.core.settling_posterior import PriorScales, make_posterior
from burrline_service.core.settling_quantiles import (
    settled_probability,
    settling_quantiles,
    tau_quantiles,
)
from burrline_service.core.settling_series import Rule, Series, make_series

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)
KILOGRAMS = (0.0, 5.0, 10.0, 15.0, 20.0)
D50 = (
    (300.0, 304.1, 297.2), (318.9, 323.0, 321.4), (329.8, 326.1, 331.5),
    (333.0, 329.4, 335.2), (334.9, 331.8, 337.3),
)  # fmt: skip
FINES_POINTS = (
    (14.1, 13.6, 14.6), (11.9, 12.4, 11.5), (10.9, 11.3, 10.6),
    (10.4, 10.9, 10.2), (10.3, 10.6, 9.9),
)  # fmt: skip
FLAT = (
    (300.0, 301.0, 299.0), (300.5, 299.5, 300.0), (299.8, 300.6, 300.1),
    (300.2, 299.9, 300.4), (300.3, 299.7, 300.1),
)  # fmt: skip
LINE = (
    (300.0, 301.0, 299.0), (304.0, 305.2, 303.1), (308.3, 309.0, 307.2),
    (312.1, 313.0, 311.2), (316.2, 315.1, 317.0),
)  # fmt: skip
STEP = (
    (300.0, 301.0, 299.0), (320.0, 321.2, 319.1), (320.3, 321.0, 319.2),
    (320.1, 319.0, 321.2), (320.2, 319.1, 321.0),
)  # fmt: skip
REL = 1e-6


def rows(
    d50: tuple[tuple[float, ...], ...], points: tuple[tuple[float, ...], ...] | None = None
) -> list[Row]:
    fines = points or ((),) * len(d50)
    return [
        Row(f"c{place}", AT, 1000 * m, values, tuple(p / 100 for p in low), None, 0)
        for place, (m, values, low) in enumerate(zip(KILOGRAMS, d50, fines, strict=False))
    ]


def rule(session_micrometres: float = 3.0) -> Rule:
    return Rule(d50_change_micrometres=9.0, d50_session_micrometres=session_micrometres)


def fitted(made: list[Row], name: str, with_rule: Rule) -> Fit:
    series = make_series(made, name, with_rule, origin_grams=0.0)  # type: ignore[arg-type]
    assert series is not None
    return fit_series([series]).fits[0]


def kilograms(grams: float | None) -> float:
    assert grams is not None
    return grams / 1000


def test_d50_alone() -> None:
    fit = fitted(rows(D50), "d50", rule())
    measured = measure_response(fit, (0.0, 0.0), 20_000.0, is_flat=False)
    assert fit.series.means_response == pytest.approx(
        [300.43333333333334, 321.1, 329.1333333333334, 332.5333333333333, 334.6666666666667]
    )
    assert fit.series.within_squares == pytest.approx(80.22666666666693)
    assert fit.freedom_count == 10
    assert fit.base_ratio == pytest.approx(0.028991518819367457, rel=REL)
    assert fit.line_ratio == pytest.approx(11.772366467430572, rel=REL)
    assert float(fit.profile.flat_ratio) == pytest.approx(66.45703734724177, rel=REL)
    assert fit.birge_ratio == 1.0
    assert measured.settled.low == pytest.approx(328.71264614557157, rel=REL)
    assert measured.settled.best == pytest.approx(335.2545525813523, rel=REL)
    assert measured.settled.high == pytest.approx(355.14542263393105, rel=REL)
    assert measured.start.best == pytest.approx(300.4456278858388, rel=REL)
    assert measured.remaining.best == pytest.approx(0.9933372855578453, rel=REL)
    least, most = bounds_to_come(believed(fit), 20_000.0)
    assert (least, most) == pytest.approx((0.030246544985145635, 9.599919036484872), rel=REL)
    when = limits_of_settling(believed(fit), 0.95)
    assert kilograms(when.low) == pytest.approx(3.4788862743362383, rel=REL)
    assert kilograms(when.best) == pytest.approx(7.606505623898645, rel=REL)
    assert kilograms(when.high) == pytest.approx(20.83610775837049, rel=REL)
    alone = assess_settling(rows(D50), rule())
    assert (alone.decision, alone.is_shared) == ("undecided", True)
    assert alone.tau_grams is not None
    assert kilograms(alone.tau_grams.low) == pytest.approx(2.304092976055846, rel=REL)
    assert kilograms(alone.tau_grams.best) == pytest.approx(5.623413251903491, rel=REL)
    assert kilograms(alone.tau_grams.high) == pytest.approx(17.78279410038923, rel=REL)


def test_fines_alone() -> None:
    fit = fitted(rows(D50, FINES_POINTS), "fines", rule())
    measured = measure_response(fit, (0.0, 0.0), 20_000.0, is_flat=False)
    assert fit.base_ratio == pytest.approx(0.0035691262638692933, rel=REL)
    assert fit.line_ratio == pytest.approx(10.308103975535197, rel=REL)
    assert measured.settled.low == pytest.approx(0.0713282978276121, rel=REL)
    assert measured.settled.best == pytest.approx(0.10084638489298909, rel=REL)
    assert measured.settled.high == pytest.approx(0.10909745746902642, rel=REL)
    bounds = bounds_to_come(believed(fit), 20_000.0)
    assert bounds == pytest.approx((0.00008624821811910457, 0.015013424122256263), rel=REL)
    when = limits_of_settling(believed(fit), 0.95)
    assert kilograms(when.low) == pytest.approx(4.078720946363945, rel=REL)
    assert kilograms(when.high) == pytest.approx(26.257640031859456, rel=REL)


def test_both_share_one_tau_and_prove_it_settled() -> None:
    found = assess_settling(rows(D50, FINES_POINTS), rule())
    assert (found.decision, found.verdict, found.is_shared) == ("settled", "settled", True)
    assert found.findings == ()
    assert found.conflict_ratio == pytest.approx(0.04846502403341901, rel=REL)
    assert f_ratio(0.80, 1, 10) == pytest.approx(1.8828879449308193, rel=1e-9)
    assert found.tau_grams is not None
    assert kilograms(found.tau_grams.best) == pytest.approx(6.130557921498209, rel=REL)
    d50, fines = found.responses
    assert d50.least_to_come_response == pytest.approx(0.17330345326025376, rel=REL)
    assert d50.most_to_come_response == pytest.approx(6.055297489369921, rel=REL)
    assert fines.least_to_come_response == pytest.approx(0.000193460254973784, rel=REL)
    assert fines.most_to_come_response == pytest.approx(0.00683265982180203, rel=REL)
    assert found.fits is not None
    near = believed(found.fits.fits[0])
    assert near.base_ratio == pytest.approx(0.08102566911665576, rel=REL)
    inside = near.profile.tau_grams[near.misfit_ratio <= misfit_limit_ratio(near, 0.95)]
    assert inside[0] == pytest.approx(3868.1205463305215, rel=REL)
    assert inside[-1] == pytest.approx(10292.005271944287, rel=REL)


def test_a_flat_line() -> None:
    found = assess_settling(rows(FLAT), rule())
    assert found.decision == "settled"
    assert found.findings == ("no_measurable_change",)
    assert found.tau_grams is None
    (d50,) = found.responses
    assert d50.most_to_come_response == pytest.approx(7.3465134105209815, rel=REL)
    assert (d50.settled.low, d50.settled.high) == (None, None)
    fit = fitted(rows(FLAT), "d50", rule())
    assert fit.base_ratio == pytest.approx(0.0021055998849719786, rel=REL)
    when = limits_of_settling(believed(fit), 0.95)
    assert kilograms(when.high) == pytest.approx(13.939710822571062, rel=REL)


def test_a_straight_line() -> None:
    found = assess_settling(rows(LINE), rule(session_micrometres=1.0))
    assert (found.decision, found.verdict) == ("undecided", "bend_not_visible")
    assert found.tau_grams is not None
    assert kilograms(found.tau_grams.low) == pytest.approx(13.724609610075627, rel=REL)
    assert (found.tau_grams.best, found.tau_grams.high) == (None, None)
    (d50,) = found.responses
    assert d50.settled.low == pytest.approx(318.9452166137213, rel=REL)
    assert d50.settled.high is None  # one side only: the sign of the change is known
    assert d50.least_to_come_response == pytest.approx(5.400718634570412, rel=REL)
    assert d50.most_to_come_response == pytest.approx(19.493919769444783, rel=REL)
    when = limits_of_settling(believed(fitted(rows(LINE), "d50", rule(1.0))), 0.95)
    assert kilograms(when.low) == pytest.approx(12.358835941796695, rel=REL)
    assert kilograms(when.best) == pytest.approx(38.54288291272593, rel=REL)
    assert kilograms(when.high) == pytest.approx(43.073366460125044, rel=REL)


def test_a_step() -> None:
    found = assess_settling(rows(STEP), rule())
    assert found.decision == "settled"
    assert found.findings == ("settled_before_first_check",)
    assert found.tau_grams is not None
    assert found.tau_grams.low == 0.0
    assert kilograms(found.tau_grams.high) == pytest.approx(5.623413251903491, rel=REL)
    (d50,) = found.responses
    assert d50.settled.low == pytest.approx(316.7124936094618, rel=REL)
    assert d50.settled.high == pytest.approx(324.6125746413207, rel=REL)
    assert d50.most_to_come_response == pytest.approx(0.25194246660150416, rel=REL)


POSTERIORS = {
    3: (
        (1.8486457197041106, 5.721312469850619, 13.244601913735567),
        (336.11995177264106, 9.517630666667518),
        0.6779816825865224,
        (2.6166878178211284, 7.291189994711625, 17.426555383856236),
    ),
    5: (
        (3.157893128977983, 5.998001532889629, 11.665006166239612),
        (336.32622132565587, 4.896029928829265),
        0.9692910379224784,
        (4.525782322724462, 7.940981876778487, 14.357468212828845),
    ),
}


@pytest.mark.parametrize("count", POSTERIORS)
def test_the_posterior(count: int) -> None:
    tau, settled, probability, when = POSTERIORS[count]
    made = rows(D50)[:count]
    series = make_series(made, "d50", rule(), origin_grams=0.0)
    assert isinstance(series, Series)
    posterior = make_posterior(
        series, BurrClass("98 mm", 6500.0, 0.5, 0.1), scales=PriorScales(300.0, 90.0, 6.0, 30.0)
    )
    found = tau_quantiles(posterior, (0.05, 0.5, 0.95))
    assert [kilograms(v) for v in (found.low, found.best, found.high)] == pytest.approx(
        list(tau), rel=REL
    )
    weight, mean = posterior.weight_probability, posterior.settled_response
    middle = float((weight * mean).sum())
    spread = float((weight * (posterior.settled_sd_response**2 + mean**2)).sum()) - middle**2
    assert (middle, math.sqrt(spread)) == pytest.approx(settled, rel=REL)
    at = made[-1].burr_grams
    assert settled_probability(posterior, at) == pytest.approx(probability, rel=REL)
    quantiles = settling_quantiles(posterior, (0.1, 0.5, 0.9))
    assert [g / 1000 for g in quantiles] == pytest.approx(list(when), rel=REL)
