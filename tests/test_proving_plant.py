"""The slips planted are exactly what they say, leave the pupils alone, and can be undone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limner.errors import UsageError
from limner.proving.leave import FEATURES, leave_out, toned_blank
from limner.proving.plans import plantings
from limner.proving.plant import deform, displacement, plant, plant_gently
from limner.proving.pulls import FALLOFFS, Pull, fade
from limner.proving.slips import KINDS, Slip
from limner.proving.truth import true_deviations
from proving_face import invented_points

POINTS = invented_points(turn=4.0)
IPD = 220.0


def length(points, a, b):
    return float(np.linalg.norm(points[b] - points[a]))


def amount_for(kind: str) -> float:
    """The largest amount a plan would use of this kind."""
    for part, amount in (
        ("turn", 6.0), ("lip", 0.5), ("opening", 0.25), ("nose_width", 0.25), ("cheek", 0.04), ("jaw", 0.04),
        ("face_width", 0.06), ("chin", 0.12), ("nose_length", 0.08), ("_x", 0.05), ("_y", 0.05), ("mouth", 0.12),
    ):  # fmt: skip
        if part in kind:
            return amount
    return 0.15


@pytest.mark.parametrize("falloff", FALLOFFS)
def test_a_fade_falls_from_one_to_nothing_without_a_step(falloff):
    t = np.linspace(-0.5, 1.5, 4001)
    w = fade(t, falloff)
    assert w[0] == pytest.approx(1)
    assert w[-1] == pytest.approx(0)
    assert np.all(np.diff(w) <= 1e-12)
    assert np.abs(np.diff(w)).max() < 2.5 * (t[1] - t[0])


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_moves_something_keeps_the_pupils_and_can_be_undone(kind, sign):
    moves = displacement(Slip(kind=kind, amount=sign * amount_for(kind)), POINTS)
    grid = np.stack(np.meshgrid(np.arange(60, 840, 7.0), np.arange(120, 880, 7.0)), axis=-1).reshape(-1, 2)
    there = moves(grid)
    assert np.abs(there - grid).max() > 1
    assert np.abs(moves.inverse(there) - grid).max() < 0.05
    pupils = POINTS[[468, 473]]
    shift = np.abs(moves(pupils) - pupils).max()
    if kind in {"eye_left_x", "eye_left_y", "eye_right_x", "eye_right_y"}:
        assert shift == pytest.approx(0.05 * IPD, rel=0.01)
    else:
        assert shift < 1e-6


@pytest.mark.parametrize(
    ("kind", "amount", "pair"),
    [
        ("eyes_width", 0.10, (33, 133)),
        ("eyes_width", 0.10, (362, 263)),
        ("eyes_width", -0.13, (33, 133)),
        ("eyes_size", 0.17, (362, 263)),
        ("eye_width_left", 0.10, (362, 263)),
        ("eyes_opening", 0.25, (159, 145)),
        ("eye_opening_left", -0.25, (386, 374)),
        ("nose_width", 0.25, (129, 358)),
        ("nose_width", -0.25, (129, 358)),
        ("mouth_width", -0.12, (61, 291)),
        ("mouth_size", 0.12, (61, 291)),
        ("upper_lip", 0.5, (13, 0)),
        ("upper_lip", -0.5, (13, 0)),
        ("lower_lip", 0.4, (14, 17)),
        ("upper_lip_edge", 0.5, (13, 0)),
        ("lower_lip_edge", -0.4, (14, 17)),
        ("face_width", 0.06, (234, 454)),
        ("jaw_width", -0.04, (172, 397)),
        ("cheek_right", 0.03, (132, 361)),
    ],
)
def test_the_planted_amount_is_the_change_of_the_measure(kind, amount, pair):
    after = displacement(Slip(kind=kind, amount=amount), POINTS)(POINTS)
    assert length(after, *pair) / length(POINTS, *pair) - 1 == pytest.approx(amount, abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "amount", "measure", "deviation"),
    [
        ("eyes_width", 0.10, "eye_width_left", 10.0),
        ("eyes_opening", -0.2, "eye_opening_right", -20.0),
        ("nose_width", 0.25, "nose_width", 25.0),
        ("mouth_width", -0.12, "mouth_width", -12.0),
        ("upper_lip", 0.5, "upper_lip", 50.0),
        ("lower_lip_edge", -0.4, "lower_lip", -40.0),
        ("chin", -0.1, "chin_height", -10.0),
        ("mouth_x", 0.04, "mouth_x", 4.0),
        ("mouth_y", -0.05, "mouth_y", -5.0),
        ("nose_y", 0.03, "nose_y", 3.0),
        ("brow_left_y", -0.05, "brow_left_y", -5.0),
        ("mouth_turn", 3.0, "mouth_axis", 3.0),
        ("eye_turn_left", -4.0, "eye_slant_left", -4.0),
        ("brow_turn_right", 5.0, "brow_slant_right", 5.0),
        ("face_width", 0.05, "face_width", 5.0),
        ("jaw_width", -0.04, "jaw_width", -4.0),
    ],
)
def test_the_catalogue_reads_the_planted_amount(kind, amount, measure, deviation):
    moves = displacement(Slip(kind=kind, amount=amount), POINTS)
    assert true_deviations(POINTS, moves(POINTS))[measure] == pytest.approx(deviation, abs=1e-6)


def test_points_without_a_size_have_no_truth():
    with pytest.raises(UsageError, match="size"):
        true_deviations(np.zeros((478, 2)), POINTS)


@pytest.mark.parametrize(("what", "keeps"), [("eyes_width", (159, 145)), ("eyes_opening", (33, 133))])
def test_an_eye_made_wider_is_not_made_more_open_nor_the_other_way_round(what, keeps):
    after = displacement(Slip(kind=what, amount=0.15), POINTS)(POINTS)
    assert length(after, *keeps) == pytest.approx(length(POINTS, *keeps), abs=1e-9)


def test_shifts_are_shares_of_the_pupils_distance_along_the_eye_line():
    right = (POINTS[473] - POINTS[468]) / IPD
    down = np.array([-right[1], right[0]])
    for kind, direction, index in (("mouth_x", right, 291), ("nose_y", down, 129), ("brow_left_y", down, 334)):
        moved = displacement(Slip(kind=kind, amount=0.05), POINTS)(POINTS)[index] - POINTS[index]
        assert moved == pytest.approx(0.05 * IPD * direction, abs=1e-9)


def test_a_mouth_turned_three_degrees_turns_three_degrees_clockwise():
    after = displacement(Slip(kind="mouth_turn", amount=3.0), POINTS)(POINTS)

    def slope(points):
        d = points[291] - points[61]
        return np.degrees(np.arctan2(d[1], d[0]))

    assert slope(after) - slope(POINTS) == pytest.approx(3.0, abs=1e-9)


def test_slips_one_after_the_other_each_keep_their_own_amount():
    slips = [
        Slip(kind="eye_left_x", amount=0.05),
        Slip(kind="eye_width_left", amount=0.1),
        Slip(kind="chin", amount=-0.1),
    ]
    after = displacement(slips, POINTS)(POINTS)
    assert length(after, 362, 263) / length(POINTS, 362, 263) == pytest.approx(1.1, abs=1e-9)
    assert true_deviations(POINTS, after)["chin_height"] / (1 / 1.05) == pytest.approx(100 * (0.9 - 1.05), abs=0.5)
    assert length(after, 468, 473) == pytest.approx(1.05 * IPD, rel=1e-3)


def test_a_slip_without_a_plateau_has_its_amount_at_the_centre_only():
    after = displacement(Slip(kind="nose_width", amount=0.2, falloff="hill"), POINTS)(POINTS)
    change = length(after, 129, 358) / length(POINTS, 129, 358) - 1
    assert 0.05 < change < 0.199


def dotted(centres, size=(900, 900)):
    """White dots on black, each a Gaussian of 4 px."""
    y, x = np.mgrid[0 : size[1], 0 : size[0]].astype(np.float64)
    out = np.zeros((size[1], size[0]))
    for cx, cy in centres:
        out += 250 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 32)
    return np.repeat(np.clip(np.rint(out), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def centroid(pixels, near, reach=14):
    x0, y0 = np.rint(near).astype(int) - reach
    patch = pixels[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1].astype(np.float64).mean(axis=2)
    y, x = np.mgrid[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1]
    return np.array([(patch * x).sum(), (patch * y).sum()]) / patch.sum()


def test_the_picture_moves_with_the_map():
    # A shift with a flat core carries a dot without changing its shape, so its centre must land where the map says.
    slips = [
        Slip(kind="mouth_x", amount=0.05),
        Slip(kind="mouth_y", amount=-0.04),
        Slip(kind="eye_left_x", amount=0.03),
    ]
    moves = displacement(slips, POINTS)
    places = np.array([POINTS[[61, 291]].mean(axis=0), POINTS[61], POINTS[291], POINTS[473]])
    moved = deform(dotted(places), moves)
    for place, true in zip(places, moves(places), strict=True):
        assert np.abs(true - place).max() > 4
        assert centroid(moved, true) == pytest.approx(true, abs=0.05)


def test_the_picture_outside_a_slip_is_untouched_and_the_source_is_never_written():
    picture = np.random.default_rng(1).integers(0, 255, (900, 900, 3), dtype=np.uint8)
    picture.setflags(write=False)
    before = picture.copy()
    planted = plant(picture, POINTS, Slip(kind="mouth_width", amount=0.1))
    assert np.array_equal(picture, before)
    changed = np.abs(planted.pixels.astype(int) - picture).max(axis=2) > 0
    box = cv2.boundingRect(changed.astype(np.uint8))
    assert changed.any()
    assert box[1] > POINTS[2][1] - 0.6 * IPD
    assert np.array_equal(plant(picture, POINTS, ()).pixels, picture)


def test_a_slip_that_would_fold_the_picture_is_refused():
    with pytest.raises(UsageError, match="fold"):
        plant(np.zeros((900, 900, 3), np.uint8), POINTS, Slip(kind="nose_width", amount=1.5))


def test_a_slip_that_would_fold_a_face_is_planted_smaller_and_says_so():
    asked = (Slip(kind="nose_width", amount=1.5), Slip(kind="chin", amount=0.1))
    planted = plant_gently(np.zeros((900, 900, 3), np.uint8), POINTS, asked)
    assert 0 < planted.slips[0].amount < 1.5
    assert planted.slips[1].amount / 0.1 == pytest.approx(planted.slips[0].amount / 1.5)
    gentle = (Slip(kind="nose_width", amount=0.2),)
    assert plant_gently(np.zeros((900, 900, 3), np.uint8), POINTS, gentle).slips == gentle


def test_a_strong_stretch_that_folds_nothing_can_be_undone():
    """Its slope passes 2 at the edge, where full steps of a fixed-point iteration swing ever wider."""
    narrower = Pull(
        centre=np.array([50.0, 50.0]),
        axes=np.eye(2),
        radii=(20.0, 20.0),
        matrix=np.diag([-0.45, 0.0]),
        shift=np.zeros(2),
        reach=1.6,
        falloff="bump",
    )
    x = np.linspace(0, 100, 401)
    places = np.stack([x, np.full_like(x, 50.0)], axis=1)
    there = narrower.forward(places)
    steps = np.diff(there[:, 0]) / np.diff(x)
    assert steps.min() > 0
    assert steps.max() > 2
    assert np.abs(narrower.inverse(there) - places).max() < 0.02


@pytest.mark.parametrize(
    "wrong", [{"kind": "ears"}, {"core": 0.0}, {"reach": 1.0}, {"amount": float("nan")}, {"roundness": 1.0}]
)
def test_a_senseless_slip_is_refused(wrong):
    with pytest.raises(UsageError):
        Slip(**({"kind": "chin", "amount": 0.1} | wrong))


def test_points_of_another_schema_are_refused():
    with pytest.raises(UsageError, match="478"):
        displacement(Slip(kind="chin", amount=0.1), np.zeros((68, 2)))


@pytest.mark.parametrize("plan", ["standard", "axes", "quick", "faithful"])
@pytest.mark.parametrize("seed", range(6))
def test_a_plan_is_repeatable_varied_and_fit_to_plant(plan, seed):
    sets = plantings(plan, seed)
    assert sets == plantings(plan, seed)
    assert () in sets
    grid = np.stack(np.meshgrid(np.arange(60, 840, 16.0), np.arange(120, 880, 16.0)), axis=-1).reshape(-1, 2)
    for slips in sets:
        moves = displacement(slips, POINTS)
        assert np.abs(moves.inverse(moves(grid)) - grid).max() < 0.1
    if plan != "faithful":
        assert sets != plantings(plan, seed + 1)


def test_an_unknown_plan_is_refused():
    with pytest.raises(UsageError, match="standard"):
        plantings("slow")  # type: ignore[arg-type]


def test_a_feature_left_out_is_gone_and_the_rest_is_untouched():
    picture = np.full((900, 900, 3), 180, np.uint8)
    for index in (468, 473):
        cv2.circle(picture, np.rint(POINTS[index]).astype(int).tolist(), 20, (20, 20, 20), -1)
    bare = leave_out(picture, POINTS, ("eye_left",))
    x, y = np.rint(POINTS[473]).astype(int)
    assert bare[y, x].min() > 160
    x, y = np.rint(POINTS[468]).astype(int)
    assert bare[y, x].max() == 20
    with pytest.raises(UsageError, match=FEATURES[0]):
        leave_out(picture, POINTS, ("ear",))


def test_a_toned_blank_has_a_tone_and_nothing_on_it():
    blank = toned_blank((320, 240))
    assert blank.shape == (240, 320, 3)
    assert blank.std(axis=(0, 1)).max() < 12
    assert blank.min() > 0
