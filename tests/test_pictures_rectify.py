"""Canvas sizes as painters write them, and the canvas seen straight on."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from skimage.transform import ProjectiveTransform, estimate_transform

from limner.errors import UsageError
from limner.pictures.canvassize import parse_canvas_size
from limner.pictures.load import load_picture
from limner.pictures.perspective import focal_px, square_to, views_of
from limner.pictures.picture import Picture
from limner.pictures.rectify import ordered_corners, rectify
from scene_parts import board, camera

SIZE = (1600, 1200)


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("400x500mm", (400, 500)),
        ("400 x 500 mm", (400, 500)),
        ("40x50cm", (400, 500)),
        ("40,5x50.25cm", (405, 502.5)),
        ("16x20in", (406.4, 508)),
        ('16"x20"', (406.4, 508)),
        ("16 X 20 IN", (406.4, 508)),
        ("16 by 20 inches", (406.4, 508)),
        ("40cm x 500mm", (400, 500)),
        ("0.4x0.5m", (400, 500)),
        ("400\u00d7500mm", (400, 500)),
        ("40*50cm", (400, 500)),
        ("1000x30mm", (1000, 30)),
    ],
)
def test_sizes_as_painters_write_them(text: str, sides: tuple[float, float]) -> None:
    assert parse_canvas_size(text) == pytest.approx(sides)


@pytest.mark.parametrize(
    "text",
    ["", "400x500", "400mm", "x500mm", "400x500px", "-400x500mm", "400x500x20mm", "29x500mm", "400x5001mm", "4e2x5e2mm"]
    + ["nan x nan mm", "400 500mm", "A4", "400x500mm extra", "0x0cm", "1/2x1in", "\u0664\u0660x50cm"],
)
def test_what_is_no_size_is_refused_with_an_example_or_a_limit(text: str) -> None:
    with pytest.raises(UsageError, match=r"^Expected a canvas"):
        parse_canvas_size(text)


def seen_from(off_axis: float, around: float, width: float, height: float, focal_35mm: float = 26) -> Any:
    view = camera(
        width=SIZE[0],
        height=SIZE[1],
        focal_35mm=focal_35mm,
        distance=1100,
        off_axis=off_axis,
        around=around,
        roll=3,
        aim=np.array([20.0, -30.0, 0.0]),
    )
    return view.see(board(-width / 2, -height / 2, width / 2, height / 2, 0))


def blank(pixels: Any = None, focal_35mm: float | None = 26.0) -> Picture:
    pixels = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8) if pixels is None else pixels
    size = (pixels.shape[1], pixels.shape[0])
    return Picture(pixels=pixels, name="photo", digest=None, full_size=size, focal_35mm=focal_35mm)


@pytest.mark.parametrize("around", range(0, 360, 45))
@pytest.mark.parametrize("off_axis", [0, 12, 35])
def test_the_homography_is_scikit_images(off_axis: float, around: float) -> None:
    """Against ``estimate_transform("projective")`` on the same four corners: within 1e-6 px over the whole canvas."""
    corners = seen_from(off_axis, around, 400, 500)
    flat = rectify(blank(), corners, (400, 500))
    height, width = flat.picture.pixels.shape[:2]
    assert flat.mm_per_px is not None
    edge = np.array([400, 500]) / flat.mm_per_px
    assert np.abs(edge - [width, height]).max() <= 0.5
    own = np.array([[-0.5, -0.5], [edge[0] - 0.5, -0.5], [edge[0] - 0.5, edge[1] - 0.5], [-0.5, edge[1] - 0.5]])
    theirs = estimate_transform("projective", corners, own)
    u = np.linspace(0, 1, 9)
    spots = np.stack(np.meshgrid(u, u), axis=-1).reshape(-1, 2)
    inside = ProjectiveTransform(square_to(corners))(spots)
    ours = ProjectiveTransform(flat.homography)(inside)
    assert np.abs(ours - theirs(inside)).max() < 1e-6


@pytest.mark.parametrize("off_axis", [0, 20, 35])
def test_what_is_on_the_canvas_comes_out_at_its_millimetres(off_axis: float) -> None:
    """Dots painted at known mm are found at these mm again, to a tenth of a px."""
    dots = np.array([(60, 70), (200, 250), (350, 110), (90, 430), (333.3, 444.4)])
    view = camera(
        width=SIZE[0],
        height=SIZE[1],
        focal_35mm=26,
        distance=1000,
        off_axis=off_axis,
        around=70,
        roll=2,
        aim=np.zeros(3),
    )
    pixels = np.full((SIZE[1], SIZE[0], 3), 220, np.float32)
    ys, xs = np.mgrid[: SIZE[1], : SIZE[0]]
    for x, y in view.see(np.column_stack([dots - [200, 250], np.zeros(len(dots))])):
        pixels -= (200 * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * 4.0**2)))[..., None].astype(np.float32)
    corners = view.see(board(-200, -250, 200, 250, 0))
    flat = rectify(blank(pixels.clip(0, 255).astype(np.uint8)), corners, (400, 500))
    assert flat.mm_per_px is not None
    dark = 220.0 - flat.picture.pixels[..., 0]
    v, u = np.mgrid[: dark.shape[0], : dark.shape[1]]
    for x, y in dots / flat.mm_per_px - 0.5:
        near = dark * (np.hypot(u - x, v - y) < 14)
        found = np.array([(near * u).sum(), (near * v).sum()]) / near.sum()
        # The eye sees the middle of a round spot a little off under perspective; that is no error of the homography.
        assert np.hypot(*(found - (x, y))) < 0.35


@pytest.mark.parametrize(
    ("size", "given", "taken"),
    [
        ((400, 500), (400, 500), (400, 500)),
        ((400, 500), (500, 400), (400, 500)),
        ((500, 400), (400, 500), (500, 400)),
        ((700, 300), (300, 700), (700, 300)),
        ((600, 600), (600, 600), (600, 600)),
        ((600, 590), (590, 600), (590, 600)),
    ],
)
def test_which_side_is_the_width_is_taken_from_the_photo_and_said(size: Any, given: Any, taken: Any) -> None:
    for off_axis, around in ((0, 0), (30, 10), (30, 100)):
        flat = rectify(blank(), seen_from(off_axis, around, *size), given)
        assert flat.size_mm == taken
        assert [n.code for n in flat.notices] == ["canvas_side"]
        assert f"{taken[0]} mm wide and {taken[1]} mm high" in flat.notices[0].text


def test_a_size_that_does_not_fit_the_photo_is_said() -> None:
    flat = rectify(blank(), seen_from(25, 40, 400, 500), (400, 600))
    assert [n.code for n in flat.notices] == ["canvas_side", "canvas_size_doubtful"]


@pytest.mark.parametrize("around", [10, 130, 250])
@pytest.mark.parametrize("off_axis", [0, 15, 35])
def test_without_a_size_the_proportions_follow_from_the_perspective(off_axis: float, around: float) -> None:
    flat = rectify(blank(), seen_from(off_axis, around, 400, 500), None)
    assert flat.mm_per_px is None
    assert flat.size_mm is None
    height, width = flat.picture.pixels.shape[:2]
    assert width / height == pytest.approx(0.8, abs=0.002)
    assert flat.off_axis == pytest.approx(off_axis, abs=3)  # aimed beside the middle, on purpose
    assert [n.code for n in flat.notices] == ["canvas_shape_from_perspective"]


def test_without_size_and_focal_length_an_oblique_view_is_called_rough() -> None:
    flat = rectify(blank(focal_35mm=None), seen_from(30, 40, 400, 500), None)
    assert "canvas_shape_rough" in [n.code for n in flat.notices]


def test_the_view_is_the_camera_that_saw_it() -> None:
    view = camera(
        width=SIZE[0],
        height=SIZE[1],
        focal_35mm=28,
        distance=900,
        off_axis=27,
        around=200,
        roll=-5,
        aim=np.array([9.0, 4.0, 0]),
    )
    seen = views_of(view.see(board(-150, -200, 150, 200, 0))[None], SIZE, focal_px(SIZE, 28))
    assert seen.aspect[0] == pytest.approx(0.75, abs=1e-6)
    assert seen.skew[0] == pytest.approx(0, abs=1e-6)
    eye = (view.eye + [150, 200, 0]) / 300
    assert seen.eye[0] == pytest.approx([eye[0], eye[1], -eye[2]], abs=1e-5)


@pytest.mark.parametrize("order", [[0, 1, 2, 3], [3, 1, 0, 2], [2, 3, 0, 1], [1, 0, 3, 2]])
def test_corners_may_come_in_any_order(order: list[int]) -> None:
    corners = seen_from(33, 300, 500, 400)
    assert np.array_equal(ordered_corners(corners[order]), corners)


@pytest.mark.parametrize(
    "corners",
    [
        [[0, 0], [10, 0], [10, 10]],
        [[0, 0], [100, 0], [100, 100], [np.nan, 100]],
        [[0, 0], [100, 0], [200, 0], [300, 0]],
        [[0, 0], [100, 0], [100, 100], [90, 20]],
        [[0, 0], [100, 0], [100, 100], [100, 100]],
        [[0, 0], [3, 0], [3, 3], [0, 3]],
        [],
    ],
)
def test_corners_that_make_no_canvas_are_refused(corners: Any) -> None:
    with pytest.raises(UsageError, match=r"^Expected (the )?four corners"):
        rectify(blank(), np.array(corners, float), (400, 500))


def test_the_photo_is_left_alone_and_the_result_cannot_be_written() -> None:
    pixels = np.random.default_rng(0).integers(0, 256, (SIZE[1], SIZE[0], 3), dtype=np.uint8)
    picture = load_picture(pixels, label="painting")
    before = picture.pixels.copy()
    flat = rectify(picture, seen_from(20, 20, 400, 500), (400, 500))
    assert np.array_equal(picture.pixels, before)
    assert not flat.picture.pixels.flags.writeable
    assert flat.picture.name == "painting"
    assert (flat.picture.scale, flat.picture.full_size) == (1.0, flat.picture.pixels.shape[1::-1])


def test_a_straight_view_is_only_cut_out() -> None:
    rng = np.random.default_rng(1)
    pixels = cv2.GaussianBlur(rng.integers(0, 256, (SIZE[1], SIZE[0], 3), dtype=np.uint8), (0, 0), 2)
    corners = np.array([[199.5, 99.5], [999.5, 99.5], [999.5, 1099.5], [199.5, 1099.5]])
    flat = rectify(blank(pixels), corners, (400, 500))
    assert flat.mm_per_px == pytest.approx(0.5)
    assert flat.picture.pixels.shape == (1000, 800, 3)
    assert np.abs(flat.picture.pixels.astype(int) - pixels[100:1100, 200:1000]).max() <= 1
