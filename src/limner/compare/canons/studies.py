"""How often the canons were found to hold, cell by cell, each with the study it was read in.

Percent are as printed, of whole people. Volumes and pages said to be from memory were not seen in print; the figures
were read in the abstract or text at the address given.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limner.compare.canons.declare import Held, Remark, Study

_STUDIES = (
    Study(
        id="farkas_1985",
        sample="North American white adults",
        cite="Farkas, Hreczko, Kolar, Munro 1985, Plast Reconstr Surg 75:328-338 (volume and pages from memory)",
        url="https://www.mendeley.com/catalog/vertical-horizontal-proportions-face-young-adult-north-american-"
        "caucasians-revision-neoclassical-can/",
        groups=(("", 153),),
        note="24 variants found; sex had no effect",
    ),
    Study(
        id="le_2002",
        sample="white, Chinese, Vietnamese and Thai people, 60 each",
        cite="Le, Farkas, Ngim, Levin, Forrest 2002, Aesthetic Plast Surg 26:64 (volume from memory)",
        url="https://www.mendeley.com/research/proportionality-asian-north-american-caucasian-faces-using-"
        "neoclassical-facial-canons-criteria/",
        groups=(("white people", 60), ("Chinese, Vietnamese and Thai people", 180)),
        note="five other canons held in 16.7 to 36.7 % of the white and 1.7 to 26.7 % of the Asian people",
    ),
    Study(
        id="jayaratne_2012",
        sample="Southern Chinese",
        cite="Jayaratne, Deutsch, McGrath, Zwahlen 2012, PLoS ONE 7(12):e52593",
        url="https://scienceopen.com/document?vid=b2921756-4ab3-4f74-9d23-6a69eae7292b",
        groups=(("", 103),),
        note="the orbitonasal canon held best of all",
    ),
    Study(
        id="porter_2001",
        sample="African-American women",
        cite="Porter & Olson 2001, Arch Facial Plast Surg 3:191 (volume and page from memory)",
        url="https://www.qxmd.com/r/11497505",
        groups=(("women", 108),),
    ),
    Study(
        id="turkish_2016",
        sample="Turkish adults",
        cite="Eight canons in Turkish adults, Folia Morphol 2016;75(4):512-517",
        url="https://dspace.balikesir.edu.tr:443/xmlui/handle/20.500.12462/6661",
        groups=(("women", None), ("men", None)),
        note="200 people together",
    ),
    Study(
        id="turkish_2003",
        sample="Turkish young adults",
        cite="Canons in Turkish young adults, Surg Radiol Anat, doi 10.1007/s00276-003-0202-2",
        url="https://pubmed.ncbi.nlm.nih.gov/14625792/",
        groups=(("women", 272), ("men", 228)),
    ),
    Study(
        id="arabian_2015",
        sample="people of the Arabian Peninsula",
        cite="Head Face Med 2015;11:4",
        url="http://www.head-face-med.com/content/11/1/4",
        groups=(("men", 93), ("women", 75)),
    ),
    Study(
        id="basrah_2016",
        sample="people of Basrah",
        cite="Iraqi Postgrad Med J 2016;15(4)",
        url="https://docslib.org/doc/8110381",
        groups=(("women", 526), ("men", 474)),
    ),
    Study(
        id="torsello_2010",
        sample="Italian models",
        cite="Torsello et al. 2010, Prog Orthod 11:13-19",
        url="https://www.scribd.com/document/701656186/articulo",
        groups=(("", 50),),
    ),
    Study(
        id="farkas_notes",
        sample="white adults measured by the same group",
        cite="lecture notes on facial proportions with Farkas's findings",
        url="https://docsbay.net/Facial-Proportions-and-Subunits",
        groups=(("", None),),
    ),
)

STUDIES: Mapping[str, Study] = MappingProxyType({study.id: study for study in _STUDIES})
"""Every study by its id."""

_W, _M = "women", "men"


def _cells(study: str, *rows: tuple[str, str, float, int, str]) -> tuple[Held, ...]:
    """Rows of (canon, group, percent, decimals as printed, what was counted)."""
    return tuple(
        Held(canon=canon, study=study, group=group, percent=percent, digits=digits, what=what or "holds")
        for canon, group, percent, digits, what in rows
    )


HELD: tuple[Held, ...] = (
    *_cells(
        "farkas_1985",
        ("three_section", "", 0, 0, ""),  # "never more than two parts equal"
        ("orbitonasal", "", 40, 0, ""),
        ("nasofacial", "", 37, 0, ""),
    ),
    *_cells(
        "le_2002",
        ("three_section", "white people", 0, 0, ""),
        ("three_section", "Chinese, Vietnamese and Thai people", 0, 0, ""),
    ),
    *_cells(
        "jayaratne_2012",
        ("three_section", "", 0, 0, ""),
        ("orbital", "", 0, 0, ""),
        ("orbitonasal", "", 19, 0, ""),
    ),
    *_cells(
        "porter_2001",
        ("orbital", _W, 30.6, 1, ""),
        ("nasofacial", _W, 9.3, 1, ""),
        ("naso_aural", _W, 13.0, 1, ""),
    ),
    *_cells(
        "turkish_2016",
        ("orbital", _W, 25, 0, ""),
        ("orbital", _M, 23, 0, ""),
        ("orbitonasal", _W, 30, 0, ""),
        ("orbitonasal", _M, 21, 0, ""),
        ("naso_oral", _W, 17, 0, ""),
        ("naso_oral", _M, 17, 0, ""),
        ("nasofacial", _W, 33, 0, ""),
        ("nasofacial", _M, 19, 0, ""),
    ),
    *_cells(
        "turkish_2003",
        ("three_section", _W, 0, 0, ""),
        ("three_section", _M, 0.4, 1, ""),
        ("four_section", _W, 0, 0, ""),
        ("four_section", _M, 0, 0, ""),
        ("orbital", _W, 50.0, 1, "en-en below ex-en"),
        ("orbital", _M, 52.2, 1, "en-en below ex-en"),
        ("orbitonasal", _W, 50.4, 1, "en-en below al-al"),
        ("orbitonasal", _M, 78.9, 1, "en-en below al-al"),
        ("naso_oral", _W, 66.9, 1, "ch-ch above 1.5 al-al"),
        ("naso_oral", _M, 49.1, 1, "ch-ch above 1.5 al-al"),
        ("two_section", _W, 97.8, 1, "v-en above en-gn"),
        ("two_section", _M, 91.7, 1, "v-en above en-gn"),
    ),
    *_cells(
        "arabian_2015",
        ("three_section", _M, 91.4, 1, "sn-gn above n-sn"),
        ("three_section", _W, 88.0, 1, "sn-gn above n-sn"),
        ("orbital", _M, 55.9, 1, "en-en above ex-en"),
        ("orbital", _W, 74.7, 1, "en-en above ex-en"),
        ("orbitonasal", _M, 92, 0, "al-al above en-en"),
        ("orbitonasal", _W, 56, 0, "al-al above en-en"),
    ),
    *_cells("farkas_notes", ("naso_oral", "", 60, 0, "ch-ch above 1.5 al-al")),
)
"""Every published percentage."""

REMARKS: tuple[Remark, ...] = (
    Remark(canon="orbitonasal", study="farkas_notes", text="en-en below al-al in a third, above it in a fifth"),
    Remark(canon="orbital", study="farkas_notes", text="en-en above ex-en in most"),
    Remark(canon="three_section", study="farkas_notes", text="n-sn below both tr-n and sn-gn"),
    Remark(canon="naso_aural", study="farkas_notes", text="n-sn below the ear's length"),
    Remark(canon="nasofacial", study="farkas_notes", text="al-al differs from a quarter of zy-zy in most"),
    Remark(canon="three_section", study="basrah_2016", text="the sections are unequal"),
    Remark(canon="orbital", study="basrah_2016", text="about equal"),
    Remark(canon="orbitonasal", study="basrah_2016", text="a slight difference"),
    Remark(canon="naso_oral", study="basrah_2016", text="ch-ch is 1.4 al-al"),
    Remark(canon="nasofacial", study="basrah_2016", text="zy-zy is 3.4 al-al"),
    Remark(canon="naso_aural", study="basrah_2016", text="the ear is longer than the nose"),
    Remark(canon="three_section", study="torsello_2010", text="the middle section is the smallest"),
    Remark(canon="orbital", study="torsello_2010", text="en-en below ex-en"),
    Remark(canon="orbitonasal", study="torsello_2010", text="en-en below al-al"),
    Remark(canon="naso_oral", study="torsello_2010", text="ch-ch above 1.5 al-al"),
    Remark(canon="nasofacial", study="torsello_2010", text="al-al below a quarter of zy-zy"),
)
"""What was found without a percentage."""
