"""Registration: the points are carried along the pixels, and only where the pixels can be believed."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from limner.face.facepoints import FacePoints
from limner.face.mesh import open_mesh
from limner.face.points import FEATURES
from limner.face.repeat import read_face
from limner.face.search import find_faces
from limner.pictures.picture import Picture
from limner.proving.leave import leave_out
from limner.proving.photograph import Shot, rephotograph
from limner.proving.plant import plant
from limner.proving.render import Brush, paint
from limner.proving.slips import Slip
from limner.proving.trials import crop_to_face
from limner.proving.truth import true_deviations
from limner.register import carry
from limner.register.again import field_through
from limner.register.belief import Signs, weigh
from limner.register.bring import FACE, PX_PER_PUPILS, Brought, Sitter, apply, bring, draw, lay, turned_back
from limner.register.carrying import fitted_points
from limner.register.flow import agreed, at, dense_flow, turned_round
from limner.register.local import BENT, Fits, _plainer, local_fits
from limner.register.repaint import repainted, rule
from limner.register.tone import Look, Planes, Quality, evened, has_colour, planes
from limner.register.wholes import with_wholes
from limner.register.windows import Window, windows_round

Pixels = NDArray[np.uint8]


def as_picture(pixels: Pixels) -> Picture:
    height, width = pixels.shape[:2]
    return Picture(pixels=pixels, name="a picture", digest=None, full_size=(width, height))


@pytest.fixture(scope="module")
def reader(model_path):
    mesh = open_mesh(model_path)

    def read(pixels: Pixels) -> FacePoints:
        face = find_faces(pixels, mesh)[0]
        return read_face(pixels, face.mesh, mesh, found_by=face.found_by)

    return read


@pytest.fixture(scope="module")
def sitter(portrait, reader):
    """The portrait cut to the head, 240 px between the pupils, and its points."""
    pixels = crop_to_face(portrait, reader(portrait).mean)
    return pixels, reader(pixels)


def bent(places: NDArray[np.float64], middle: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """A known smooth map: turned, swelled round a place, and shifted."""
    away = places - middle
    swell = 0.08 * np.exp(-(away**2).sum(axis=-1, keepdims=True) / (2 * reach**2))
    turned = np.stack([away[..., 0] - 0.03 * away[..., 1], away[..., 1] + 0.03 * away[..., 0]], axis=-1)
    return middle + turned * (1 + swell) + [4.0, -3.0]


def pulled(pixels: Pixels, middle: NDArray[np.float64], reach: float) -> Pixels:
    """The picture after ``bent``, by fixed-point inversion."""
    height, width = pixels.shape[:2]
    target = np.stack(np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float)), axis=-1)
    source = target.copy()
    for _ in range(40):
        source = source - (bent(source, middle, reach) - target)
    x, y = source[..., 0].astype(np.float32), source[..., 1].astype(np.float32)
    return np.asarray(cv2.remap(pixels, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)


def brought_of(reference: NDArray[np.float64], painting: NDArray[np.float64]) -> Brought:
    """Two planes of L* as if already in the working frame, with points all over them."""

    def lab(plane: NDArray[np.float64]) -> NDArray[np.float32]:
        return np.dstack([plane, np.zeros((*plane.shape, 2))]).astype(np.float32)

    height, width = reference.shape
    places = np.random.default_rng(0).uniform([0, 0], [width - 1, height - 1], (478, 2))
    still = np.eye(2, 3)
    sitter = Sitter(lab=lab(reference), places=places, from_reference=still, extent=FACE)
    return Brought(sitter=sitter, painting=lab(painting), found=places, to_painting=still)


def test_a_picture_carried_onto_itself_stays(sitter):
    pixels, points = sitter
    told = carry(as_picture(pixels), points, as_picture(pixels), points)
    assert told.refused is None
    assert not told.doubts
    assert not told.unpainted
    assert_allclose(told.points, points.mean, atol=0.02)
    assert min(told.confidence.values()) > 0.9
    assert not told.cut


def test_what_a_picture_s_edge_cuts_off_is_named(sitter):
    pixels, points = sitter
    apart = float(np.linalg.norm(points.mean[473] - points.mean[468]))
    cheek = points.mean[454]  # the sitter's left: cut just beyond it, then through it
    for beyond, cut in ((0.15, False), (0.05, True), (-0.1, True)):
        part = np.ascontiguousarray(pixels[:, : int(cheek[0] + beyond * apart)])
        for pair in ((part, pixels), (pixels, part)):
            told = carry(as_picture(pair[0]), points, as_picture(pair[1]), points)
            assert told.refused is None
            assert (454 in told.cut) == cut
            assert not told.cut & set(FEATURES["lips"].indices)


def test_an_analytic_map_is_recovered_to_a_fraction_of_a_pixel(sitter):
    pixels, points = sitter
    middle, reach = points.mean[4], 0.6 * points.pupil_distance
    shown = pulled(pixels, middle, reach)
    told = carry(as_picture(pixels), points, as_picture(shown), points)
    rows = np.concatenate(list(fitted_points().values()))
    off = np.linalg.norm(told.points - bent(points.mean, middle, reach), axis=1)[rows]
    moved = np.linalg.norm(bent(points.mean, middle, reach) - points.mean, axis=1)[rows]
    assert moved.mean() > 0.03 * points.pupil_distance
    assert np.sqrt((off**2).mean()) < 0.004 * points.pupil_distance


def test_the_dense_flow_agrees_with_scikit_images_tv_l1(sitter):
    """TV-L1 (Zach, Pock & Bischof 2007) as scikit-image has it, on the same evened planes."""
    from skimage.registration import optical_flow_tvl1

    pixels, points = sitter
    middle, reach = points.mean[4], 0.6 * points.pupil_distance
    shown = pulled(pixels, middle, reach)
    brought = bring(pixels, points.mean, shown, bent(points.mean, middle, reach))
    assert isinstance(brought, Brought)
    look = Look(blur=0.02, window=0.25)
    inside = list(FEATURES["lips"].indices)
    x0, y0 = (int(n) - 40 for n in brought.places[inside].min(axis=0))
    x1, y1 = (int(n) + 40 for n in brought.places[inside].max(axis=0))
    planes = (evened(lab[..., 0], look)[y0:y1, x0:x1] for lab in (brought.reference, brought.painting))
    down, across = optical_flow_tvl1(*planes)
    theirs = at(np.stack([across, down], axis=-1).astype(np.float32), brought.places[inside] - [x0, y0])
    ours = at(agreed(dense_flow(brought)), brought.places[inside])
    assert np.sqrt(((ours - theirs) ** 2).sum(axis=1).mean()) < 0.012 * PX_PER_PUPILS


def test_a_shift_agrees_with_scikit_images_phase_correlation(sitter):
    from skimage.registration import phase_cross_correlation

    pixels, points = sitter
    move = np.array([[1.0, 0.0, 5.3], [0.0, 1.0, -3.6]])
    shown = cv2.warpAffine(pixels, move, pixels.shape[1::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    told = carry(as_picture(pixels), points, as_picture(np.asarray(shown, np.uint8)), points)
    fade = np.outer(*(np.hanning(n) for n in pixels.shape[:2]))
    grey = [fade * (light - light.mean()) for light in (p.mean(axis=2) for p in (pixels, np.asarray(shown)))]
    shift, _, _ = phase_cross_correlation(grey[1], grey[0], upsample_factor=20)
    inside = list(FEATURES["eye_left"].indices + FEATURES["lips"].indices)
    moved = (told.points - points.mean)[inside].mean(axis=0)
    assert_allclose(moved, [5.3, -3.6], atol=0.1)
    assert_allclose(moved, shift[::-1], atol=0.15)


def test_a_backward_flow_is_turned_round():
    height, width = 90, 120
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    back = np.stack([2 * np.sin(y / 15), 1.5 * np.cos(x / 20)], axis=-1).astype(np.float32)
    forward = turned_round(back)
    there = cv2.remap(back, x + forward[..., 0], y + forward[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    assert np.abs(forward + there)[10:-10, 10:-10].max() < 0.05


def test_the_working_frame_goes_there_and_back(sitter):
    pixels, points = sitter
    half = np.asarray(cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    brought = bring(pixels, points.mean, half, points.mean / 2)
    assert isinstance(brought, Brought)
    distance = np.linalg.norm(brought.places[473] - brought.places[468])
    assert distance == pytest.approx(PX_PER_PUPILS)
    assert_allclose(apply(brought.to_painting, brought.places), points.mean / 2, atol=1e-6)
    assert_allclose(apply(turned_back(brought.to_painting), points.mean / 2), brought.found, atol=1e-6)


def test_a_large_photo_is_brought_down_without_a_shift(sitter):
    """A picture enlarged five times, where the middle of px x lies at 5 x + 2."""
    pixels, points = sitter
    large = np.asarray(cv2.resize(pixels, None, fx=5, fy=5, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    told = carry(as_picture(pixels), points, as_picture(large), _moved(points, 5 * points.mean + 2))
    rows = np.concatenate(list(fitted_points().values()))
    off = (told.points - (5 * points.mean + 2))[rows] / 5
    assert np.abs(off.mean(axis=0)).max() < 0.03
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.1


def test_points_without_a_size_are_refused_with_a_reason(sitter):
    pixels, points = sitter
    nowhere = np.full_like(points.mean, np.nan)
    assert not bring(pixels, nowhere, pixels, points.mean)
    told = carry(as_picture(pixels), points, as_picture(pixels), _moved(points, nowhere))
    assert told.refused is not None
    assert "cannot be laid over" in told.refused


def _moved(points: FacePoints, mean: NDArray[np.float64]) -> FacePoints:
    return FacePoints(mean=mean, runs=mean[None], depth=points.depth, box=points.box, found_by=points.found_by)


@pytest.mark.parametrize("kind", ["strokes", "glazes", "knife"])
@pytest.mark.parametrize(
    ("slip", "measure", "give"),
    [
        (Slip(kind="eyes_width", amount=0.15), "eye_width_left", 2.5),
        (Slip(kind="nose_width", amount=-0.15), "nose_width", 2.5),
        (Slip(kind="mouth_width", amount=0.10), "mouth_width", 2.5),
    ],
)
def test_a_planted_size_is_recovered_in_paint(sitter, reader, kind, slip, measure, give):
    pixels, points = sitter
    planted = plant(pixels, points.mean, slip)
    photo = rephotograph(paint(planted.pixels, Brush.random(kind, 5)), Shot.random(5).square_on())
    told = carry(as_picture(pixels), points, as_picture(photo.pixels), reader(photo.pixels))
    true = true_deviations(points.mean, planted.points)[measure]
    read = true_deviations(points.mean, told.points)[measure]
    assert abs(true) > 3 * give
    assert read == pytest.approx(true, abs=give)


@pytest.mark.parametrize("values", [2, 3])
def test_the_edge_of_a_shadow_tells_where_it_was_moved(values):
    """Soft forms, painted in flat values after a known map: repainted in these, the reference shows the map better."""
    y, x = np.mgrid[0:400, 0:360].astype(np.float64)
    places = np.stack([x, y], axis=-1)

    def light(at_: NDArray[np.float64]) -> NDArray[np.float64]:
        form = sum(
            sign * np.exp(-(((at_ - np.array(centre)) / size) ** 2).sum(axis=-1))
            for centre, size, sign in (
                ((120, 150), 45, 1.0),
                ((250, 160), 60, -1.0),
                ((180, 280), 50, 1.0),
                ((90, 300), 55, -1.0),
            )
        )
        return 50 + 30 * np.asarray(form)

    middle, reach = np.array([180.0, 200.0]), 80.0
    source = places.copy()
    for _ in range(40):
        source = source - (bent(source, middle, reach) - places)
    steps = np.linspace(20, 80, values + 1)
    flat = np.linspace(30, 75, values)[np.digitize(light(source), steps[1:-1])]
    brought = brought_of(light(places), cv2.GaussianBlur(flat, (0, 0), 1.0))
    true = bent(places, middle, reach) - places
    start = agreed(dense_flow(brought))
    by_shapes = agreed(dense_flow(brought, repainted(brought, start)))
    inner = (slice(100, 320), slice(80, 280))
    off, nearer = (np.hypot(*np.moveaxis((flow - true)[inner], -1, 0)).mean() for flow in (start, by_shapes))
    assert nearer < 0.7 * off


def test_a_painting_with_all_tones_is_not_read_by_shapes(sitter):
    pixels, points = sitter
    shown = as_picture(paint(pixels, Brush.random("glazes", 2)))
    assert not carry(as_picture(pixels), points, shown, points).by_shapes


def test_the_rule_of_the_tones_rises_whatever_the_paint():
    rng = np.random.default_rng(4)
    own = rng.uniform(10, 90, 5000).astype(np.float32)
    painted = (np.where(own < 50, 25, 60) + rng.normal(0, 15, 5000)).astype(np.float32)
    light, tones = rule(own, painted)
    assert (np.diff(light) > 0).all()
    assert (np.diff(tones) >= 0).all()
    assert np.interp([20, 80], light, tones) == pytest.approx([25, 60], abs=4)


@pytest.mark.parametrize(
    ("left", "expected"),
    [
        (("eye_right",), {"eye_right"}),
        (("eye_left",), {"eye_left"}),
        (("nose",), {"nose"}),
        (("mouth",), {"lips"}),
        (("eye_right", "eye_left"), {"eye_right", "eye_left"}),
        (("brow_right", "brow_left"), {"brow_right", "brow_left"}),
    ],
)
def test_what_is_not_on_the_canvas_is_said_to_be_not_painted_yet(sitter, reader, left, expected):
    pixels, points = sitter
    bare = leave_out(pixels, points.mean, left)
    photo = rephotograph(paint(bare, Brush.random("strokes", 3)), Shot.random(3).square_on())
    told = carry(as_picture(pixels), points, as_picture(photo.pixels), reader(photo.pixels))
    assert told.refused is None
    assert expected <= set(told.unpainted)
    others = {"eye_right", "eye_left", "nose", "lips", "brow_right", "brow_left"} - expected
    assert not others & set(told.unpainted)


def test_where_something_else_is_painted_nothing_is_said_to_be_bare():
    well = {feature: signs() for feature in FEATURES}
    empty, other = signs(echo=0.1, likeness=0.1), signs(echo=0.1, likeness=0.1, contrast=0.9)
    assert set(weigh(well | {"eye_right": empty}).unpainted) == {"eye_right"}
    assert not weigh(well | {"eye_right": other}).unpainted
    assert set(weigh(well | {"eye_right": other}).doubts) == {"eye_right"}


def test_where_the_paint_does_not_match_one_bare_eye_is_not_told_but_a_bare_canvas_is():
    unlike = {feature: signs(likeness=0.3) for feature in FEATURES}
    bare = signs(echo=0.1, likeness=0.1)
    one = weigh(unlike | {"eye_right": bare})
    assert one.refused is not None
    assert not one.unpainted
    assert "eye_right" in one.doubts
    canvas = weigh(dict.fromkeys(FEATURES, bare))
    assert set(canvas.unpainted) == {"eye_right", "eye_left", "brow_right", "brow_left", "nose", "lips"}


def test_a_fit_keeps_to_a_stretch_unless_the_paint_speaks_for_a_bend():
    rng = np.random.default_rng(5)
    terms, straight = 6, (0, 1, 2)
    root = rng.standard_normal((3, 2 * terms + 2, 2 * terms + 2))
    normal = root @ root.transpose(0, 2, 1)
    whole = rng.standard_normal((3, 2 * terms))
    whole[1] *= 1e-3  # next to nothing beyond the noise
    whole[2] *= 1e3
    less, bent = _plainer(whole, normal, terms, BENT)
    high = [k for k in range(2 * terms) if k % terms not in straight]
    assert_allclose((whole + less)[1, high], 0, atol=1e-6)
    assert_allclose((whole + less)[2, high], whole[2, high], rtol=1e-4)
    assert bent[1] < 0.01
    assert bent[2] > 100
    half, _ = _plainer(whole, normal, terms, float(bent[0]))
    assert_allclose((whole + half)[0, high], whole[0, high] / 2)
    # What the lower terms take on is what least squares gives them once the higher ones are held.
    change = np.zeros(2 * terms + 2)
    change[: 2 * terms] = less[0]
    rest = [k for k in range(2 * terms + 2) if k not in high]
    solved = np.linalg.solve(normal[0][np.ix_(rest, rest)], -normal[0][np.ix_(rest, high)] @ change[high])
    assert_allclose(change[[k for k in rest if k < 2 * terms]], solved[: len(rest) - 2], atol=1e-9)


def test_the_same_pictures_give_the_same_bytes(sitter):
    pixels, points = sitter
    shown = as_picture(paint(pixels, Brush.random("glazes", 2)))
    one, other = (carry(as_picture(pixels), points, shown, points) for _ in range(2))
    assert one.points.tobytes() == other.points.tobytes()
    assert one.runs.tobytes() == other.runs.tobytes()


def test_one_colour_is_told_from_many(sitter):
    pixels, points = sitter
    grey = np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)
    for shown, colour in ((pixels, True), (grey, False)):
        brought = bring(pixels, points.mean, shown, points.mean)
        assert isinstance(brought, Brought)
        assert has_colour(brought) is colour


def test_a_local_fit_finds_a_stretch_and_says_how_sure():
    """Random texture stretched by 6 % about a point: the moves are known in closed form."""
    rng = np.random.default_rng(4)
    texture = cv2.GaussianBlur(rng.normal(size=(240, 240)).astype(np.float32), (0, 0), 4) * 10
    x, y = np.meshgrid(np.arange(240, dtype=np.float32), np.arange(240, dtype=np.float32))
    stretched = cv2.remap(texture, 120 + (x - 120) / 1.06, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    noisy = stretched + rng.normal(size=(240, 240)).astype(np.float32) * 0.05
    places = np.array([[100.0, 120.0], [120.0, 120.0], [145.0, 110.0]])
    flow = np.zeros((240, 240, 2), dtype=np.float32)
    windows = windows_round(places, np.array([1.0, 0.0]), Window(along=0.14, across=0.07))

    def fitted(painting: NDArray[np.float64]) -> Fits:
        plane = Quality(np.asarray(painting, np.float32))
        return local_fits(flow, [Planes(reference=Quality(texture), painting=plane, weight=1.0)], windows, rounds=6)

    fits = fitted(noisy)
    assert_allclose(fits.moves, np.stack([0.06 * (places[:, 0] - 120), np.zeros(3)], axis=1), atol=0.1)
    assert (fits.sigma > 0).all()
    worse = fitted(noisy + rng.normal(size=(240, 240)) * 2)
    assert (worse.sigma > 2 * fits.sigma).all()


def test_a_fit_of_third_degree_follows_a_stretch_that_fades():
    """Random texture stretched about a point by a share that falls off with the distance squared."""
    rng = np.random.default_rng(5)
    texture = cv2.GaussianBlur(rng.normal(size=(240, 240)).astype(np.float32), (0, 0), 4) * 10
    x, y = np.meshgrid(np.arange(240, dtype=np.float64), np.arange(240, dtype=np.float64))

    def moves(dx):
        return 0.08 * dx * (1 - (dx / 120) ** 2)

    source = x - 120  # where each px of the stretched picture came from, by fixed-point iteration
    for _ in range(30):
        source = x - 120 - moves(source)
    maps = (source + 120).astype(np.float32), y.astype(np.float32)
    stretched = cv2.remap(texture, *maps, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    made = [Planes(reference=Quality(texture), painting=Quality(np.asarray(stretched, np.float32)), weight=1.0)]
    offsets = np.array([[-40.0, 0.0], [-20.0, 5.0], [0.0, 0.0], [35.0, -5.0]])
    found = {}
    for degree in (2, 3):
        window = Window(along=0.25, across=0.15, degree=degree)
        windows = windows_round(np.array([[120.0, 120.0]]), np.array([1.0, 0.0]), window)
        fits = local_fits(np.zeros((240, 240, 2), np.float32), made, windows, rounds=6)
        assert_allclose(fits.beside(np.zeros((1, 2)), degree)[0], fits.moves, atol=1e-6)
        found[degree] = fits.beside(offsets, degree)[0]
    truth = np.stack([moves(offsets[:, 0]), np.zeros(4)], axis=1)
    assert_allclose(found[3], truth, atol=0.09)
    assert np.abs(found[2] - truth).max() > 0.15


def test_a_field_drawn_through_points_goes_through_them_and_is_the_start_far_away():
    rng = np.random.default_rng(6)
    start = np.asarray(cv2.GaussianBlur(rng.normal(size=(240, 320, 2)), (0, 0), 25) * 60, dtype=np.float32)
    places = rng.uniform(60, 120, (200, 2))
    moves = at(start, places) + [3.0, -2.0]
    field = field_through(start, places, moves)
    middle = np.array([[90.0, 90.0], [80.0, 100.0], [104.0, 77.0]])
    assert_allclose(at(field, middle), at(start, middle) + [3.0, -2.0], atol=0.15)
    assert_allclose(field[200:, 250:], start[200:, 250:], atol=1e-3)


def test_a_second_look_reads_more_of_a_slip_that_ends_within_the_window():
    """Random texture in which a part, smaller than the window, is pushed aside: the fit reads it too small."""
    rng = np.random.default_rng(7)
    texture = cv2.GaussianBlur(rng.normal(size=(240, 240)).astype(np.float32), (0, 0), 3) * 10
    x, y = np.meshgrid(np.arange(240, dtype=np.float32), np.arange(240, dtype=np.float32))
    made_of = [Quality(texture)]
    push = 4 * np.exp(-((((x - 120) ** 2 + (y - 120) ** 2) / (2 * 11.0**2)) ** 2))
    source = x.copy()  # where each px of the pushed picture came from, by fixed-point iteration
    for _ in range(40):
        source = x - cv2.remap(push, source, y, cv2.INTER_LINEAR)
    pushed = cv2.remap(texture, source, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    made = [Planes(reference=made_of[0], painting=Quality(pushed), weight=1.0)]
    places = np.stack(np.meshgrid(np.arange(60.0, 181.0, 6), np.arange(60.0, 181.0, 6)), axis=-1).reshape(-1, 2)
    windows = windows_round(places, np.array([1.0, 0.0]), Window(along=0.14, across=0.08))
    start = np.zeros((240, 240, 2), dtype=np.float32)
    moves = local_fits(start, made, windows, rounds=2).moves
    pushed_most = np.linalg.norm(places - 120, axis=1) < 4
    lost = [4 - moves[pushed_most, 0].mean()]
    for _ in range(3):
        field = field_through(start, places, moves)
        fits = local_fits(field, made, windows, rounds=1, kept=True)
        moves = fits.moves
        lost.append(4 - moves[pushed_most, 0].mean())
    assert lost[0] > 0.8
    assert lost[-1] < 0.5 * lost[0]
    assert_allclose(at(field, places) + fits.bends[..., 0], moves, atol=1e-5)


def test_a_place_that_departs_from_its_whole_is_left_to_its_own_fit(sitter):
    pixels, points = sitter
    drawn = draw(pixels, points.mean)
    assert isinstance(drawn, Sitter)
    brought = lay(drawn, pixels, points.mean)
    assert isinstance(brought, Brought)
    flow = np.zeros((*drawn.lab.shape[:2], 2), np.float32)
    made = planes(brought, Look(blur=0.01, window=0.5))
    run, doubt = drawn.places.copy(), np.full(478, 0.5)
    run[33] += [6.0, 0.0]  # a corner of the eye far off, a lid by less than its doubt
    run[159] += [0.0, 0.4]
    told = with_wholes(drawn, flow, made, run, doubt, which=0, full=True)
    assert_allclose(told[33], run[33], atol=1e-9)
    assert np.linalg.norm(told[159] - drawn.places[159]) < 0.25
    corner, inside = told[61] - run[61], told[13] - run[13]
    assert_allclose(inside, 0, atol=1e-9)  # lips of a full painting keep their own fits, but for the corners
    assert np.linalg.norm(corner) < 0.2


def signs(**other: float) -> Signs:
    well = {
        "likeness": 0.99,
        "echo": 1.0,
        "contrast": 0.3,
        "scatter": 0.001,
        "stray": 0.002,
        "sigma": 0.005,
        "apart": 0.01,
    }
    return Signs(**(well | other))


def test_the_verdict_weighs_each_sign():
    well = {feature: signs() for feature in FEATURES}
    assert weigh(well).refused is None
    assert not weigh(well).doubts
    vague = weigh(well | {"lips": signs(sigma=0.05)})
    assert set(vague.doubts) == {"lips"}
    assert vague.confidence["lips"] < 0.2
    assert set(weigh(well | {"nose": signs(echo=0.2, likeness=0.5)}).unpainted) == {"nose"}
    lost = {feature: signs(stray=0.2) for feature in FEATURES}
    assert weigh(lost).refused is not None
    assert not weigh(well | {"jaw": signs(echo=0.2, likeness=0.5)}).unpainted  # a jaw is not left out
    unlike = {feature: signs(likeness=0.3) for feature in FEATURES}
    assert weigh(unlike).refused is not None
