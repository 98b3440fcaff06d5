"""A sitter whose points are known exactly, and what is read of paintings of her, for the tests of values."""

from __future__ import annotations

import numpy as np

from face_scenes import close_up
from limner.face.mesh import open_mesh
from limner.pictures.cielab import to_levels, to_light
from limner.pictures.picture import Picture
from limner.proving.photograph import Shot, rephotograph
from limner.values.read import Asked, read_values


def picture(pixels, name="picture"):
    return Picture(pixels=pixels, name=name, digest=None, full_size=(pixels.shape[1], pixels.shape[0]))


def a_sitter(portrait, model_path):
    """The head large, no light burnt out, and its points."""
    pixels, _ = close_up(portrait)
    pixels = np.clip(pixels.astype(np.float64) * 0.9, 4, 250).astype(np.uint8)
    points = open_mesh(model_path).detect(pixels)[0][:, :2].astype(np.float64)
    return pixels, points


def compare(sitter, pixels, shot=None, **asked):
    """What is read from a painting that is photographed; the places are known exactly."""
    seen, points = sitter
    photo = rephotograph(pixels, shot or Shot(quality=0))
    wanted = Asked(
        reference_points=points, painting_points=photo.place(points), stage=asked.pop("stage", "colour"), **asked
    )
    return read_values(picture(seen, "sitter"), picture(photo.pixels, "canvas"), wanted)


def half_lit(sitter, shift):
    """The face lit from picture left, the shadow's edge so many pupil distances to picture right of the middle."""
    pixels, points = sitter
    apart = float(points[473, 0] - points[468, 0])
    edge = float(points[[468, 473], 0].mean()) + (0.35 + shift) * apart
    light = 0.06 + 0.94 / (1 + np.exp((np.arange(pixels.shape[1]) - edge) / (0.04 * apart)))
    return np.rint(255 * to_levels(to_light(pixels / 255.0) * light[None, :, None])).astype(np.uint8)
