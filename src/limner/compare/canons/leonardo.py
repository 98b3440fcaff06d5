"""Leonardo's canons of the face that can be taken from the front, from two of his notes."""

from __future__ import annotations

from limner.compare.canons.declare import HAIR, LONG, TOP, WIDE, Canon, Ratio

_L310 = "Leonardo, Notebooks (Richter 1880) no. 310, http://interconnected.org/home/more/davinci/310.html"
_L316 = (
    "Leonardo, Notebooks (Richter 1880) no. 316, "
    "https://www.fromoldbooks.org/Richter-NotebooksOfLeonardo/section-7/item-316.html"
)


def _of_the_face(id_: str, name: str, part: str, length: str, value: float, share: str) -> Canon:
    return Canon(
        id=id_,
        name=name,
        school="Leonardo",
        definition=f"{part} = {share} tr-gn",
        source=_L310,
        ratios=(
            Ratio(
                id=id_,
                name=name,
                definition=f"{part} / tr-gn",
                above=(length,),
                below=("hairline_to_chin",),
                value=value,
                lie="along",
                depth=HAIR,
                words=LONG,
            ),
        ),
    )


LEONARDO: tuple[Canon, ...] = (
    _of_the_face("leonardo_lower", "chin to nose base a third of the face", "sn-gn", "lower_face", 1 / 3, "1/3"),
    _of_the_face("leonardo_nose", "the nose, from the brow, a third", "g-sn", "brow_to_base", 1 / 3, "1/3"),
    _of_the_face("leonardo_forehead", "the forehead a third", "tr-g", "hairline_to_brow", 1 / 3, "1/3"),
    _of_the_face("leonardo_lip", "nose base to mouth a seventh", "sn-sto", "base_to_mouth", 1 / 7, "1/7"),
    _of_the_face("leonardo_chin", "mouth to chin a quarter", "sto-gn", "chin_height", 1 / 4, "1/4"),
    _of_the_face("leonardo_brow", "brow to chin two thirds", "g-gn", "brow_to_chin", 2 / 3, "2/3"),
    Canon(
        id="leonardo_mouth",
        name="the mouth as wide as from mouth to chin",
        school="Leonardo",
        definition="ch-ch = sto-gn",
        source=_L310,
        ratios=(
            Ratio(
                id="leonardo_mouth",
                name="mouth width against mouth to chin",
                definition="ch-ch / sto-gn",
                above=("mouth_width",),
                below=("chin_height",),
                value=1.0,
                lie="across over along",
                words=WIDE,
            ),
        ),
    ),
    Canon(
        id="leonardo_corner",
        name="inner eye corner half way between top of the head and chin",
        school="Leonardo",
        definition="v-en = en-gn",
        source=_L316,
        note="the same lengths as Farkas's two sections",
        ratios=(
            Ratio(
                id="leonardo_corner",
                name="top of the head to the inner eye corner against from there to the chin",
                definition="v-en / en-gn",
                above=("top_to_eyes",),
                below=("eyes_to_chin",),
                value=1.0,
                lie="along",
                depth=TOP,
                words=LONG,
            ),
        ),
    ),
    Canon(
        id="leonardo_hair",
        name="roots of the hair to the top as far as nose base to mouth",
        school="Leonardo",
        definition="v-tr = sn-sto",
        source=_L316,
        ratios=(
            Ratio(
                id="leonardo_hair",
                name="hairline to top of the head against nose base to mouth",
                definition="v-tr / sn-sto",
                above=("top_to_hairline",),
                below=("base_to_mouth",),
                value=1.0,
                lie="along",
                depth=TOP,
                words=LONG,
            ),
        ),
    ),
)
"""The face is from hairline to chin. No. 310's parts do not add up: 1/7 and 1/4 are more than 1/3."""
