"""How the head is turned, by fitting a neutral 3D face of published mean measures to the points; and a camera too near.

Angles are those of the face as it would be seen from where the camera was, looking straight at it: yaw positive when
the face is turned to picture right, pitch positive with the chin up, roll positive clockwise as seen. Pitch is 0 when
the line from the root of the nose to the chin is square to the line of sight.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import FaceError
from limner.face.crops import face_size
from limner.face.facepoints import FacePoints
from limner.notices import Notice
from limner.pictures.picture import Picture
from limner.result import Pose

Array = NDArray[np.float64]

# Widths and heights in mm: 3D Facial Norms (Weinberg et al. 2016, Cleft Palate Craniofac J 53(6):e185-e197), means at
# age 25, women and men averaged: ex-ex 87.25, en-en 32.10, ch-ch 48.99, zy-zy 133.61, n-sn 55.56, sn-sto 21.44,
# n-gn 122.34. That table has no depths, no height of the eye corners and no nose tip: these are limner's own, from the
# landmarker's mean mesh over 19 portraits and their mirror images, brought to the table's distance between the eyes'
# centres; the mouth corners are taken to lie at the height of sto. x to the sitter's left, y down, z away from the eye.
NEUTRAL_FACE: dict[str, tuple[float, float, float]] = {
    "n": (0.0, 0.0, 0.0),
    "ex_right": (-43.62, 14.3, 19.6),
    "ex_left": (43.62, 14.3, 19.6),
    "en_right": (-16.05, 15.6, 14.1),
    "en_left": (16.05, 15.6, 14.1),
    "prn": (0.0, 40.6, -27.5),
    "sn": (0.0, 55.56, -12.7),
    "ch_right": (-24.5, 77.0, 7.0),
    "ch_left": (24.5, 77.0, 7.0),
    "gn": (0.0, 122.34, 0.0),
    "zy_right": (-66.8, 40.6, 67.6),
    "zy_left": (66.8, 40.6, 67.6),
}

# The mesh's 8 rather than 168 for n: 8-2 and 8-152 fit 0.92 and 1.98 of the distance between the eyes' centres, the
# table's n-sn and n-gn are 0.93 and 2.05 of it.
MODEL_INDICES: dict[str, int] = {
    "n": 8,
    "ex_right": 33,
    "ex_left": 263,
    "en_right": 133,
    "en_left": 362,
    "prn": 4,
    "sn": 2,
    "ch_right": 61,
    "ch_left": 291,
    "gn": 152,
    "zy_right": 234,
    "zy_left": 454,
}

USUAL_DISTANCE = 1500.0
"""Camera distance in mm where EXIF does not tell: limner's own choice, a portrait at the near end of the usual."""

PUPIL_DISTANCE = 63.0
"""Mean distance between adults' pupils, mm (Dodgson 2004, Proc SPIE 5291:36-46)."""

TOO_NEAR = 1500.0
"""Nearer than this, mm, perspective shows in a face: about 5 feet (Ward et al. 2018, JAMA Facial Plast Surg)."""

FILM_DIAGONAL = math.hypot(36.0, 24.0)
"""Of the 35 mm frame that equivalent focal lengths refer to, mm."""


def pose_of(points: FacePoints, picture: Picture) -> Pose:
    """The turn of the head.

    Args:
        points: the face's points in the picture.
        picture: for the focal length, where its EXIF states one.

    Returns:
        Angles in degrees; sigma is the standard error of the worst of them over the readings. How the sitter's own
        build differs from the mean face is not in it: it is the same in both pictures and cancels between them.

    Raises:
        FaceError: if the points cannot be those of a face.
    """
    focal = focal_length(picture) or USUAL_DISTANCE / PUPIL_DISTANCE * face_size(points.mean)
    yaw, pitch, roll = _angles(points.mean, focal)
    sigma = 0.0
    if len(points.runs) > 1:
        each = np.array([_angles(run, focal) for run in points.runs])
        sigma = float(each.std(axis=0, ddof=1).max()) / math.sqrt(len(each))
    return Pose(yaw=yaw, pitch=pitch, roll=roll, sigma=sigma)


def focal_length(picture: Picture) -> float | None:
    """Focal length in px of the decoded picture, or ``None`` where its EXIF does not state one."""
    if not picture.focal_35mm or picture.focal_35mm <= 0:
        return None
    return picture.focal_35mm / FILM_DIAGONAL * math.hypot(*picture.full_size) * picture.scale


def camera_distance(picture: Picture, points: FacePoints) -> float | None:
    """How far the camera was from the face, mm, for a sitter whose pupils are 63 mm apart and an uncropped photograph.

    Returns:
        ``None`` where the EXIF does not state a focal length.
    """
    focal = focal_length(picture)
    if focal is None:
        return None
    facing = max(math.cos(math.radians(pose_of(points, picture).yaw)), 0.5)
    return focal * PUPIL_DISTANCE * facing / points.pupil_distance


def too_near(picture: Picture, points: FacePoints) -> Notice | None:
    """A notice where the photograph was taken so near that perspective changes the face's proportions."""
    distance = camera_distance(picture, points)
    if distance is None or distance >= TOO_NEAR:
        return None
    text = (
        f"{picture.name} was taken from about {distance / 1000:.1f} m, by its focal length: nearer than about 1.5 m "
        "what is close to the camera looks larger, the nose by up to 30 % at 0.3 m (Ward et al. 2018). Use a photo "
        "taken farther off if you can; disregard this if the photo was cropped."
    )
    return Notice(code="camera_too_near", text=text)


def _angles(mesh: Array, focal: float) -> tuple[float, float, float]:
    """Yaw, pitch and roll in degrees, of (478, 2) points in px, seen with a focal length in px."""
    seen = np.ascontiguousarray(mesh[list(MODEL_INDICES.values())], dtype=np.float64)
    model = np.array([NEUTRAL_FACE[key] for key in MODEL_INDICES])
    middle = seen.mean(axis=0)
    camera = np.array([[focal, 0.0, middle[0]], [0.0, focal, middle[1]], [0.0, 0.0, 1.0]])
    if np.isfinite(seen).all():
        solved, turn, place = cv2.solvePnP(model, seen, camera, None, flags=cv2.SOLVEPNP_SQPNP)
        if solved:
            turn, _ = cv2.solvePnPRefineLM(model, seen, camera, None, turn, place)
            return _read_off(np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64))
    raise FaceError(
        "The turn of the head cannot be found: the points are not those of a face. Check them: limner points PICTURE"
    )


def _read_off(rotation: Array) -> tuple[float, float, float]:
    """Angles of R = Rz(roll) Rx(-pitch) Ry(-yaw), which takes the upright face to the face as seen."""
    yaw = math.degrees(math.atan2(rotation[2, 0], rotation[2, 2]))
    pitch = -math.degrees(math.asin(max(-1.0, min(1.0, float(rotation[2, 1])))))
    roll = math.degrees(math.atan2(-rotation[0, 1], rotation[1, 1]))
    return yaw, pitch, roll
