"""Shape of the comparison of burr sets."""

from __future__ import annotations

from marshmallow import fields

from ..core.records import GEOMETRIES
from .fields import Array, Choice, Inner, Instant, StrictFloat, StrictInteger, Text
from .fields import nullable as maybe
from .operation import BURR_SET_ID
from .schemas_break_in import CurveSchema
from .schemas_common import Answer, Query, SaidSchema, burr_set_id
from .schemas_limits import limits, sentence
from .schemas_motor import QueryNumber


class ComparisonQuerySchema(Query):
    burr_set_ids = Text(
        "Two to six different burr sets, their ids divided by commas; the others are set against "
        "the first.",
        pattern=f"{BURR_SET_ID}(,{BURR_SET_ID}){{1,5}}",
        example="flat-64-a,flat-64-b",
        required=True,
    )
    d50_micrometres = QueryNumber(
        "The D50 to compare at, in micrometres; without it, the geometric mean of the sets' "
        "latest ones.",
        above=0,
        high=10_000,
        example=320.0,
    )
    as_of = Instant("The past instant to answer for; without it, now.")


class AtEqualD50Schema(Answer):
    """The fines of a set at the setting where its D50 is the common one."""

    verdict = Text(
        "`told`, or why not: a verdict of the calibration, `no_fines`, `no_common_d50`, "
        "`shift_unclear`.",
        low=0,
        high=100,
    )
    sentence = sentence()
    fines_fraction = limits("Fines there, as a fraction")
    fines_change = limits("Their change by break-in at an equal D50, as a fraction")
    less_first_fines_fraction = limits(
        "Fines there less those of the first set, as a fraction; null for the first, and where "
        "they were measured in another way"
    )


class ComparedSetSchema(Answer):
    """One burr set of a comparison."""

    burr_set_id = burr_set_id()
    burr_model = maybe(Text, "Which burrs, in your own words.", high=200)
    geometry = Choice("Their shape.", GEOMETRIES)
    diameter_millimetres = maybe(StrictFloat, "Their diameter, in millimetres.")
    verdict = Text("How far it has broken in, by its checkpoints, as a code.", low=0, high=100)
    sentence = sentence()
    checkpoint_count = StrictInteger("On how many checkpoints that rests.")
    tau_grams = limits("How fast the change fades, in grams")
    settles_at_grams = limits("When less than the change that matters is left, in grams")
    d50_change_micrometres = limits("Whole change of D50 at one setting, in micrometres")
    fines_change_fraction = limits("Whole change of the fines at one setting, as a fraction")
    settled_d50_micrometres = limits("The D50 it approaches, in micrometres")
    settled_fines_fraction = limits("The fines it approaches, as a fraction")
    at_equal_d50 = Inner(AtEqualD50Schema, "The same at an equal D50.")
    curve = Inner(CurveSchema, "Its curve on kilograms.")


class SetComparisonSchema(Answer):
    """Burr sets side by side; intervals are two-sided 95 %, null is what is not known."""

    as_of = Instant("The instant this answer is for.")
    d50_micrometres = maybe(StrictFloat, "The D50 compared at; null: none is known.")
    sets = Array(fields.Nested(ComparedSetSchema), "In the order asked for.")
    cautions = Array(fields.Nested(SaidSchema), "What to heed.")
