"""What speaks against taking what was found for the canvas: too little of it is seen, its shape, another reading."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.pictures.border import SQUARE, may_have_border
from limner.pictures.hidden import runs_on
from limner.pictures.layers import Reading
from limner.pictures.picture import Picture
from limner.pictures.search import Found
from limner.pictures.told import Told
from limner.pictures.weigh import WEIGHTS

Array = NDArray[np.float64]

SURE_SCORE = 21.0
SURE_LEAD = 1.5
_SKEW = 0.035
PLACED = 0.002
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
_HARDLY_ON = 0.45
"""The same where the lower edge goes on past its corners and no ledge is read there: 3400064, 1.0 % off, its lowest
strip behind a ledge's lip, has 0.37 and at the smaller size 0.41. No right one of 1100 scenes (3400000 to 3400219,
3500000 to 3500439, 3600000 to 3600439) is so."""
MISSHAPEN = (
    "Not sure of the canvas: what was found has not the shape of the size given: its thick side, a shadow or a ledge "
    "may be in it; measure the canvas to the millimetre, or give its corners by hand."
)
ENDS_AT_A_LEDGE = (
    "Not sure of the canvas: it stands on a ledge that may hide its lower edge, and its size and the focal length do "
    "not tell; give its corners by hand."
)


def sigma_of(group: Found, best: Reading) -> Array:
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


def doubts_of(picture: Picture, best: Reading, lead: float, sigma: Array, shape: Told, limit: float) -> list[str]:
    """Sentences, the gravest first; none when the canvas is sure."""
    diagonal = float(np.hypot(*(best.corners[2] - best.corners[0])))
    by_hand = "give its corners by hand"
    doubts = []
    if shape.wrong and best.seen + best.lost >= limit:
        doubts.append(MISSHAPEN)
    if best.seen < limit:
        doubts.append(f"Not sure of the canvas: its edges are too faint or too broken; {by_hand}.")
    clear = shape.told and "margin" not in best.remarks
    if lead < (SURE_LEAD if clear else LEAD_UNTOLD):
        doubts.append(f"Not sure of the canvas: two rectangles fit the photo about as well; {by_hand}.")
    if may_have_border(picture.pixels, best.corners, shape, best.remarks):
        doubts.append(f"Not sure of the canvas: a border runs round it that may be a frame or bare canvas; {by_hand}.")
    if abs(shape.skew) > _SKEW:
        doubts.append(f"Not sure of the canvas: what was found cannot be a rectangle seen by this camera; {by_hand}.")
    if not np.all(sigma < PLACED * diagonal):
        doubts.append(f"Not sure of the canvas: too little of an edge is seen to place a corner; {by_hand}.")
    if shape.wrong or (shape.doubtful and lead < LEAD_UNFITTING):
        doubts.append(MISSHAPEN)
    return doubts


def limit_of(shape: Told, best: Reading, lead: float) -> float:
    """The score from which on edges are clear enough: a lower one where the shape speaks for them.

    Not where a border may run round them: 3100384, on a wall of its bare margin's colour, was taken without that margin
    with a score of 16.5, 2 % off; eight right ones with such a border (of 3100000 to 3100219 and 3400000 to 3400219)
    have 23 and more.
    """
    if "doubtful border" in best.remarks:
        return SURE_SCORE
    if shape.fits and shape.oblong >= SQUARE and lead >= LEAD_FITTING:
        # What lies within was taken off what is seen already, once. Inside a frame no side of the canvas is seen.
        made_up = _MADE_UP * best.altered + (_MADE_UP - 1) * best.strips.within
        return min(SURE_SCORE, max(FAINTEST, SCORE_FITTING - lead) + ("frame" not in best.remarks) * made_up)
    if shape.fits and shape.oblong < SQUARE and lead >= LEAD_SQUARE:
        return SCORE_SQUARE
    return SURE_SCORE


def may_end_at_a_ledge(group: Found, best: Reading, shape: Told) -> bool:
    """Whether a ledge may hide the lower edge though the shape fits: by chance, as another side is hardly seen."""
    runs = runs_on(group, best)
    least = group.combinations.seen[best.index, list(WEIGHTS).index("least")]
    if "ledge" in best.remarks:
        return least < _HARDLY or (not shape.told and runs)
    return runs and least < _HARDLY_ON
