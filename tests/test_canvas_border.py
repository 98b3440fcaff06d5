"""A bare margin of the wall's colour: seen in the mean of whole sides, and never left out in silence."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from limner.pictures.border import CLEAR, WITHIN, faint_border, ring_within
from limner.pictures.canvas import find_canvas
from limner.pictures.picture import Picture
from limner.pictures.sides import beside
from scene_parts import bent, board, camera, lay_flat, lay_textured
from scenes import make_scene, searched

SIZE = (2016, 1512)
WALL = 0.42


def seen(*, off_axis: float, around: float, roll: float) -> Any:
    """The camera, degrees off the canvas's axis."""
    aim = np.array([10.0, -15.0, 0.0])
    return camera(
        width=SIZE[0],
        height=SIZE[1],
        focal_35mm=26.0,
        distance=1150,
        off_axis=off_axis,
        around=around,
        roll=roll,
        aim=aim,
    )


def photo(margin: float, ground: float, *, sides: int = 4, noise: float = 2.5) -> tuple[Any, Any, Any]:
    """A square canvas of 600 mm, its ``margin`` (mm) bare and of linear light ``ground``, on an even wall.

    Gives the photo, the canvas's corners and those of what is painted; ``sides``: on how many a margin is to be seen.
    """
    rng = np.random.default_rng(5)
    view = seen(off_axis=18, around=30, roll=2)
    picture = np.full((SIZE[1], SIZE[0], 3), WALL, np.float32)
    outer, inner = (board(-300 + m, -300 + m, 300 - m, 300 - m, 0) for m in (0.0, margin))
    reach = np.array([margin * (k < sides) for k in range(4)])
    bare = board(
        -300 + margin - reach[3], -300 + margin - reach[0], 300 - margin + reach[1], 300 - margin + reach[2], 0
    )
    lay_textured(picture, view, bare, np.full((8, 8, 3), ground, np.float32))
    painted = cv2.resize(
        rng.uniform(0.02, 0.2, (12, 12, 3)).astype(np.float32), (900, 900), interpolation=cv2.INTER_CUBIC
    )
    lay_textured(picture, view, inner, painted)
    picture = cv2.GaussianBlur(picture, (0, 0), 1.2)
    coded = 255 * np.clip(picture, 0, 1) ** (1 / 2.2) + noise * rng.normal(size=picture.shape)
    pixels = np.clip(coded, 0, 255).astype(np.uint8)
    return pixels, *(bent(view.see(one), 0.0, *SIZE) for one in (outer, inner))


def test_a_border_too_faint_for_edges_is_seen_in_the_mean_of_whole_sides() -> None:
    """1.3 CIELAB units between the bare margin and the wall, less than the noise of a pixel."""
    pixels, outer, inner = photo(12, WALL * 1.04)
    assert faint_border(pixels, inner, 1.0) > CLEAR
    assert faint_border(pixels, outer, 1.0) < CLEAR


def test_a_wall_without_a_border_has_none() -> None:
    pixels, _, inner = photo(12, WALL)
    assert faint_border(pixels, inner, 1.0) < 0.5 * CLEAR


@pytest.mark.parametrize(("sides", "there"), [(2, False), (3, True)])
def test_three_sides_make_a_border_and_two_may_be_a_shadow(sides: int, there: bool) -> None:
    pixels, _, inner = photo(12, WALL * 1.1, sides=sides)
    assert (faint_border(pixels, inner, 1.0) > CLEAR) == there


def striped(strips: Any) -> tuple[Any, Any]:
    """A square painting of 600 mm with a strip of 12 mm beside its top, right and left side, in these colours.

    Gives the photo and the painting's corners.
    """
    rng = np.random.default_rng(6)
    view = seen(off_axis=18, around=30, roll=2)
    picture = np.full((SIZE[1], SIZE[0], 3), (0.4, 0.2, 0.15), np.float32)
    beside_it = (board(-300, -312, 300, -300, 0), board(300, -300, 312, 300, 0), board(-312, -300, -300, 300, 0))
    for place, colour in zip(beside_it, strips, strict=True):
        lay_flat(picture, view, place, colour)
    painting = board(-300, -300, 300, 300, 0)
    lay_flat(picture, view, painting, (0.03, 0.04, 0.06))
    coded = 255 * cv2.GaussianBlur(picture, (0, 0), 1.2) ** (1 / 2.2) + 2.5 * rng.normal(size=picture.shape)
    return np.clip(coded, 0, 255).astype(np.uint8), bent(view.see(painting), 0.0, *SIZE)


def test_a_grey_side_and_two_stripes_of_a_red_wall_are_no_border() -> None:
    pixels, corners = striped([(0.5, 0.5, 0.5), (0.5, 0.25, 0.19), (0.3, 0.15, 0.11)])
    assert faint_border(pixels, corners, 1.0) < CLEAR


def test_bare_canvas_is_a_border_where_a_shadow_lies_on_one_side_of_it_too() -> None:
    bare = np.array([0.5, 0.47, 0.4])
    pixels, corners = striped([bare, 0.9 * bare, 0.4 * bare])
    assert faint_border(pixels, corners, 1.0) > CLEAR


@pytest.mark.parametrize("seed", [1200065, 1200070])
def test_a_thick_side_and_what_is_on_the_wall_make_no_doubt_of_a_border(seed: int, portrait: Any) -> None:
    """The stripes beside two sides of 1200065 and the bricks beside 1200070 begin as far out as its side ends."""
    found, off = searched(make_scene(seed, portrait))
    assert found
    assert off < 0.003


@pytest.mark.parametrize("margin", [6, 12, 20])
def test_a_square_canvas_is_not_taken_without_its_bare_margin(margin: float) -> None:
    """The painted part alone has clear edges and the right shape: only the faint border speaks against it."""
    pixels, outer, _ = photo(margin, WALL * 1.04)
    seen = Picture(pixels=pixels, name="photo", digest=None, full_size=SIZE, focal_35mm=26.0)
    found = find_canvas(seen, size_mm=(600.0, 600.0))
    assert found.corners is not None
    off = np.linalg.norm(found.corners - outer, axis=1).max() / np.linalg.norm(outer[2] - outer[0])
    assert not found or off < 0.003
    assert found or "border" in found.reason


def test_the_same_without_a_margin_is_sure() -> None:
    pixels, _, inner = photo(12, WALL)
    seen = Picture(pixels=pixels, name="photo", digest=None, full_size=SIZE, focal_35mm=26.0)
    found = find_canvas(seen, size_mm=(576.0, 576.0))
    assert found
    np.testing.assert_allclose(found.corners, inner, atol=1.5)


def framed(frame: float, raised: float = 0.0) -> tuple[Any, Any, Any]:
    """A square canvas of 400 mm in a frame of this width, mm, ``raised`` so far before it; a rag hangs over a corner.

    Gives the photo, the canvas's corners and the frame's outer ones.
    """
    rng = np.random.default_rng(8)
    view = seen(off_axis=20, around=200, roll=-1)
    picture = np.full((SIZE[1], SIZE[0], 3), WALL, np.float32)
    canvas = board(-200, -200, 200, 200, 0)
    outer = board(-200 - frame, -200 - frame, 200 + frame, 200 + frame, -raised)
    lay_textured(picture, view, outer, np.full((8, 8, 3), (0.12, 0.07, 0.04), np.float32))
    painted = cv2.resize(
        rng.uniform(0.05, 0.3, (6, 6, 3)).astype(np.float32), (900, 900), interpolation=cv2.INTER_CUBIC
    )
    lay_textured(picture, view, canvas, painted)
    lay_flat(picture, view, board(140, -230, 230, -150, -5), (0.12, 0.07, 0.04))
    coded = 255 * np.clip(cv2.GaussianBlur(picture, (0, 0), 1.2), 0, 1) ** (1 / 2.2) + 2.5 * rng.normal(
        size=picture.shape
    )
    return np.clip(coded, 0, 255).astype(np.uint8), *(bent(view.see(one), 0.0, *SIZE) for one in (canvas, outer))


@pytest.mark.parametrize("frame", [15, 60, 130])
@pytest.mark.parametrize("raised", [0, 8])
def test_what_was_taken_with_its_frame_has_a_border_inside(frame: float, raised: float) -> None:
    pixels, canvas, outer = framed(frame, raised)
    assert ring_within(pixels, outer, 1.0) > 1.2 * WITHIN
    assert ring_within(pixels, canvas, 1.0) < WITHIN


def test_two_lines_within_a_painting_are_no_border(portrait: Any) -> None:
    """A window's edge and a table's, as long as the canvas, at one distance from two of its sides."""
    pixels, canvas, _ = framed(60)
    square = np.array([[0, 0], [399, 0], [399, 399], [0, 399]], np.float32)
    painted = cv2.resize(portrait[:400, :400], (400, 400))
    painted[:, :40], painted[360:] = 230, 20
    warp = cv2.getPerspectiveTransform(square, canvas.astype(np.float32))
    pixels = cv2.warpPerspective(painted, warp, SIZE, dst=pixels.copy(), borderMode=cv2.BORDER_TRANSPARENT)
    assert ring_within(np.asarray(pixels), canvas, 1.0) < WITHIN


@pytest.mark.parametrize("told", [True, False])
def test_a_square_canvas_is_not_taken_with_its_wide_frame_in_silence(told: bool) -> None:
    """The frame's outer edge has the shape too, and the canvas's own is too far within to be seen beside it."""
    pixels, canvas, _ = framed(160)
    seen = Picture(pixels=pixels, name="photo", digest=None, full_size=SIZE, focal_35mm=26.0 if told else None)
    found = find_canvas(seen, size_mm=(400.0, 400.0))
    assert found.corners is not None
    off = np.linalg.norm(found.corners - canvas, axis=1).max() / np.linalg.norm(canvas[2] - canvas[0])
    assert not found or off < 0.003


def test_within_the_outer_edge_of_a_strip_the_colour_changes_and_within_the_canvas_it_does_not() -> None:
    """A strip of 6 px along the top, as a side or a shadow is, and the paint below it."""
    rng = np.random.default_rng(2)
    pixels = np.full((600, 900, 3), 150, np.uint8)
    pixels[300:] = 90
    pixels[300:306] = 190
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.2)
    pixels = np.clip(pixels + 1.5 * rng.normal(size=pixels.shape), 0, 255).astype(np.uint8)
    edges = beside(pixels, np.array([100.0, 303.0]), np.array([800.0, 303.0]), 20.0, 4)
    low, high = np.array([20.0]), np.array([680.0])
    for place, least, most in ((299.5, 8.0, 16.0), (305.5, -1.0, 1.0)):
        edge = min(edges, key=lambda one, place=place: abs(one.point[1] - place))
        assert edge.point[1] == pytest.approx(place, abs=0.5)
        assert least < edge.altered(low, high)[0] <= most
