"""The canvas in a phone photo: found, or said not to be found; then seen straight on.

``parse_canvas_size`` and ``rectify`` are the neighbours' and stand here too, so that callers need one door.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.pictures.border import SQUARE, any_border
from limner.pictures.canvassize import parse_canvas_size
from limner.pictures.doubts import (
    ENDS_AT_A_LEDGE,
    LEAD_FITTING,
    MISSHAPEN,
    PLACED,
    SURE_LEAD,
    SURE_SCORE,
    doubts_of,
    limit_of,
    may_end_at_a_ledge,
    sigma_of,
)
from limner.pictures.hidden import behind_ledge, ledge_may_hide
from limner.pictures.layers import Reading, Rivals, rivals_of
from limner.pictures.picture import Picture
from limner.pictures.rectify import Rectified, ordered_corners, rectify
from limner.pictures.search import Found, search, widened
from limner.pictures.told import told_by
from limner.pictures.usual import Usual, smaller, usual

__all__ = ["CanvasFind", "Rectified", "find_canvas", "ordered_corners", "parse_canvas_size", "rectify"]

Array = NDArray[np.float64]

_LOOKS, _LOOKS_SMALLER = (False, False), (False, True)
"""At the usual size the whole and a closer look, at the smaller one the whole and, for what is faint, once more."""
SAME, NEARLY_SAME = 0.004, 0.0055
"""Of the diagonal: readings whose corners differ by less are one and the same canvas; and by less than the second, when
every look has left two of them. Of 220 scenes (3100000 to 3100219) five more are sure with it, all five right; from the
first look on, 920013 would be taken 0.44 % off, which a closer look finds right."""
LEAST_PX = 1000
"""Longer side of the photo as decoded below which nothing is sure (limner's choice): smaller ones were hardly tried."""
_PLACED_UNSEEN = 0.005
"""Of the diagonal: the most the sigma of a corner may be that is placed by the size given, what a millimetre more or
less on 240 mm leaves."""
_SMALL = (
    f"Not sure of the canvas: the photo is less than {LEAST_PX} px long, and a bare margin may be taken for the wall; "
    "give its corners by hand."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class CanvasFind:
    """What became of the search for the canvas. False when it is not sure."""

    corners: Array | None
    """(4, 2) array, px of the decoded picture: top left, top right, bottom right, bottom left; ``None`` if there is
    nothing like a canvas. Where it is not sure these are the best guess, to be looked at, not to be used."""

    sigma: Array | None
    """(4,) array, px: one-sigma uncertainty of each corner, in its worse direction."""

    confidence: float
    """0 to 1; 0.5 is where it begins to be sure."""

    sure: bool

    reason: str
    """One sentence a painter understands: what was taken for the canvas, or why it is not sure and what would help."""

    remarks: tuple[str, ...] = ()
    """What was seen beside the canvas: ``frame``, ``margin``, ``side``, ``shadow``, ``ledge``; ``hidden`` where a ledge
    hides the lower edge."""

    def __bool__(self) -> bool:
        return self.sure


def find_canvas(
    picture: Picture,
    *,
    around: tuple[float, float] | None = None,
    size_mm: tuple[float, float] | None = None,
) -> CanvasFind:
    """Find the canvas or panel in a photo taken from in front or from the side (up to some 40 degrees).

    The canvas must be whole in the photo, fill at least 3 % of it, and contain ``around``: a point known to lie on it,
    (x, y) in px of the decoded picture, such as the middle of the painted face; by default the photo's middle. With
    ``size_mm``, the two sides in either order, a rectangle of another shape is not taken. Corners are where the front
    of the canvas ends: a side seen at an angle, a cast shadow and a frame do not belong to it, a bare margin does. A
    lower edge that a ledge hides from end to end is placed by ``size_mm``, and its corners' sigma says how well.

    Never guesses in silence: where the shape cannot be told, for want of the size, or of a focal length in a photo from
    beside alone or from above alone, what ends at a ledge that goes on past its corners is not sure, and any other
    reading must be farther. Where two readings of the photo are about as good, or the edges are too faint, the result
    is not sure and its ``reason`` says so.
    """
    size = np.array(picture.pixels.shape[1::-1])
    spot = np.array(around or (size - 1) / 2, dtype=np.float64)
    large = bool(size.max() >= LEAST_PX)
    photo = usual(picture)
    found, groups = _find(photo, spot, size_mm, large=large, looks=_LOOKS)
    if large and not found:
        small = smaller(photo)
        rivals = rivals_of([one for group in groups for one in group.readings])
        rivals = replace(rivals, corners=small.there(photo.back(rivals.corners)))
        again, others = _find(small, spot, size_mm, large=large, looks=_LOOKS_SMALLER, before=rivals)
        found = (
            again
            or _judged(photo, groups, size_mm, large=large, same=NEARLY_SAME)
            or _judged(small, others, size_mm, large=large, before=rivals, same=NEARLY_SAME)
            or found
        )
    if found is None:
        where = "around the given point" if around else "around the middle of the photo"
        text = f"No canvas was found: no four straight edges {where}; photograph it whole, against a plainer wall."
        return CanvasFind(corners=None, sigma=None, confidence=0.0, sure=False, reason=text)
    return found


def _find(
    photo: Usual,
    spot: Array,
    size_mm: tuple[float, float] | None,
    *,
    large: bool,
    looks: tuple[bool, ...],
    before: Rivals | None = None,
) -> tuple[CanvasFind | None, list[Found]]:
    """What is found at one size of the photo, ``None`` where there is nothing like a canvas; and all that was seen.

    ``looks``: one after the other until it is sure, the first at the whole, the next closer, and those that are true
    for faint lines; each adds to what those before it found. ``large``: the photo is as large as is enough.
    ``before``: what was seen at another size.
    """
    picture, at = photo.picture, photo.there(spot)
    groups = search(picture.pixels, at, picture.focal_35mm, size_mm, faint=looks[0])
    found = _judged(photo, groups, size_mm, large=large, before=before)
    for faint in looks[1:]:
        if found:
            break
        more = search(picture.pixels, at, picture.focal_35mm, size_mm, groups, faint=faint)
        if len(more) > len(groups):
            groups, found = more, _judged(photo, more, size_mm, large=large, before=before)
    if large and not found:
        found = _widely(photo, groups, size_mm, large=large, before=before) or found
    return found, groups


def _widely(
    photo: Usual, groups: list[Found], size_mm: tuple[float, float] | None, *, large: bool, before: Rivals | None
) -> CanvasFind | None:
    """What is sure when edges of which little is seen may be the canvas's own as well.

    What was read without them stays a rival: in 3400137 they would take from the right one's score, and 0.9 % off be
    sure. And no fainter edges are believed: 1300028 would have a bare margin, 1.0 % off.
    """
    rivals = rivals_of([one for group in groups for one in group.readings], before)
    wide = widened(photo.picture.pixels, groups)
    return _judged(photo, wide, size_mm, large=large, before=rivals, least=SURE_SCORE)


def _judged(
    photo: Usual,
    groups: list[Found],
    size_mm: tuple[float, float] | None,
    *,
    large: bool,
    before: Rivals | None = None,
    same: float = SAME,
    least: float = 0.0,
) -> CanvasFind | None:
    """The same in px of the decoded photo, or ``None`` where nothing was read."""
    if not groups:
        return None
    found = _told_of(photo.picture, groups, size_mm, large=large, before=before, same=same, least=least)
    if found.corners is None or found.sigma is None:
        return None
    return replace(found, corners=photo.back(found.corners), sigma=photo.doubt(found.sigma))


def _told_of(
    picture: Picture,
    groups: list[Found],
    size_mm: tuple[float, float] | None,
    *,
    large: bool,
    before: Rivals | None,
    same: float,
    least: float,
) -> CanvasFind:
    """What the best of all readings comes to, in px of this size of the photo.

    ``least``: the score from which on its edges are clear enough, even where the shape speaks for fainter ones.
    """
    group, best = groups[0], groups[0].readings[0]
    rivals = rivals_of([one for each in groups for one in each.readings], before)
    lead = rivals.lead(best.corners, best.score, same)
    sigma = sigma_of(group, best)
    shape = told_by(picture, best.corners, size_mm)
    limit = SURE_SCORE if size_mm and ledge_may_hide(group, best, size_mm) else limit_of(shape, best, lead)
    limit = max(limit, least)
    doubts = [] if large else [_SMALL]
    doubts += doubts_of(picture, best, lead, sigma, shape, limit)
    if may_end_at_a_ledge(group, best, shape):
        doubts.append(ENDS_AT_A_LEDGE)
    clearest = max((one for each in groups for one in each.readings), key=lambda one: one.seen + one.lost)
    if large and doubts and clearest.seen + clearest.lost >= SURE_SCORE:
        doubts = [MISSHAPEN] * told_by(picture, clearest.corners, size_mm).wrong + doubts
    if large and doubts and size_mm and (placed := _behind_ledge(picture, groups, size_mm, before, same)):
        return placed
    confidence = _confidence(best.seen - limit, lead)
    corners = best.corners
    if not doubts and same == SAME and shape.told and shape.oblong >= SQUARE:
        corners, sigma = _closest(picture, groups, best, sigma, same)
    return CanvasFind(
        corners=corners,
        sigma=sigma,
        confidence=min(confidence, 0.49) if doubts else max(confidence, 0.5),
        sure=not doubts,
        reason=doubts[0] if doubts else _told(best),
        remarks=tuple(sorted(best.remarks - {"doubtful border"})),
    )


def _closest(picture: Picture, groups: list[Found], best: Reading, sigma: Array, same: float) -> tuple[Array, Array]:
    """Corners and sigma of the likeliest reading that means the canvas found, edges of which little is seen among them.

    Of 424 scenes that are sure (3500000 to 3500439) four move by over 0.2 % with it: they are 0.04, 0.09, 0.09 and
    0.11 % off, without it 0.37, 0.15, 0.27 and 0.26. Not for squares: two of 160 (3200026, 3200035) were 0.3 % off with
    it, before 0.04 and 0.12.
    """
    diagonal = float(np.hypot(*(best.corners[2] - best.corners[0])))
    for group in widened(picture.pixels, groups):
        for one in group.readings:
            if np.linalg.norm(one.corners - best.corners, axis=1).max() < same * diagonal:
                placed = sigma_of(group, one)
                return (one.corners, placed) if np.all(placed < PLACED * diagonal) else (best.corners, sigma)
    return best.corners, sigma


def _behind_ledge(
    picture: Picture, groups: list[Found], size_mm: tuple[float, float], before: Rivals | None, same: float
) -> CanvasFind | None:
    """The canvas by its three other edges and its size, where a ledge hides the lower one, if that is sure."""
    size = (picture.pixels.shape[1], picture.pixels.shape[0])
    if picture.focal_35mm is None:
        return None
    one = behind_ledge(groups, size, picture.focal_35mm, size_mm, same)
    if one is None or one.score < SURE_SCORE:
        return None
    lead = min(one.lead, before.lead(one.corners, one.score, same) if before else np.inf)
    if lead < LEAD_FITTING:
        return None
    remarks = one.reading.remarks
    diagonal = float(np.hypot(*(one.corners[2] - one.corners[0])))
    sigma = sigma_of(one.group, one.reading)
    # Here the shape tells nothing of a border.
    aspect = float(one.group.combinations.views.aspect[one.reading.index])
    bordered = remarks & {"margin", "doubtful border"} or any_border(picture.pixels, one.corners, aspect)
    if bordered or not (np.all(sigma < PLACED * diagonal) and np.all(one.doubt < _PLACED_UNSEEN * diagonal)):
        return None
    return CanvasFind(
        corners=one.corners,
        sigma=np.hypot(sigma, one.doubt),
        confidence=max(0.5, _confidence(one.score - SURE_SCORE, lead)),
        sure=True,
        reason="The canvas was found by three of its edges; what it stands on hides the lower one, which was placed "
        "by the size given.",
        remarks=tuple(sorted(remarks | {"hidden", "ledge"})),
    )


def _confidence(above: float, lead: float) -> float:
    """Half at the two limits of being sure, and nearer to 0 or 1 the farther from the nearer of them."""
    margin = min(above / 4.0, (lead - SURE_LEAD) / 3.0)
    return float(1 / (1 + np.exp(-2.0 * np.clip(margin, -20, 20))))


def _told(best: Reading) -> str:
    said = ["The canvas was found by its four edges"]
    if "frame" in best.remarks:
        said.append("a frame runs round it, and the inside of the frame was taken")
    if "margin" in best.remarks:
        said.append("a narrow border all round was taken as bare canvas that belongs to it")
    if "ledge" in best.remarks:
        said.append("it stands on a ledge, and if the ledge has a lip the lowest strip of the canvas is hidden")
    return "; ".join(said) + "."
