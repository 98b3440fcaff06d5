"""A hand-made result for the tests of the reports: every call, every witness, every unit occurs in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limner.measure.catalogue import CATALOGUE
from limner.notices import Notice
from limner.result import (
    AuditResult,
    Call,
    CanonRow,
    MeasureResult,
    PictureFacts,
    Pose,
    Quantity,
    ScaleReport,
    Witness,
)
from limner.settings import Settings
from limner.valuesresult import Amount, ShadowShape, ValueMatch, ValuesReport

Array = NDArray[np.float64]
PERCENT, PLACE, DEGREES = "percent", "percent of pupil distance", "degrees"


def measure(
    measure_id: str,
    name: str,
    family: str,
    deviation: float | None,
    sigma: float | None,
    *,
    call: Call,
    unit: str = PERCENT,
    threshold: float | None = 8.0,
    reason: str | None = None,
    witness: Witness | None = "pixels",
) -> MeasureResult:
    reference = Quantity(value=0.5, sigma=0.004)
    told = deviation is not None and sigma is not None
    painting = Quantity(value=0.5 * (1 + deviation / 100), sigma=0.005) if told else Quantity(value=None, sigma=None)
    return MeasureResult(
        id=measure_id,
        name=name,
        family=family,
        feature=CATALOGUE[measure_id].feature if measure_id in CATALOGUE else measure_id,
        unit=unit,
        reference=reference,
        painting=painting,
        deviation=deviation,
        sigma=sigma,
        threshold=threshold,
        call=call,
        reason=reason,
        witness=witness,
        source="typed in by hand for a test",
    )


def measures() -> tuple[MeasureResult, ...]:
    return (
        measure("face_width", "face width", "width", 15.04, 1.13, call="off"),
        measure("eye_width_left", "sitter's left eye, width", "width", -12.6, 1.9, call="off", witness="mesh"),
        measure("mouth_y", "mouth, height on the face", "position", 6.21, 0.3, unit=PLACE, threshold=4.7, call="off"),
        measure("mouth_axis", "mouth line", "axis", -2.05, 0.31, unit=DEGREES, threshold=2.3, call="slight"),
        measure("brow_length_right", "sitter's right brow, length", "width", 5.5, 0.6, call="slight", witness="hand"),
        measure("nose_width", "nose width", "width", 0.31, 0.8, call="true"),
        measure("chin_y", "chin, height on the face", "position", -0.2, 0.9, unit=PLACE, threshold=9.5, call="true"),
        measure("lower_lip", "lower lip", "opening", 17.0, 11.7, call="unsure", reason="teeth show between the lips"),
        measure(
            "eye_area_right",
            "sitter's right eye, size",
            "shape",
            None,
            None,
            call="not painted yet",
            reason="there is no eye on the canvas yet",
            witness=None,
        ),
        measure(
            "hairline",
            "hairline",
            "height",
            None,
            None,
            call="not measured",
            threshold=None,
            reason="the face finder knows no hairline",
            witness=None,
        ),
    )


def face(width: float = 400.0, height: float = 500.0) -> np.ndarray:
    """Return (478, 2) points, px, of a made-up face: scattered, all different, the pupils 100 px apart."""
    rng = np.random.default_rng(7)
    points = rng.uniform((0.3 * width, 0.25 * height), (0.7 * width, 0.8 * height), size=(478, 2))
    points[468], points[473] = (150.0, 200.0), (250.0, 200.0)
    return points


def sample(**changes: object) -> AuditResult:
    """Return the sample result, with fields replaced."""
    points = face()
    facts = PictureFacts(
        name="sitter.jpg",
        digest="0" * 64,
        width=400,
        height=500,
        scale=1.0,
        pupil_distance=100.0,
        found_by="plain",
    )
    result = AuditResult(
        reference=facts,
        painting=replace(facts, name="canvas.jpg", digest=None),
        settings=Settings(stage=None),
        stage="colour",
        stage_guessed=True,
        scale=ScaleReport(hold="eyes", scale=1.02, eyes=1.02, head=1.05, sigma=0.006, disagree=True),
        pose_reference=Pose(yaw=-3.2, pitch=1.0, roll=0.4, sigma=1.5),
        pose_painting=None,
        measures=measures(),
        canons=(
            CanonRow(
                id="orbital",
                name="orbital canon",
                definition="between the eyes = one eye",
                canon=1.0,
                reference=Quantity(value=1.14, sigma=0.02),
                painting=Quantity(value=1.31, sigma=0.03),
                source="typed in by hand for a test",
            ),
        ),
        mend_first=("The face is 15 % too wide: bring both sides in.", "The mouth sits 6 % too low: raise it."),
        warnings=(
            Notice(code="no_profile", text="canvas.jpg carries no colour profile: taken as sRGB."),
            Notice(code="scale_disagrees", text="The eyes and the whole head give two different sizes."),
        ),
        reference_points=points,
        painting_points=points * 1.02 + (6.0, 2.0),
        should_be=points * 1.02,
        point_sigma=np.full(478, 0.8),
        points={"p_r": {"reference": (300.0, 400.0), "painting": (306.0, 408.0)}},
        spread={"p_r": {"reference": 0.5, "painting": 0.75}},
    )
    return replace(result, **changes)  # type: ignore[arg-type]


def half_in_shadow(points: Array) -> ValuesReport:
    """Values with one edge of a shadow in them, painted beside the middle of the (478, 2) points."""
    line = ((points[10] + points[152]) / 2 + np.array([[0.0, -60.0], [0.0, 0.0], [0.0, 60.0]])).tolist()
    should, is_at = (tuple((x + by, y) for x, y in line) for by in (0.0, 25.0))
    none = Amount(value=None, sigma=None)
    return ValuesReport(
        match=ValueMatch(
            by="face", gain=(1.0, 1.0, 1.0), said="Matched.", blind_to="Blind.", tone_known=False, uneven=none,
            uneven_way="", glare=0.0,
        ),
        monochrome=False, regions=(), slope=none, plans=(), highlights=(), findings=(), notes=(),
        shadows=(ShadowShape(name="edge of light and shadow", belongs=(should,), painted=(is_at,)),),
    )  # fmt: skip
