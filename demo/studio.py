"""Builds an invented commission: a reference and five photographs of the canvas with drawing slips that are known.

    python demo/studio.py [FOLDER]

The reference is the public-domain portrait photograph that scikit-image carries. The paintings are rendered by
limner's own proving room. FOLDER (default: studio) gets reference.jpg; session-1.jpg to session-5.jpg, each canvas from
the front; easel-1.jpg to easel-5.jpg, the same canvases on their easel from the side; and truth.json, which says what
was planted and where the canvas's corners lie. The sitter smiles and shows teeth: what limner reads of the lips may
well be unsure.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

from easel import CANVAS_MM, FOCAL_35MM, STANDS, easel_photo
from limner.errors import FaceError, LimnerError
from limner.face.bundle import ensure_model
from limner.face.mesh import open_mesh
from limner.measure.catalogue import CATALOGUE
from limner.pictures.write import write_whole
from limner.proving.photograph import Photo, Shot, rephotograph
from limner.proving.plant import Planted, plant
from limner.proving.render import Brush, Palette, paint
from limner.proving.slips import Slip
from limner.proving.truth import true_deviations
from limner.proving.values import ValueSlip, plant_values

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

CROP = (110, 0, 330, 250)
"""Head and shoulders in the 512 px photograph: x0, y0, x1, y1."""
ENLARGE = 5
"""The face in it is small; enlarged so much, the brushes are as fine as on a real canvas."""


@dataclass(frozen=True, kw_only=True)
class Session:
    """One day's photograph of the canvas and how it came about."""

    number: int
    stage: str
    taken: str
    slips: tuple[Slip, ...]
    values: ValueSlip
    brush: Brush
    shot: Shot

    @property
    def name(self) -> str:
        return f"session-{self.number}.jpg"


def reference_picture() -> Pixels:
    """The sitter: (1250, 1100, 3) array, sRGB."""
    from skimage import data

    x0, y0, x1, y1 = CROP
    part = np.ascontiguousarray(data.astronaut()[y0:y1, x0:x1])
    size = ((x1 - x0) * ENLARGE, (y1 - y0) * ENLARGE)
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_LANCZOS4), dtype=np.uint8)


def reference_points(pixels: Pixels) -> Array:
    """(478, 2) array, px: the points by which the slips are placed."""
    faces = open_mesh(ensure_model()).detect(pixels)
    if not faces:
        raise FaceError("Expected one face in the example portrait; the model found none. Try: limner model status.")
    return faces[0][:, :2]


def far_cheek(points: Array) -> str:
    """The sitter's side whose cheek is turned away: the one seen narrower from nose to cheekbone."""
    nose, right, left = points[4], points[234], points[454]
    return "left" if np.linalg.norm(left - nose) < np.linalg.norm(right - nose) else "right"


def slips(far: str, *, eyes: float, chin: float, brow: float, mouth: float, cheek: float) -> tuple[Slip, ...]:
    """The slips this painter makes, by how much each."""
    return (
        Slip(kind="eyes_size", amount=eyes),
        Slip(kind="mouth_width", amount=mouth),
        Slip(kind="brow_left_y", amount=brow),
        Slip(kind="chin", amount=chin),
        Slip(kind=f"cheek_{far}", amount=cheek),
    )


def sessions(far: str) -> tuple[Session, ...]:
    """Five days. Every error shrinks, but on the fourth day the mouth goes back to where it was on the first."""
    umber = Palette(tint=(1.10, 0.98, 0.80), chroma=0.0, gamma=1.0, low=0.10, high=0.88)
    thin = Palette(tint=(1.05, 1.0, 0.90), chroma=0.45, gamma=1.0, low=0.06, high=0.93)
    full = Palette(tint=(1.03, 1.0, 0.95), chroma=0.9, gamma=1.0, low=0.03, high=0.97)
    light = ValueSlip(shadows=13.0)
    return (
        Session(
            number=1,
            stage="block-in",
            taken="2024:03:04 10:12:00",
            slips=slips(far, eyes=0.15, chin=-0.11, brow=-0.055, mouth=-0.11, cheek=0.040),
            values=light,
            brush=Brush(kind="blocks", brushes=(15.0, 8.0), palette=umber, values=2, seed=1),
            shot=Shot(turn=1.4, scale=0.97, shift=(0.01, -0.01), stops=-0.25, balance=(1.06, 1.0, 0.9),
                      blur=0.8, noise=2.5, vignette=0.14, seed=1),
        ),
        Session(
            number=2,
            stage="glaze",
            taken="2024:03:11 10:40:00",
            slips=slips(far, eyes=0.12, chin=-0.08, brow=-0.045, mouth=-0.08, cheek=0.030),
            values=light,
            brush=Brush(kind="glazes", brushes=(6.0,), palette=thin, seed=2),
            shot=Shot(turn=-0.8, scale=1.0, shift=(-0.01, 0.0), stops=0.15, balance=(0.97, 1.0, 1.04),
                      blur=0.7, noise=1.5, vignette=0.08, seed=2),
        ),
        Session(
            number=3,
            stage="colour",
            taken="2024:03:18 11:05:00",
            slips=slips(far, eyes=0.10, chin=-0.07, brow=-0.04, mouth=-0.05, cheek=0.026),
            values=ValueSlip(shadows=9.0),
            brush=Brush(kind="strokes", brushes=(12.0, 7.0, 4.0), palette=full, seed=3),
            shot=Shot(turn=2.1, scale=0.94, shift=(0.0, 0.012), stops=-0.1, balance=(1.03, 1.0, 0.96),
                      blur=0.6, noise=2.0, vignette=0.1, seed=3),
        ),
        Session(
            number=4,
            stage="lights",
            taken="2024:03:25 10:20:00",
            slips=slips(far, eyes=0.06, chin=-0.05, brow=-0.025, mouth=-0.11, cheek=0.016),
            values=ValueSlip(shadows=5.5, lights=2.0),
            brush=Brush(kind="strokes", brushes=(9.0, 5.0, 3.0), palette=full, seed=4),
            shot=Shot(turn=-1.6, scale=1.04, shift=(0.008, 0.004), stops=0.25, balance=(1.0, 1.0, 1.0),
                      blur=0.5, noise=1.5, vignette=0.06, seed=4),
        ),
        Session(
            number=5,
            stage="finish",
            taken="2024:04:08 10:30:00",
            slips=slips(far, eyes=0.03, chin=-0.02, brow=-0.012, mouth=-0.02, cheek=0.006),
            values=ValueSlip(shadows=2.0, lights=1.0),
            brush=Brush(kind="strokes", brushes=(8.0, 4.0, 2.5), palette=full, bristle=0.02, seed=5),
            shot=Shot(turn=0.5, scale=1.0, shift=(0.0, -0.005), stops=0.05, balance=(1.02, 1.0, 0.98),
                      blur=0.5, noise=1.2, vignette=0.05, seed=5),
        ),
    )  # fmt: skip


def jpeg(pixels: Pixels, taken: str | None, focal: int | None = None) -> bytes:
    """A JPEG with its EXIF time and 35 mm equivalent focal length, as a phone writes it."""
    exif = Image.Exif()
    if taken:
        exif[ExifTags.Base.DateTime] = taken
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    if focal:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = focal
    held = io.BytesIO()
    Image.fromarray(pixels).save(held, "JPEG", quality=92, exif=exif)
    return held.getvalue()


def make(pixels: Pixels, points: Array, day: Session) -> tuple[Planted, Photo, Pixels]:
    """What was planted, the photograph of the canvas at the end of one day, and the canvas itself."""
    planted = plant(plant_values(pixels, day.values), points, day.slips)
    canvas = paint(planted.pixels, day.brush)
    return planted, rephotograph(canvas, replace(day.shot, quality=0)), canvas


def truth(points: Array, day: Session, planted: Planted, photo: Photo) -> dict[str, object]:
    """What is known of one session."""
    return {
        "picture": day.name,
        "taken": day.taken,
        "stage": day.stage,
        "slips": [asdict(slip) for slip in day.slips],
        "values": {"lightness added to shadows": day.values.shadows, "lightness added to lights": day.values.lights},
        "measures": {
            id_: {"deviation": round(deviation, 3) + 0.0, "unit": CATALOGUE[id_].unit}
            for id_, deviation in true_deviations(points, planted.points).items()
        },
        "painting_to_photo": photo.matrix.round(9).tolist(),
        "points": photo.place(planted.points).round(3).tolist(),
    }


def build(folder: Path) -> dict[str, object]:
    """Makes the studio in ``folder``; gives what truth.json holds."""
    folder.mkdir(parents=True, exist_ok=True)
    pixels = reference_picture()
    points = reference_points(pixels)
    write_whole(folder / "reference.jpg", jpeg(pixels, None))
    far = far_cheek(points)
    days = []
    for day in sessions(far):
        planted, photo, canvas = make(pixels, points, day)
        write_whole(folder / day.name, jpeg(photo.pixels, day.taken))
        oblique, corners = easel_photo(canvas, STANDS[day.number - 1], day.number)
        write_whole(folder / f"easel-{day.number}.jpg", jpeg(oblique, day.taken, FOCAL_35MM))
        easel = {
            "picture": f"easel-{day.number}.jpg",
            "corners": corners.round(2).tolist(),
            "canvas_mm": list(CANVAS_MM),
            "degrees to the side": STANDS[day.number - 1].side,
        }
        days.append({**truth(points, day, planted, photo), "easel": easel})
    told: dict[str, object] = {
        "schema": "limner.studio/1",
        "reference": {"picture": "reference.jpg", "points": points.round(3).tolist()},
        "far_cheek": f"sitter's {far}",
        "caution": "The sitter smiles and shows teeth: readings of the lips may be unsure.",
        "sessions": days,
    }
    write_whole(folder / "truth.json", (json.dumps(told, indent=1) + "\n").encode())
    return told


def main() -> int:
    """Builds the studio and says where it is."""
    parser = argparse.ArgumentParser(description="Build the example studio.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path("studio"))
    folder = parser.parse_args().folder
    try:
        build(folder)
    except LimnerError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    print(f"The studio is in {folder.resolve()}: reference.jpg, session-1.jpg and easel-1.jpg to 5, truth.json.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
