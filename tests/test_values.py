"""Values and colour of copies with known errors, photographed with unknown exposure and white balance."""

from __future__ import annotations

from dataclasses import replace

import cv2
import jsonschema
import numpy as np
import pytest

from limner.errors import UsageError
from limner.pictures.cielab import to_levels, to_light
from limner.proving.photograph import Shot, rephotograph
from limner.proving.valueslips import ToneSlip, plant_tones
from limner.report.jsonout import schema, to_dict
from limner.report.text import to_text
from limner.report.valuesheet import FLAT, ValueSheet, grey
from limner.report.view import View
from limner.settings import Settings
from limner.values.bring import UNIT, bring
from limner.values.masses import in_masses, thresholds
from limner.values.mend import SAYS, for_value
from limner.values.read import Asked, faces_in, read_values
from limner.values.regions import REGIONS, region_masks
from limner.values.ways import parse_match
from limner.valuesresult import Amount
from sample import sample
from value_scenes import a_sitter, compare, half_lit, picture

# Gains of the CIE daylight illuminants at 5000 K and 8000 K against 6500 K in linear sRGB, green 1 (CIE 15).
WARM, COOL = (1.21, 1.0, 0.74), (0.89, 1.0, 1.20)


@pytest.fixture(scope="module")
def sitter(portrait, model_path):
    return a_sitter(portrait, model_path)


def region(report, id_):
    return next(r for r in report.regions if r.id == id_)


SHOTS = [
    Shot(stops=-1.0, balance=WARM, noise=1.5, blur=0.5, turn=3.0, scale=0.9),
    Shot(stops=0.1, balance=COOL, noise=1.5, blur=0.5, turn=-4.0),
    Shot(stops=-0.6, balance=COOL, noise=2.0, vignette=0.1),
]


@pytest.mark.parametrize("shot", SHOTS, ids=["dark and warm", "cool", "vignetted"])
def test_a_faithful_copy_has_nothing_off(sitter, shot):
    report = compare(sitter, sitter[0], shot)
    assert [f.text for f in report.off] == []
    assert abs(report.slope.value - 1) < 0.05
    assert len(report.regions) > 35


@pytest.mark.parametrize("shot", SHOTS, ids=["dark and warm", "cool", "vignetted"])
@pytest.mark.parametrize(
    ("id_", "steps"), [("cheek_right", 0.6), ("forehead", -0.6), ("chin", 0.7), ("nose_bridge", -1.0)]
)
def test_a_region_too_light_or_dark_is_read_in_steps(sitter, shot, id_, steps):
    toned = plant_tones(*sitter, [ToneSlip(kind="region", amount=steps, regions=(id_,))]).pixels
    report = compare(sitter, toned, shot)
    found = region(report, id_)
    assert found.local.value == pytest.approx(steps, abs=0.15)
    assert found.call in ("off", "unsure" if found.lost_painting > 0.3 else "off")
    told = next(f for f in report.findings if f.region == id_ and f.kind in ("too light", "too dark"))
    assert told.kind == ("too light" if steps > 0 else "too dark")
    assert told.paint == ("glaze" if steps > 0 else "scumble")
    assert f"value {found.reference:.1f}" in told.mend


def test_strict_is_a_factor_on_the_threshold(sitter):
    toned = plant_tones(*sitter, [ToneSlip(kind="region", amount=0.7, regions=("cheek_right",))]).pixels
    assert region(compare(sitter, toned), "cheek_right").call == "off"
    assert region(compare(sitter, toned, strict=2.0), "cheek_right").call == "slight"


def test_highlights_that_the_sitter_has_not_are_counted_and_placed(sitter):
    toned = plant_tones(*sitter, [ToneSlip(kind="highlights", amount=1.2, count=4, seed=3)])
    report = compare(sitter, toned.pixels)
    apart = float(np.hypot(*(sitter[1][473] - sitter[1][468])))
    near = [
        min(float(np.hypot(*(np.array(light.place) - spot))) for light in report.highlights) for spot in toned.spots
    ]
    assert len(toned.spots) == 4
    assert max(near) < 0.08 * apart
    assert len(report.highlights) == 4
    assert any(f.kind == "scattered highlights" and f.call == "off" for f in report.findings)


def test_lights_as_a_whole_are_unsure_until_a_strip_fixes_the_curve(sitter):
    toned = plant_tones(*sitter, [ToneSlip(kind="lights", amount=0.8)]).pixels
    report = compare(sitter, toned, Shot(stops=-0.8, quality=0))
    lights = next(f for f in report.findings if f.kind == "lights")
    assert lights.amount.value == pytest.approx(0.7, abs=0.2)
    assert lights.call == "unsure"
    assert "strip" in lights.text


def with_patches(pixels, greys):
    """The picture with a square of each grey light along its upper edge, and the middles of the squares."""
    out, places = pixels.copy(), []
    for k, light in enumerate(greys):
        x = 30 + 60 * k
        out[10:60, x - 25 : x + 25] = round(255 * float(to_levels(np.array(light))))
        places.append((x, 35))
    return out, places


def curved(pixels, exponent):
    """As a phone with its own tone curve gives it."""
    return np.rint(255 * to_levels(to_light(pixels / 255.0) ** exponent)).astype(np.uint8)


# ASTM D1535-08e1, Y at Munsell values 2, 5 and 8.
STRIP = {2.0: 0.030481, 5.0: 0.192718, 8.0: 0.576196}


def test_a_strip_undoes_the_phones_curve(sitter):
    pixels, places = with_patches(sitter[0], STRIP.values())
    shot = curved(pixels, 1.3)
    strip = "strip:" + ";".join(f"{x},{y}={v}" for (x, y), v in zip(places, STRIP, strict=True))
    plain, undone = compare(sitter, shot), compare(sitter, shot, match=strip)
    assert plain.slope.value > 1.1
    assert undone.slope.value == pytest.approx(1.0, abs=0.06)
    assert undone.match.tone_known
    assert not plain.match.tone_known
    assert max(abs(r.difference.value) for r in undone.regions if r.lost_painting < 0.3) < 0.35


def test_a_patch_sees_what_the_face_cannot(sitter):
    lighter = plant_tones(
        *sitter, [ToneSlip(kind="region", amount=0.6, regions=tuple(r for r in REGIONS if r != "neck"))]
    )
    pixels, places = with_patches(lighter.pixels, [STRIP[5.0]])
    x, y = places[0]
    shot = Shot(stops=-0.7, balance=WARM, quality=0)
    by_face = compare(sitter, pixels, shot)
    by_patch = compare(sitter, pixels, shot, match=f"patch:{x},{y}=5")
    assert region(by_face, "cheek_right").difference.value == pytest.approx(0.0, abs=0.15)
    assert region(by_patch, "cheek_right").difference.value == pytest.approx(0.6, abs=0.15)
    both = np.array(by_patch.match.gain)
    assert both[0] / both[2] == pytest.approx(0.74 / 1.21, rel=0.05)


def test_a_patch_in_both_pictures_brings_them_together(sitter):
    seen, places = with_patches(sitter[0], [0.3])
    x, y = places[0]
    photo = rephotograph(seen, Shot(stops=-1.0, quality=0))
    asked = Asked(reference_points=sitter[1], painting_points=sitter[1], stage="colour", match=f"patch:{x},{y}@{x},{y}")
    report = read_values(picture(seen), picture(photo.pixels), asked)
    assert report.match.gain == pytest.approx((2.0, 2.0, 2.0), rel=0.05)
    assert "both pictures" in report.match.said


def test_the_white_ground_is_a_measure_too(sitter):
    pixels, places = with_patches(sitter[0], [0.87])
    x, y = places[0]
    shot = Shot(stops=-0.5, quality=0)
    # Y 0.8678 is Munsell value 9.5 (ASTM D1535-08e1).
    told = compare(sitter, pixels, shot, match=f"ground:{x},{y}")
    assert told.match.gain == pytest.approx((2**0.5,) * 3, rel=0.05)
    assert compare(sitter, pixels, shot, match="ground").match.by == "ground"


@pytest.mark.parametrize(
    "way", ["", "grey", "patch", "patch:1", "patch:a,b", "patch:1,2=0", "patch:1,2=11", "strip:1,2=3;4,5=6", "face:1,2",
            "strip:1,2=3;4,5=3;6,7=8", "strip:1,2=3;4,5=6;nonsense", "patch:1.2.3,4", "ground:5"]
)  # fmt: skip
def test_a_way_that_is_none_is_refused(way):
    with pytest.raises(UsageError, match="--match: expected"):
        parse_match(way)


def test_a_place_outside_the_picture_or_without_tone_is_refused(sitter):
    with pytest.raises(UsageError, match="inside its"):
        compare(sitter, sitter[0], match="patch:99999,5")
    white, places = with_patches(sitter[0], [1.0])
    with pytest.raises(UsageError, match="neither burnt out nor black"):
        compare(sitter, white, match=f"patch:{places[0][0]},{places[0][1]}")
    pixels, places = with_patches(sitter[0], STRIP.values())
    wrong = "strip:" + ";".join(f"{x},{y}={v}" for (x, y), v in zip(places, (8, 5, 2), strict=True))
    with pytest.raises(UsageError, match="grow lighter"):
        compare(sitter, pixels, match=wrong)


def test_one_colour_is_recognised_and_colour_left_out(sitter):
    one = cv2.cvtColor(cv2.cvtColor(sitter[0], cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)
    umber = np.clip(one * np.array([1.05, 1.0, 0.85]), 0, 255).astype(np.uint8)
    report = compare(sitter, umber)
    assert report.monochrome
    assert not {f.kind for f in report.findings} & {"colour", "accent", "flat colour", "warm and cool"}
    assert all(r.colour_difference is None for r in report.regions)
    assert not compare(sitter, sitter[0]).monochrome


def test_a_warm_chin_is_told_and_the_photos_cast_is_not(sitter):
    toned = plant_tones(*sitter, [ToneSlip(kind="warm", amount=9.0, regions=("chin",))]).pixels
    report = compare(sitter, toned, Shot(stops=-0.7, balance=COOL, quality=0))
    assert region(report, "chin").warmth.value == pytest.approx(9.0, abs=2.5)
    told = [f for f in report.findings if f.kind in ("colour", "accent") and f.call == "off"]
    # What is planted fades out over the hollow above the chin.
    assert told[0].region == "chin"
    assert {f.region for f in told} <= {"chin", "under_lip"}
    assert "warmer" in told[0].text
    plain = compare(sitter, sitter[0], Shot(stops=-0.7, balance=COOL, quality=0))
    assert [f for f in plain.findings if f.kind in ("colour", "accent") and f.call == "off"] == []
    assert plain.match.gain[2] / plain.match.gain[0] == pytest.approx(0.89 / 1.20, rel=0.05)


def test_skin_too_even_is_told(sitter):
    lab = cv2.cvtColor(sitter[0].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    face = np.zeros(lab.shape[:2], np.uint8)
    cv2.fillConvexPoly(face, cv2.convexHull(np.rint(sitter[1]).astype(np.int32)), 1)
    middle = np.median(lab[face > 0][:, 1:], axis=0)
    lab[..., 1:] = middle + 0.45 * (lab[..., 1:] - middle)
    even = np.rint(255 * np.clip(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), 0, 1)).astype(np.uint8)
    told = next(f for f in compare(sitter, even).findings if f.kind == "flat colour")
    assert told.call == "off"
    assert told.amount.value == pytest.approx(-55, abs=12)


def test_where_the_reference_is_burnt_out_it_holds_nothing(sitter):
    burnt = sitter[0].copy()
    mask = np.zeros(burnt.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(sitter[1][list(REGIONS["forehead"].indices)]).astype(np.int32)], 1)
    burnt[mask > 0] = 255
    report = compare((burnt, sitter[1]), sitter[0])
    assert region(report, "forehead").call == "unsure"
    assert "holds nothing" in region(report, "forehead").reason
    assert any("The reference holds nothing here: forehead" in note for note in report.notes)
    assert any(f.kind == "nothing held" and f.region == "forehead" for f in report.findings)


@pytest.mark.parametrize(("shift", "way"), [(0.12, "toward picture right"), (-0.12, "toward picture left")])
def test_a_shadows_edge_out_of_place_is_told_with_its_way(sitter, shift, way):
    seen = (half_lit(sitter, 0.0), sitter[1])
    report = compare(seen, half_lit(sitter, shift), mm_per_px=Amount(value=0.5, sigma=0.01))
    told = [f for f in report.findings if f.kind == "shadow edge" and f.call == "off"]
    cheek = next(f for f in told if f.region == "sitter's left cheek")
    assert way in cheek.text
    assert cheek.move[0] == pytest.approx(shift, abs=0.03)
    apart = float(np.hypot(*(sitter[1][473] - sitter[1][468])))
    assert cheek.move_mm.value == pytest.approx(abs(shift) * apart * 0.5, rel=0.25)
    true = compare(seen, seen[0])
    assert {f.call for f in true.findings if f.kind == "shadow edge"} == {"true"}


def test_soft_edges_are_told_against_the_others(sitter):
    pixels, points = sitter
    mask = np.zeros(pixels.shape[:2], np.float32)
    lips = points[[61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291]]
    cv2.polylines(mask, [np.rint(lips).astype(np.int32)], False, 1.0, 30)
    mask = cv2.GaussianBlur(mask, (0, 0), 4)[..., None]
    blurred = cv2.GaussianBlur(pixels, (0, 0), 9)
    soft = np.rint(pixels * (1 - mask) + blurred * mask).astype(np.uint8)
    told = {f.region: f for f in compare(sitter, soft).findings if f.kind == "edge"}
    assert told["lower_lip"].amount.value < -0.35
    assert told["lower_lip"].amount.value == min(f.amount.value for f in told.values())
    assert "soft" in told["lower_lip"].text


def test_half_tones_are_missed_from_the_glaze_on_and_never_in_a_block_in(sitter):
    seen = (half_lit(sitter, 0.0), sitter[1])
    grey_of = cv2.cvtColor(seen[0], cv2.COLOR_RGB2GRAY)
    two = np.where(grey_of > np.median(grey_of), 190, 60).astype(np.uint8)
    flat = np.repeat(two[..., None], 3, axis=2)
    full = {f.kind for f in compare(seen, flat, stage="glaze").off}
    assert "half-tones missing" in full
    first = {f.kind for f in compare(seen, flat, stage="block-in").findings}
    assert not first & {"half-tones missing", "scattered highlights", "edge", "lights"}


def test_light_that_falls_off_is_told_and_not_taken_out(sitter):
    width = sitter[0].shape[1]
    apart = float(sitter[1][473, 0] - sitter[1][468, 0])
    stops = 0.35 * (np.arange(width) - sitter[1][:, 0].mean()) / apart
    lit = np.clip(255 * to_levels(to_light(sitter[0] / 255.0) * 0.5 * 2 ** stops[None, :, None]), 0, 255).astype(
        np.uint8
    )
    report = compare(sitter, lit)
    assert report.match.uneven.value == pytest.approx(0.7, abs=0.15)
    assert report.match.uneven_way == "toward picture left"
    assert any("uneven" in note for note in report.notes)
    assert report.off == () or {f.call for f in report.off} == {"off"}


def test_the_plan_of_a_copy_agrees_and_names_where_another_does_not(sitter):
    same = compare(sitter, sitter[0])
    assert [plan.count for plan in same.plans] == [2, 3, 4, 5]
    for plan in same.plans:
        assert plan.agreement > 0.97
        assert sum(m.reference_share for m in plan.masses) == pytest.approx(1.0)
        assert all(m.overlap > 0.9 for m in plan.masses)
        assert list(plan.thresholds) == sorted(plan.thresholds)
    toned = plant_tones(*sitter, [ToneSlip(kind="region", amount=-2.5, regions=("cheek_right",))]).pixels
    assert "sitter's right cheek" in compare(sitter, toned).plans[1].differs


def test_masses_part_where_the_painter_parted_them():
    seen = np.tile(np.linspace(2, 8, 300, dtype=np.float32), (200, 1))
    painted = np.where(seen < 4.4, 3.0, 7.0).astype(np.float32)
    aim = in_masses(seen, painted, np.ones(seen.shape, bool))
    edge = int(np.abs(np.diff(aim[100])).argmax())
    assert seen[100, edge] == pytest.approx(4.4, abs=0.1)
    assert len(np.unique(np.round(aim[100, [0, 60, 100, 140, 200, 299]], 1))) == 2


def test_thresholds_need_no_spread():
    assert thresholds(np.full(50, 4.0), 3) == (4.0, 4.0)


def test_regions_are_the_sitters_and_mirror_each_other(sitter):
    masks = region_masks(bring(sitter[0], sitter[0], sitter[1], sitter[1]).points, (435, 330), UNIT)
    assert set(masks) == set(REGIONS)
    for id_, mask in masks.items():
        middle = float(np.nonzero(mask)[1].mean())
        if id_.endswith("_right"):
            assert middle < 165, id_
        if id_.endswith("_left"):
            assert middle > 165, id_
    summed = np.sum([mask.astype(int) for mask in masks.values()], axis=0)
    assert (summed > 1).mean() < 0.01
    for one in REGIONS.values():
        assert set(one.near) <= set(REGIONS)
        if one.id.endswith(("_right", "_left")):
            assert f"sitter's {one.id.rsplit('_', 1)[1]}" in one.name


def test_the_frame_finds_every_place_again(sitter):
    pixels, points = sitter
    photo = rephotograph(pixels, Shot(turn=8.0, scale=0.7, shift=(0.03, 0.02), quality=0))
    brought = bring(pixels, photo.pixels, points, photo.place(points))
    at = np.rint(brought.points[[61, 291, 33, 263, 2]]).astype(int)
    there = photo.place(points)[[61, 291, 33, 263, 2]]
    off = brought.to_painting[at[:, 1], at[:, 0]] - there
    assert np.abs(off).max() < 1.5
    apart = np.abs(brought.reference - brought.painting)[150:350, 60:270]
    assert float(np.median(apart)) < 0.01


def test_too_few_points_give_no_report(sitter):
    few = sitter[1].copy()
    few[:200] = np.nan
    asked = Asked(reference_points=few, painting_points=sitter[1], stage="colour")
    assert read_values(picture(sitter[0]), picture(sitter[0]), asked) is None


def test_paint_that_mends():
    assert for_value(0.5) == "glaze"
    assert for_value(-0.5) == "scumble"
    assert for_value(-1.5) == "opaque"
    assert all(SAYS[paint] for paint in ("glaze", "scumble", "opaque", "either"))


@pytest.fixture(scope="module")
def told(sitter):
    toned = plant_tones(
        *sitter,
        [
            ToneSlip(kind="region", amount=0.9, regions=("cheek_right",)),
            ToneSlip(kind="region", amount=-0.9, regions=("chin",)),
            ToneSlip(kind="highlights", amount=1.3, count=4, seed=1),
        ],
    ).pixels
    report = compare(sitter, toned)
    result = sample(values=report, reference_points=sitter[1], painting_points=sitter[1], stage="colour")
    return result, picture(sitter[0]), picture(toned)


def test_the_text_is_short_and_full_on_demand(told):
    text = to_text(told[0], width=80)
    section = text[text.index("Values and colour") : text.index("Classical canons")].strip().splitlines()
    assert len(section) <= 12
    assert any("cheek" in line for line in section)
    assert all(len(line) <= 80 for line in section)
    full = to_text(told[0], View(everything=True), width=80)
    assert "Values by region" in full
    assert "The value plan" in full
    for word in ("IoU", "sigma", "L*", "CIEDE", "mesh"):
        assert word not in "".join(section)
    assert "Values and colour" not in to_text(replace(told[0], values=None), width=80)


def test_the_json_holds_it_and_keeps_to_the_schema(told):
    data = to_dict(told[0])
    jsonschema.validate(data, schema(), cls=jsonschema.Draft202012Validator)
    assert data["values"]["match"]["by"] == "face"
    assert len(data["values"]["regions"]) == len(told[0].values.regions)
    bare = to_dict(replace(told[0], values=None))
    assert bare["values"] is None
    jsonschema.validate(bare, schema(), cls=jsonschema.Draft202012Validator)


def test_the_sheet_shows_the_difference_in_greys(told):
    sheet = ValueSheet()(*told)
    assert sheet.ndim == 3
    assert sheet.shape[1] > 1500
    faces = faces_in(told[1], told[2], Asked(reference_points=told[0].reference_points,
                                             painting_points=told[0].painting_points, stage="colour"))  # fmt: skip
    from limner.report.valuesheet import difference

    plane = difference(faces, told[0].values)
    assert float(np.median(plane[faces.masks["cheek_right"]])) == pytest.approx(FLAT + 2 * 0.9, abs=0.4)
    assert float(np.median(plane[faces.masks["chin"]])) == pytest.approx(FLAT - 2 * 0.9, abs=0.4)
    assert float(np.median(plane[faces.masks["forehead"]])) == pytest.approx(FLAT, abs=0.3)


def test_greys_are_the_levels_of_their_values():
    # ASTM D1535-08e1 at values 5 and 8, as sRGB levels.
    assert grey(np.array([0.0, 5.0, 8.0, 10.0])).tolist() == [0, 121, 200, 255]


def test_no_sheet_without_values(told):
    with pytest.raises(UsageError, match="--value-sheet"):
        ValueSheet()(replace(told[0], values=None), told[1], told[2])


def test_slips_say_what_they_cannot_be():
    with pytest.raises(UsageError, match="regions out of"):
        ToneSlip(kind="region", amount=1.0, regions=("elbow",))
    with pytest.raises(UsageError, match="needs regions"):
        ToneSlip(kind="warm", amount=1.0)


def test_values_can_be_left_out_of_the_settings():
    assert Settings().values
    assert Settings(values=False).match == "face"
