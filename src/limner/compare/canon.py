"""The classical canons that need nothing but detected points, beside both faces.

A canon is a yardstick of its time, never an error: most faces of every population depart from it. Each is declared
once: definition, source, how often it was found to hold, and what was observed in people.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from limner.compare.calibration import calibration, grade_of
from limner.compare.deviation import Framed
from limner.compare.witness import Testimony
from limner.measure.catalogue import CATALOGUE
from limner.measure.declare import Measure
from limner.measure.similarity import NoFit
from limner.result import CanonRow, Quantity, Witness

_FARKAS = "Farkas's neoclassical canons, as tested by Jayaratne et al. 2012, PLoS ONE 7(12):e52593, Table 1"
_GREEK = "Neoclassical facial canons in young adults, J Craniofac Surg 2012;23(6):1693-8"
_NORMS = "3D Facial Norms, Weinberg et al. 2016, Cleft Palate Craniofac J 53(6):e185-e197, means at age 25"
_WHITE = "Farkas et al. 1985, 153 North American white adults"
_CHINESE = "Jayaratne et al. 2012, 103 Southern Chinese"
_AFRICAN = "Porter & Olson 2001, 108 African-American women"


@dataclass(frozen=True, kw_only=True)
class Canon:
    """One canon: a ratio of two lengths of one face."""

    id: str
    name: str
    definition: str
    above: tuple[str, ...]
    """Measures whose mean is the length above the line."""
    below: tuple[str, ...]
    value: float
    """What the canon gives."""
    source: str
    holds: tuple[tuple[str, float], ...] = ()
    """Study and the percent of its people for whom the canon was found to hold."""
    observed: tuple[tuple[float, float], tuple[float, float]] | None = None
    """Mean and standard deviation of men, and of women, in :data:`OBSERVED_IN`."""


OBSERVED_IN = _NORMS + "; standard deviations as if the two lengths were independent"

CANONS: tuple[Canon, ...] = (
    Canon(
        id="orbital",
        name="an eye between the eyes",
        definition="en-en = ex-en",
        above=("between_eyes",),
        below=("eye_width_right", "eye_width_left"),
        value=1.0,
        source=_FARKAS,
        holds=((_CHINESE, 0.0), (_AFRICAN, 30.6)),
        observed=((1.14, 0.13), (1.13, 0.13)),
    ),
    Canon(
        id="orbitonasal",
        name="the nose as wide as the space between the eyes",
        definition="al-al = en-en",
        above=("nose_width",),
        below=("between_eyes",),
        value=1.0,
        source=_FARKAS,
        holds=((_WHITE, 40.0), (_CHINESE, 19.0)),
        observed=((1.10, 0.13), (1.04, 0.12)),
    ),
    Canon(
        id="naso_oral",
        name="the mouth one and a half noses wide",
        definition="ch-ch = 1.5 al-al",
        above=("mouth_width",),
        below=("nose_width",),
        value=1.5,
        source=_FARKAS,
        observed=((1.40, 0.15), (1.47, 0.15)),
    ),
    Canon(
        id="nasofacial",
        name="the nose a quarter of the face wide",
        definition="al-al = 0.25 zy-zy",
        above=("nose_width",),
        below=("face_width",),
        value=0.25,
        source=_GREEK,
        holds=((_WHITE, 37.0), (_AFRICAN, 9.3)),
        observed=((0.262, 0.023), (0.251, 0.021)),
    ),
    Canon(
        id="five_eyes",
        name="the face five eyes wide",
        definition="zy-zy = 5 ex-en",
        above=("face_width",),
        below=("eye_width_right", "eye_width_left"),
        value=5.0,
        source="drawing manuals' five eyes, here at the cheekbones: common practice, no source",
        observed=((4.78, 0.39), (4.67, 0.38)),
    ),
)


def canon_rows(testimony: Testimony) -> tuple[CanonRow, ...]:
    """Every canon beside both faces; a face on which it cannot be taken has no value."""
    return tuple(_row(canon, testimony) for canon in CANONS)


def _row(canon: Canon, testimony: Testimony) -> CanonRow:
    parts = [CATALOGUE[id_] for id_ in (*canon.above, *canon.below)]
    features = tuple(dict.fromkeys(feature for part in parts for feature in part.features))
    by_pixels = all(testimony.believed(feature) for feature in features)
    framed = testimony.pixels if by_pixels else testimony.found
    reference = painting = Quantity(value=None, sigma=None)
    if isinstance(framed, Framed):
        reference = _quantity(canon, parts, framed, "reference", "mesh")
        painting = _quantity(canon, parts, framed, "painting", "pixels" if by_pixels else testimony.finder)
        if by_pixels:
            painting = _on_top_of(painting, reference)
    if testimony.missing(features) is not None:
        painting = Quantity(value=None, sigma=None)
    return CanonRow(
        id=canon.id,
        name=canon.name,
        definition=canon.definition,
        canon=canon.value,
        reference=reference,
        painting=painting,
        source=canon.source,
    )


def _quantity(canon: Canon, parts: list[Measure], framed: Framed, which: str, witness: Witness) -> Quantity:
    frame = framed.frames["eyes"]
    if isinstance(frame, NoFit):
        return Quantity(value=None, sigma=None)
    points = frame[0] if which == "reference" else frame[1]
    count = len(canon.above)
    lengths = [part.formula(points) for part in parts if part.formula is not None]
    above, below = np.mean(lengths[:count], axis=0), np.mean(lengths[count:], axis=0)
    if not (np.isfinite(above).all() and np.isfinite(below).all() and (below > 0).all()):
        return Quantity(value=None, sigma=None)
    ratios = above / below
    ratio = float(ratios[0])
    scatter = float(ratios[1:].std(ddof=1)) if len(ratios) > 2 else 0.0
    known = math.hypot(_noise(parts[:count], above[0], witness), _noise(parts[count:], below[0], witness))
    return Quantity(value=ratio, sigma=math.hypot(scatter, ratio * known, hidden(canon, parts, witness)))


def _noise(parts: list[Measure], length: float, witness: Witness) -> float:
    """Relative error of one length of one face, scatter and pull left out."""
    grade = grade_of(parts[0], witness)
    return math.hypot(grade.floor / 100, math.sqrt(2) * grade.point / 100 / length)


def hidden(canon: Canon, parts: list[Measure], witness: Witness) -> float:
    """What of a face's own departure from the ordinary such a witness does not show, one sigma.

    People differ by the observed standard deviation; a detector that reads the share ``slope`` of a departure leaves
    ``1 - slope`` of it unseen. The lowest slope of the lengths involved counts.
    """
    if witness not in calibration() or canon.observed is None:
        return 0.0
    slope = min(grade_of(part, witness).slope for part in parts)
    return max(1 - slope, 0.0) * max(spread for _, spread in canon.observed)


def _on_top_of(painting: Quantity, reference: Quantity) -> Quantity:
    """The painting is known against the reference, so whatever is unknown of the reference is unknown of it too."""
    if painting.sigma is None or reference.sigma is None:
        return painting
    return Quantity(value=painting.value, sigma=math.hypot(painting.sigma, reference.sigma))
