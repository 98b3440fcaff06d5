"""Builds the self-contained page: one HTML file that asks nothing of any other place and shows only the pixels."""

from __future__ import annotations

import html
import io
import re
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.face.byhand import FACE_IN_PUPILS, LEAST_SIGMA, HandPoints, usual_share
from limner.face.placeable import PLACEABLE
from limner.face.pointsfile import MOST_BYTES, SCHEMA
from limner.pictures.picture import Picture
from limner.report.clean import clean
from limner.report.onefile import as_data, closed, data_url, policy
from limner.report.pointspage.places import drawn, in_order, where

LONGEST_WHOLE = 1600
"""px of the longer side of the whole picture as the page shows it."""
LONGEST_HEAD = 1600
"""px of the longer side of the finer view of the head, where the whole picture is shown reduced."""
JPEG_QUALITY = 92

SCRIPTS = ("record.js", "stage.js", "panel.js", "hand.js", "start.js")
MARK = "limner points page"
"""Stands in the second line of every page, so that limner knows its own."""


@dataclass(frozen=True, kw_only=True)
class _Layer:
    """One view of a part of the picture. Places in px of the stored picture."""

    x: float
    y: float
    width: float
    height: float
    shown: int
    """px across as embedded."""
    data: str


def points_page(picture: Picture, start: HandPoints) -> str:
    """The page for one picture, starting from the points given.

    Args:
        picture: shown without any of its file's metadata.
        start: what is placed already, px of the stored picture.

    Returns:
        HTML in ASCII-safe UTF-8; the same input gives the same text.
    """
    style, script = _resource("page.css"), closed(*(_resource(name) for name in SCRIPTS))
    parts = {
        "CSP": policy(style, script),
        "NAME": html.escape(clean(picture.name)),
        "STYLE": style,
        "FRONT": _resource("front.svg"),
        "PROFILE": _resource("profile.svg"),
        "DATA": as_data(_given(picture, start)),
        "SCRIPT": script,
    }
    return re.sub(r"@([A-Z]+)@", lambda found: parts[found[1]], _resource("page.html"))


def is_points_page(text: str) -> bool:
    """Whether a file that begins with this text is one of these pages."""
    return MARK in "".join(text.splitlines()[:2])


def saved_name(picture: Picture, ending: str) -> str:
    """A file name made from the picture's, safe anywhere: ``canvas.points.json``."""
    stem = picture.name.rsplit(".", 1)[0]
    safe = re.sub(r"[^\w-]+", "_", stem, flags=re.UNICODE).strip("_")[:80] or "picture"
    return f"{safe}.points.{ending}"


def _resource(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")


def _given(picture: Picture, start: HandPoints) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "stamp": {"width": start.width, "height": start.height, "sha256": start.sha256},
        "picture": {"width": start.width, "height": start.height},
        "layers": [vars(layer) for layer in _layers(picture, start)],
        "groups": [{"title": title, "points": [_row(key) for key in keys]} for title, keys in in_order()],
        "points": {key: _place(start, key) for key in PLACEABLE if key in start.points},
        "unseen": list(start.unseen),
        "rule": {
            "least": LEAST_SIGMA,
            "pupils": ["p_right", "p_left"],
            "face": ["n", "gn"],
            "faceInPupils": FACE_IN_PUPILS,
        },
        "fileName": saved_name(picture, "json"),
        "mostBytes": MOST_BYTES,
    }


def _row(key: str) -> dict[str, Any]:
    spots = [{"view": view, "x": x, "y": y} for view, (x, y) in drawn(key).items()]
    return {"name": key, "plain": PLACEABLE[key].name, "where": where(key), "share": usual_share(key), "drawn": spots}


def _place(start: HandPoints, key: str) -> dict[str, Any]:
    point = start.points[key]
    row: dict[str, Any] = {"x": round(point.x, 2), "y": round(point.y, 2), "source": point.source}
    if point.sigma is not None:
        row["sigma"] = round(point.sigma, 3)
    return row


def _layers(picture: Picture, start: HandPoints) -> list[_Layer]:
    """The whole picture, and the head as fine as it was read where the whole is shown reduced."""
    height, width = picture.pixels.shape[:2]
    whole = _layer(picture, (0, 0, width, height), LONGEST_WHOLE)
    head = _head(picture, start)
    if head is None or max(width, height) <= LONGEST_WHOLE:
        return [whole]
    return [whole, _layer(picture, head, LONGEST_HEAD)]


def _head(picture: Picture, start: HandPoints) -> tuple[int, int, int, int] | None:
    """x0, y0, x1, y1 in px as decoded: the points placed so far with room for hair, ears and neck."""
    if len(start.points) < 3:
        return None
    places = np.array([[point.x, point.y] for point in start.points.values()]) * picture.scale
    low, high = places.min(axis=0), places.max(axis=0)
    room = 0.6 * float((high - low).max())
    height, width = picture.pixels.shape[:2]
    x0, y0 = (max(0, int(v - room)) for v in low)
    x1, y1 = (min(side, int(v + room) + 1) for v, side in zip(high, (width, height), strict=True))
    return (x0, y0, x1, y1) if x1 - x0 > 1 and y1 - y0 > 1 else None


def _layer(picture: Picture, part: tuple[int, int, int, int], longest: int) -> _Layer:
    x0, y0, x1, y1 = part
    pixels = picture.pixels[y0:y1, x0:x1]
    across, down = picture.full_size[0] / picture.pixels.shape[1], picture.full_size[1] / picture.pixels.shape[0]
    data, shown = _jpeg(pixels, longest)
    return _Layer(
        x=x0 * across,
        y=y0 * down,
        width=(x1 - x0) * across,
        height=(y1 - y0) * down,
        shown=shown,
        data=data_url(data, "image/jpeg"),
    )


def _jpeg(pixels: NDArray[np.uint8], longest: int) -> tuple[bytes, int]:
    """Pixels only: no EXIF, no profile (they are sRGB already), and how many px across."""
    image = Image.fromarray(np.ascontiguousarray(pixels))
    if max(image.size) > longest:
        share = longest / max(image.size)
        size = tuple(max(1, round(side * share)) for side in image.size)
        image = image.resize((size[0], size[1]), Image.Resampling.LANCZOS)
    held = io.BytesIO()
    image.save(held, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    return held.getvalue(), image.size[0]
