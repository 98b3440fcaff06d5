"""The canons of the drawing manuals."""

from __future__ import annotations

from limner.compare.canons.declare import EARS, EYES, HAIR, LONG, TOP, WIDE, Canon, Ratio

_THIRDS = "drawing manuals, for example http://www.pastelportraitsecrets.com/human-head.html"
_FIVE = "drawing manuals, for example http://www.angelfire.com/ar/rogerart/port3.html"
_HEAD = (
    "drawing manuals, for example "
    "https://www.dafenportrait.com/drawing-portrait-about-head-proportions-article-article-5.html"
)

MANUALS: tuple[Canon, ...] = (
    Canon(
        id="thirds",
        name="thirds, by the brow",
        school="drawing manuals",
        definition="tr-g = g-sn = sn-gn",
        source=_THIRDS,
        note="hairline, brow, nose base, chin: not Farkas's three sections, which take the root of the nose",
        ratios=(
            Ratio(
                id="thirds_upper",
                name="forehead against the middle third",
                definition="tr-g / g-sn",
                above=("hairline_to_brow",),
                below=("brow_to_base",),
                value=1.0,
                lie="along",
                depth=HAIR,
                words=("higher", "lower"),
            ),
            Ratio(
                id="thirds_lower",
                name="middle third against the lower third",
                definition="g-sn / sn-gn",
                above=("brow_to_base",),
                below=("lower_face",),
                value=1.0,
                lie="along",
                words=LONG,
            ),
        ),
    ),
    Canon(
        id="five_eyes",
        name="the face five eyes wide",
        school="drawing manuals",
        definition="zy-zy = 5 ex-en",
        source=_FIVE,
        note="the manuals take the head at the eye line; here the face at the cheekbones",
        ratios=(
            Ratio(
                id="five_eyes",
                name="face at the cheekbones, in eyes",
                definition="zy-zy / ex-en",
                above=("face_width",),
                below=EYES,
                value=5.0,
                lie="across",
                outline=True,
                words=WIDE,
            ),
        ),
    ),
    Canon(
        id="mouth_under_pupils",
        name="mouth corners under the pupils",
        school="drawing manuals",
        definition="ch-ch = p-p",
        source=_FIVE,
        ratios=(
            Ratio(
                id="mouth_under_pupils",
                name="mouth width against the distance between the pupils",
                definition="ch-ch / p-p",
                above=("mouth_width",),
                below=("pupils",),
                value=1.0,
                lie="across",
                words=WIDE,
            ),
        ),
    ),
    Canon(
        id="eyes_at_half",
        name="eyes at half the head",
        school="drawing manuals",
        definition="p-gn = 0.5 v-gn",
        source=_HEAD,
        ratios=(
            Ratio(
                id="eyes_at_half",
                name="height of the eyes above the chin, share of the head",
                definition="p-gn / v-gn",
                above=("pupils_to_chin",),
                below=("top_to_chin",),
                value=0.5,
                lie="along",
                depth=TOP,
                words=("higher", "lower"),
            ),
        ),
    ),
    Canon(
        id="lower_lip_half",
        name="lower lip half way between nose and chin",
        school="drawing manuals",
        definition="sn-li = 0.5 sn-gn",
        source=_HEAD,
        ratios=(
            Ratio(
                id="lower_lip_half",
                name="nose base to lower lip's edge, share of the lower face",
                definition="sn-li / sn-gn",
                above=("base_to_lower_lip",),
                below=("lower_face",),
                value=0.5,
                lie="along",
                words=("lower", "higher"),
            ),
        ),
    ),
    Canon(
        id="ear_brow_to_base",
        name="the ear from brow to nose base",
        school="drawing manuals",
        definition="sa-sba = g-sn",
        source=_HEAD,
        ratios=(
            Ratio(
                id="ear_brow_to_base",
                name="ear length against brow to nose base",
                definition="sa-sba / g-sn",
                above=EARS,
                below=("brow_to_base",),
                value=1.0,
                lie="along",
                either=True,
                words=LONG,
            ),
        ),
    ),
)
"""Trade rules; each names a manual that has it."""
