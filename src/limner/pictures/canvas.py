"""The canvas in a phone photo: found, or said not to be found; then seen straight on.

``parse_canvas_size`` and ``rectify`` are the neighbours' and stand here too, so that callers need one door.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.pictures.border import SQUARE, any_border, may_have_border
from limner.pictures.canvassize import parse_canvas_size
from limner.pictures.hidden import behind_ledge, ledge_may_hide, runs_on
from limner.pictures.layers import Reading, Rivals, rivals_of
from limner.pictures.picture import Picture
from limner.pictures.rectify import Rectified, ordered_corners, rectify
from limner.pictures.search import Found, search
from limner.pictures.told import Told, told_by
from limner.pictures.usual import Usual, smaller, usual
from limner.pictures.weigh import WEIGHTS

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
SURE_SCORE = 21.0
SURE_LEAD = 1.5
_SKEW = 0.035
_PLACED = 0.002
"""Of the diagonal: the most a corner's sigma may be. Of 370 scenes that are sure the greatest is 0.0005."""
_BEND = 0.0004
"""Of the diagonal: what a phone's lens and a canvas that is not quite flat or square leave; added to every sigma."""
SCORE_FITTING, LEAD_FITTING, FAINTEST = 21.0, 3.0, 14.0
"""Score and lead together, the least lead and the least score of what has the shape: the fainter its edges, the farther
any other reading must be. A colour that changes just within them must be made up for: of 52012 two sides were those of
what is painted, 1 % off."""
_MADE_UP = 2.0
"""How many times over it must, and edges that are seen just within as well, as those of the front when a thick side of
its own colour was taken into it: where all rivals have another shape the lead is great, as 10.5 of 52012 (limner's
choice)."""
LEAD_UNFITTING, LEAD_UNTOLD = 14.0, 6.0
"""The least lead of what has nearly the shape, as 30100 without its margin, 1 % off with a lead of 4.5 before what has
another shape lost 6 more; and of what nothing tells the shape of, for want of a size or of a focal length, or is read
with a bare margin, as the sides and the shadow round a canvas may be: 910054, drawn half as large, was read so with a
lead of 5.0, 0.8 % off. Without the second 5 of 400 scenes (41000 to 41199, 60000 to 60199) searched without their focal
length were sure and wrong, three of them with their lower edge behind a ledge, where nothing but the shape tells it."""
SCORE_SQUARE, LEAD_SQUARE = 18.0, 5.0
"""Of a square of the right shape: two neighbouring sides may be those of what is painted, and two the canvas's own."""
_HARDLY = 0.3
"""Share of its length on which a side is hardly seen. With a ledge below, two sides may then be others at once and the
shape fit, as in 980026, 1.1 % off. Of 130 sure ones (960000 to 960099, 45 of another maker) no right one is so."""
_PLACED_UNSEEN = 0.005
"""The same of a corner that is placed by the size given: what a millimetre more or less on 240 mm leaves."""
_SMALL = (
    f"Not sure of the canvas: the photo is less than {LEAST_PX} px long, and a bare margin may be taken for the wall; "
    "give its corners by hand."
)
_MISSHAPEN = (
    "Not sure of the canvas: what was found has not the shape of the size given: its thick side, a shadow or a ledge "
    "may be in it; measure the canvas to the millimetre, or give its corners by hand."
)
_LEDGE = (
    "Not sure of the canvas: it stands on a ledge that may hide its lower edge, and its size and the focal length do "
    "not tell; give its corners by hand."
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
    return found, groups


def _judged(
    photo: Usual,
    groups: list[Found],
    size_mm: tuple[float, float] | None,
    *,
    large: bool,
    before: Rivals | None = None,
    same: float = SAME,
) -> CanvasFind | None:
    """What the best of all readings comes to, in px of the decoded photo."""
    if not groups:
        return None
    found = _told_of(photo.picture, groups, size_mm, large=large, before=before, same=same)
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
) -> CanvasFind:
    group, best = groups[0], groups[0].readings[0]
    rivals = rivals_of([one for each in groups for one in each.readings], before)
    lead = rivals.lead(best.corners, best.score, same)
    sigma = _sigma(group, best)
    shape = told_by(picture, best.corners, size_mm)
    limit = SURE_SCORE if size_mm and ledge_may_hide(group, best, size_mm) else _limit(shape, best, lead)
    doubts = [] if large else [_SMALL]
    doubts += _doubts(picture, best, lead, sigma, shape, limit)
    hardly = group.combinations.seen[best.index, list(WEIGHTS).index("least")] < _HARDLY
    if "ledge" in best.remarks and (hardly or (not shape.told and runs_on(group, best))):
        doubts.append(_LEDGE)
    clearest = max((one for each in groups for one in each.readings), key=lambda one: one.seen + one.lost)
    if large and doubts and clearest.seen + clearest.lost >= SURE_SCORE:
        doubts = [_MISSHAPEN] * told_by(picture, clearest.corners, size_mm).wrong + doubts
    if large and doubts and size_mm and (placed := _behind_ledge(picture, groups, size_mm, before, same)):
        return placed
    confidence = _confidence(best.seen - limit, lead)
    return CanvasFind(
        corners=best.corners,
        sigma=sigma,
        confidence=min(confidence, 0.49) if doubts else max(confidence, 0.5),
        sure=not doubts,
        reason=doubts[0] if doubts else _told(best),
        remarks=tuple(sorted(best.remarks - {"doubtful border"})),
    )


def _sigma(group: Found, best: Reading) -> Array:
    """From the scatter of the places along both edges that meet in a corner."""
    edges = [group.edges[k][group.combinations.pick[best.index, k]] for k in range(4)]
    diagonal = float(np.hypot(*(best.corners[2] - best.corners[0])))
    out = []
    for k in range(4):
        spot = best.corners[k]
        normals, spread = [], []
        for edge, ends in ((edges[k - 1], (k - 1, k)), (edges[k], (k, (k + 1) % 4))):
            first, second = (edge.at(best.corners[end]) for end in ends)
            normals.append([-edge.along[1], edge.along[0]])
            spread.append(edge.sigma_at(spot, first, second))
        if not np.all(np.isfinite(spread)):
            out.append(np.inf)
            continue
        back = np.linalg.inv(np.array(normals))
        covariance = back @ np.diag(np.square(spread)) @ back.T
        out.append(float(np.sqrt(np.linalg.eigvalsh(covariance)[-1] + (_BEND * diagonal) ** 2)))
    return np.array(out)


def _doubts(picture: Picture, best: Reading, lead: float, sigma: Array, shape: Told, limit: float) -> list[str]:
    """Sentences, the gravest first; none when the canvas is sure."""
    diagonal = float(np.hypot(*(best.corners[2] - best.corners[0])))
    by_hand = "give its corners by hand"
    doubts = []
    if shape.wrong and best.seen + best.lost >= limit:
        doubts.append(_MISSHAPEN)
    if best.seen < limit:
        doubts.append(f"Not sure of the canvas: its edges are too faint or too broken; {by_hand}.")
    clear = shape.told and "margin" not in best.remarks
    if lead < (SURE_LEAD if clear else LEAD_UNTOLD):
        doubts.append(f"Not sure of the canvas: two rectangles fit the photo about as well; {by_hand}.")
    if may_have_border(picture.pixels, best.corners, shape, best.remarks):
        doubts.append(f"Not sure of the canvas: a border runs round it that may be a frame or bare canvas; {by_hand}.")
    if abs(shape.skew) > _SKEW:
        doubts.append(f"Not sure of the canvas: what was found cannot be a rectangle seen by this camera; {by_hand}.")
    if not np.all(sigma < _PLACED * diagonal):
        doubts.append(f"Not sure of the canvas: too little of an edge is seen to place a corner; {by_hand}.")
    if shape.wrong or (shape.doubtful and lead < LEAD_UNFITTING):
        doubts.append(_MISSHAPEN)
    return doubts


def _limit(shape: Told, best: Reading, lead: float) -> float:
    """The score from which on edges are clear enough: a lower one where the shape speaks for them.

    Not where a border may run round them: 3100384, on a wall of its bare margin's colour, was taken without that margin
    with a score of 16.5, 2 % off; eight right ones with such a border (of 3100000 to 3100219 and 3400000 to 3400219)
    have 23 and more.
    """
    if "doubtful border" in best.remarks:
        return SURE_SCORE
    if shape.fits and shape.oblong >= SQUARE and lead >= LEAD_FITTING:
        # What lies within was taken off what is seen already, once.
        made_up = _MADE_UP * best.altered + (_MADE_UP - 1) * best.strips.within
        return min(SURE_SCORE, max(FAINTEST, SCORE_FITTING - lead) + made_up)
    if shape.fits and shape.oblong < SQUARE and lead >= LEAD_SQUARE:
        return SCORE_SQUARE
    return SURE_SCORE


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
    sigma = _sigma(one.group, one.reading)
    # Here the shape tells nothing of a border.
    aspect = float(one.group.combinations.views.aspect[one.reading.index])
    bordered = remarks & {"margin", "doubtful border"} or any_border(picture.pixels, one.corners, aspect)
    if bordered or not (np.all(sigma < _PLACED * diagonal) and np.all(one.doubt < _PLACED_UNSEEN * diagonal)):
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
