"""Where each point lies: a sentence, and its place in the two small drawings (front.svg, profile.svg, 200 x 250)."""

from __future__ import annotations

from collections.abc import Mapping

from limner.face.placeable import OUTLINE_HOURS, PLACEABLE

Place = tuple[float, float]

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Head", ("v", "tr")),
    ("Brows", ("bo", "bp", "bi", "g")),
    ("Eyes", ("p", "ex", "en", "ps", "pi")),
    ("Irises", ("it", "ib", "io", "ii")),
    ("Nose", ("n", "prn", "al", "sn")),
    ("Mouth", ("ch", "ls", "sto", "stu", "stl", "li")),
    ("Face", ("zy", "go", "gn")),
    ("Ears", ("sa", "sba")),
    ("Neck", ("nt", "nb", "pn")),
    ("Outline of the head with its hair", ("ho",)),
)
"""Title -> abbreviations, top of the head to the neck; every placeable point is in one of them."""

PLACES: Mapping[str, tuple[Place, Place | None, str]] = {
    "v": ((100, 14), (110, 14), "The highest point of the skull. Under thick hair, judge where the skull ends."),
    "tr": ((100, 47), (60, 54), "On the middle line of the forehead, where the hair begins."),
    "bo": ((64, 97), (75, 95), "The outer end of the brow, half way between its upper and lower edge."),
    "bp": ((76, 91.5), (65, 91.2), "The highest point of the brow's upper edge."),
    "bi": ((89, 95), (56, 95), "The inner end of the brow, half way between its upper and lower edge."),
    "g": ((100, 94), (50, 92), "On the middle line between the brows, where the forehead stands out most."),
    "p": ((78, 112.5), (65, 112.5), "The middle of the pupil."),
    "ex": ((67, 113), (79, 114), "Where the lids meet at the outer end of the eye."),
    "en": ((89, 114), None, "Where the lids meet beside the nose; the pink corner belongs to the eye."),
    "ps": ((78, 106.7), (66, 109.3), "The highest point of the upper lid's edge, where it meets the eye."),
    "pi": ((78, 117.8), (66, 117), "The lowest point of the lower lid's edge, where it meets the eye."),
    "it": ((78, 108.5), None, "The top of the iris; under the lid, judge where its circle would end."),
    "ib": ((78, 116.5), None, "The bottom of the iris; under the lid, judge where its circle would end."),
    "io": ((73.4, 112.5), None, "The edge of the iris on the side of the ear, level with the pupil."),
    "ii": ((82.6, 112.5), None, "The edge of the iris on the side of the nose, level with the pupil."),
    "n": ((100, 108), (54, 108), "The deepest point of the root of the nose, between the eyes."),
    "prn": ((100, 141), (32, 142), "The point of the nose that stands out furthest."),
    "al": ((88, 144.5), (53, 145), "The outermost point of the wing of the nose."),
    "sn": ((100, 151), (44, 149), "On the middle line, where the bridge between the nostrils meets the upper lip."),
    "ch": ((79, 167), (60, 170), "Where the lips meet at the side."),
    "ls": ((100, 162), (38, 160), "On the middle line, the upper edge of the red of the upper lip."),
    "sto": (
        (100, 167.8),
        (44, 167),
        "On the middle line, where the lips meet; half way between them in an open mouth.",
    ),
    "stu": ((100, 166.4), None, "On the middle line, the lower edge of the upper lip."),
    "stl": ((100, 169.4), None, "On the middle line, the upper edge of the lower lip."),
    "li": ((100, 178), (39, 174), "On the middle line, the lower edge of the red of the lower lip."),
    "zy": ((49, 122), None, "The outline of the face at the widest part of the cheekbone."),
    "go": ((60, 168), (112, 172), "The corner of the jaw below the ear, where its line turns toward the chin."),
    "gn": ((100, 198), (56, 202), "The lowest point of the chin, on the middle line."),
    "sa": ((41, 103), (125, 102), "The highest point of the ear."),
    "sba": ((50, 146), (121, 146), "The lowest point of the ear's lobe."),
    "nt": ((73.5, 192), None, "The outline of the neck just under the jaw."),
    "nb": ((70, 220), None, "The outline of the neck where it turns into the shoulder."),
    "pn": ((100, 229), (72, 241), "The hollow between the collarbones."),
}
"""Abbreviation -> place from the front, in profile, and a sentence.

From the front a paired point is the sitter's right, which is picture left. The profile shows the sitter's left side,
and as its contour the middle line.
"""

_CLOCK: Mapping[int, tuple[Place, Place]] = {
    8: ((48, 132), (38, 160)),
    9: ((38, 112), (54, 108)),
    10: ((40, 72), (52, 76)),
    11: ((60, 32), (72, 30)),
    12: ((100, 14), (110, 14)),
    1: ((140, 32), (150, 30)),
    2: ((160, 72), (169, 66)),
    3: ((162, 112), (170, 108)),
    4: ((152, 132), (157, 143)),
}


def where(key: str) -> str:
    """One sentence that says where a point lies."""
    point = PLACEABLE[key]
    if point.abbr == "ho":
        return (
            f"Lay a clock on the picture, its middle in the middle of the head: the edge of head or hair at "
            f"{key.removeprefix('ho_')} o'clock."
        )
    return PLACES[point.abbr][2]


def drawn(key: str) -> dict[str, Place]:
    """Where a point lies in each drawing that shows it: "front" and "profile" -> x, y in the drawing's units."""
    point = PLACEABLE[key]
    if point.abbr == "ho":
        ahead, aside = _CLOCK[int(key.removeprefix("ho_"))]
        return {"front": ahead, "profile": aside}
    (x, y), profile, _ = PLACES[point.abbr]
    front: dict[str, Place] = {"front": (200 - x if point.side == "left" else x, y)}
    if profile is not None and point.side != "right":
        front["profile"] = profile
    return front


def in_order() -> list[tuple[str, list[str]]]:
    """The groups with their points' keys, the sitter's right before the left."""
    by_abbr: dict[str, list[str]] = {}
    for key, point in PLACEABLE.items():
        by_abbr.setdefault(point.abbr, []).append(key)
    by_abbr["ho"] = [f"ho_{hour}" for hour in OUTLINE_HOURS]
    return [(title, [key for abbr in abbrs for key in by_abbr[abbr]]) for title, abbrs in GROUPS]
