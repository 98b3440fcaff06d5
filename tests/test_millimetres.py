"""What a measure departs by in millimetres: true to what was planted, told first, and in every output."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

import norms_face as norms
from limner import audit
from limner.compare.wording import rounded
from limner.face.points import FEATURES
from limner.proving.plant import plant
from limner.proving.slips import Slip
from limner.report.csvout import to_csv
from limner.report.jsonout import schema, to_dict
from limner.report.text import to_text
from limner.report.view import View
from limner.report.words import painted
from limner.result import AuditResult, MeasureResult, Quantity
from limner.settings import Settings
from test_corrections import canvas_known, judged

FACE = norms.norms_mm()
WIDTHS = {"eye_width_left": (362, 263), "mouth_width": (61, 291)}


def long_mm(points: np.ndarray, id_: str) -> float:
    first, second = WIDTHS[id_]
    return float(np.linalg.norm(points[first] - points[second]))


def of(result: AuditResult, id_: str) -> MeasureResult:
    return next(m for m in result.measures if m.id == id_)


@pytest.mark.parametrize("hold", ["eyes", "head"])
@pytest.mark.parametrize(("part", "id_"), [(norms.EYE_LEFT, "eye_width_left"), (norms.MOUTH, "mouth_width")])
def test_a_width_departs_by_the_millimetres_that_were_planted(part, id_, hold):
    painted = norms.widened(FACE, part, 1.2)
    found = of(judged(painted, canvas_known(), hold), id_)
    assert found.deviation_mm.value == pytest.approx(long_mm(painted, id_) - long_mm(FACE, id_), abs=0.25)
    assert found.threshold_mm / found.threshold == pytest.approx(found.deviation_mm.value / found.deviation)


@pytest.mark.parametrize("hold", ["eyes", "head"])
@pytest.mark.parametrize("way", [4.0, -3.0])
def test_a_place_departs_by_the_millimetres_that_were_planted(way, hold):
    found = of(judged(norms.moved(FACE, norms.MOUTH, 0.0, way), canvas_known(), hold), "mouth_y")
    assert found.deviation_mm.value == pytest.approx(way, abs=0.25)


def test_an_eye_in_the_wrong_place_in_the_head_is_told_in_the_heads_own_size():
    """The eyes stand too far apart, so that they and the whole head give two sizes; this is read on the head's."""
    rows = [*norms.EYE_LEFT, *range(473, 478)]
    result = judged(norms.moved(FACE, rows, 5.0, 0.0), canvas_known())
    assert result.scale.eyes / result.scale.head > 1.05
    found = of(result, "eye_left_x")
    assert abs(found.deviation_mm.value) == pytest.approx(5.0, abs=0.25)
    held = abs(found.deviation) / 100 * result.reference.pupil_distance * result.scale.scale / 6.0
    assert abs(held - 5.0) > 0.25


def test_a_gap_is_as_wide_as_planted():
    result = judged(norms.moved(FACE, list(FEATURES["chin"].indices), 0.0, 6.0), canvas_known())
    gaps = [m for m in result.measures if m.id == "face_gap"]
    assert gaps[0].deviation_mm.value == pytest.approx(gaps[0].painting.value * 63.0, rel=0.1)


def test_turns_areas_and_what_is_shared_are_no_lengths():
    result = judged(norms.turned(FACE, norms.MOUTH, 6.0), canvas_known())
    by_unit = {m.id: m for m in result.measures if m.deviation is not None}
    for id_ in ("mouth_axis", next(id_ for id_, m in by_unit.items() if id_.endswith("_area")), "lips_overlap"):
        assert by_unit[id_].deviation_mm.value is None
        assert by_unit[id_].threshold_mm is None


def test_the_doubt_of_the_canvas_is_in_it():
    painted = norms.moved(FACE, norms.MOUTH, 0.0, 8.0)
    sure, loose = (of(judged(painted, canvas_known(share)), "mouth_y").deviation_mm for share in (0.0, 0.05))
    assert loose.value == pytest.approx(sure.value)
    assert loose.sigma == pytest.approx(float(np.hypot(sure.sigma, 0.05 * sure.value)))


def test_without_a_canvas_there_are_none():
    result = judged(norms.moved(FACE, norms.MOUTH, 0.0, 6.0))
    assert all(m.deviation_mm.value is None and m.threshold_mm is None for m in result.measures)
    assert " mm" not in "".join(result.mend_first)


def of_both(measure):
    return (
        (measure.deviation_mm.value, measure.deviation_mm.sigma),
        (measure.deviation, measure.sigma),
    )


def test_millimetres_are_told_first_and_percent_after_them():
    painted = norms.widened(norms.moved(FACE, norms.MOUTH, 0.0, 6.0), norms.EYE_LEFT, 1.2)
    result = judged(painted, canvas_known())
    place, width = of(result, "mouth_y"), of(result, "eye_width_left")
    low, low_percent = (rounded(told, sigma)[0] for told, sigma in of_both(place))
    assert float(low) == 6
    assert any(
        line.startswith(f"The mouth is too low: about {low} mm (give or take ")
        and line.endswith("% of the distance between the pupils.")
        for line in result.mend_first
    ), result.mend_first
    much = rounded(long_mm(painted, "eye_width_left") - long_mm(FACE, "eye_width_left"), width.deviation_mm.sigma)[0]
    assert any(f"left eye is painted too wide: about {much} mm (give or take " in line for line in result.mend_first)
    text = to_text(result, View(everything=True), width=100)
    lines = text.splitlines()
    at = next(number for number, line in enumerate(lines) if place.name in line)
    assert f"{low} mm ({low_percent} % of eye distance)" in lines[at]
    told = [*lines[at].split(), *lines[at + 1].split()]  # under it where the line is full
    assert {"too", "low"} <= set(told)
    assert "high" not in told
    row = next(line for line in text.splitlines() if width.name in line)
    assert f"{much} mm ({rounded(width.deviation, width.sigma)[0]} %) too wide" in row
    assert float(row.split()[-1]) == pytest.approx(width.threshold_mm, abs=0.5)
    assert float(row.split()[-2]) == pytest.approx(1.96 * width.deviation_mm.sigma, abs=1.0)


def test_a_percent_that_is_nought_is_left_out_beside_its_millimetres():
    wide = of(judged(norms.widened(FACE, norms.MOUTH, 1.2), canvas_known()), "mouth_width")
    little = replace(wide, deviation=0.3, sigma=1.1, deviation_mm=Quantity(value=0.6, sigma=2.2))
    assert painted(little) == "1 mm too wide"


def test_json_and_csv_carry_them():
    result = judged(norms.moved(FACE, norms.MOUTH, 0.0, 6.0), canvas_known(0.003))
    plain = to_dict(result)
    defined = {"type": "array", "items": {"$ref": "#/$defs/measure"}, "$defs": schema()["$defs"]}
    jsonschema.validate(plain["measures"], defined)
    found = of(result, "mouth_y")
    told = next(m for m in plain["measures"] if m["id"] == "mouth_y")
    assert told["deviation_mm"]["value"] == pytest.approx(found.deviation_mm.value, abs=1e-6)
    assert told["threshold_mm"] == pytest.approx(found.threshold_mm, abs=1e-6)
    row = next(row for row in csv.DictReader(io.StringIO(to_csv(result))) if row["id"] == "mouth_y")
    assert float(row["deviation_mm"]) == pytest.approx(6.0, abs=0.25)
    assert float(row["sigma_mm"]) == pytest.approx(found.deviation_mm.sigma, abs=1e-6)


def test_on_a_painted_canvas_they_are_what_was_planted(portrait, model_path):
    """Pixels in, millimetres out: the canvas is taken edge to edge, its size given, a mouth moved by a known way."""
    settings = Settings(model=model_path, values=False, stage="finish")
    height, width = portrait.shape[:2]
    points = audit(portrait, portrait, settings=replace(settings, witness="mesh")).reference_points
    painting = plant(portrait, points, [Slip(kind="mouth_y", amount=0.08)]).pixels
    size = f"{width / 2:g}x{height / 2:g}mm"
    found = of(audit(portrait, painting, settings=replace(settings, canvas=size)), "mouth_y")
    planted = 0.08 * float(np.linalg.norm(points[473] - points[468])) / 2
    assert found.deviation_mm.value == pytest.approx(planted, abs=2.5 * found.deviation_mm.sigma)
    assert found.deviation_mm.value == pytest.approx(planted, rel=0.15)
