"""Hand-placed points joined with a detection: who wins, how sure, and what follows."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from limner.errors import FaceError, UsageError
from limner.face.byhand import HandPoint, HandPoints
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.handmerge import RUNS, join_by_hand, mesh_by_hand
from limner.face.points import FEATURES, MESH_POINTS, NAMED_POINTS, NamedPoint
from limner.pictures.picture import Picture

Array = NDArray[np.float64]


def picture(scale: float = 1.0, digest: str = "a" * 64) -> Picture:
    side = round(1000 * scale)
    pixels = np.zeros((side, side, 3), dtype=np.uint8)
    return Picture(pixels=pixels, name="canvas.jpg", digest=digest, full_size=(1000, 1000), scale=scale)


def detected(runs: int = 9) -> FacePoints:
    """A face of 478 different points, read some times with a little scatter."""
    rng = np.random.default_rng(1)
    mean = rng.uniform(300, 700, (POINT_COUNT, 2))
    mean[468], mean[473] = (400.0, 500.0), (600.0, 500.0)
    scatter = rng.normal(0, 0.5, (runs, POINT_COUNT, 2))
    scatter -= scatter.mean(axis=0)
    readings = mean + scatter
    return FacePoints(
        mean=readings.mean(axis=0),
        runs=readings,
        depth=rng.normal(size=POINT_COUNT),
        box=(300, 300, 700, 700),
        found_by="plain",
    )


def placed(unseen: tuple[str, ...] = (), digest: str = "a" * 64, **points: HandPoint) -> HandPoints:
    return HandPoints(width=1000, height=1000, sha256=digest, points=points, unseen=unseen)


def test_without_any_point_nothing_changes() -> None:
    found = detected()
    joined = join_by_hand(found, placed(), picture())
    assert np.array_equal(joined.runs, found.runs)
    assert joined.hand == {}
    assert (joined.box, joined.found_by) == (found.box, "plain")


@pytest.mark.parametrize("point", MESH_POINTS, ids=lambda p: p.key)
def test_a_hand_point_wins_over_the_detected_one(point: NamedPoint) -> None:
    joined = join_by_hand(detected(), placed(**{point.key: HandPoint(x=123.4, y=567.8, sigma=2.0)}), picture())
    named = joined.mean[list(point.indices)].mean(axis=0)
    assert named == pytest.approx([123.4, 567.8])
    runs = joined.runs[:, list(point.indices)].mean(axis=1)
    assert runs.std(axis=0, ddof=1) == pytest.approx([2.0, 2.0])
    assert joined.hand == {point.key: pytest.approx((123.4, 567.8, 2.0))}


def test_what_the_detector_found_before_yields_to_what_it_finds_now() -> None:
    found = detected()
    joined = join_by_hand(found, placed(sn=HandPoint(x=1, y=1, source="found")), picture())
    assert np.array_equal(joined.mean, found.mean)


def test_a_picture_read_at_reduced_scale_has_its_points_reduced() -> None:
    joined = join_by_hand(detected(), placed(sn=HandPoint(x=200, y=400, sigma=3.0)), picture(scale=0.5))
    assert joined.mean[2] == pytest.approx([100, 200])
    assert joined.runs[:, 2].std(axis=0, ddof=1) == pytest.approx([1.5, 1.5])


def test_the_scatter_is_the_same_each_time_and_another_for_another_point_and_picture() -> None:
    points = {"sn": HandPoint(x=10, y=10), "prn": HandPoint(x=10, y=10)}
    once, again = (join_by_hand(detected(), placed(**points), picture()).runs for _ in range(2))
    assert np.array_equal(once, again)
    assert not np.allclose(once[:, 2], once[:, 4])
    other = join_by_hand(detected(), placed(digest="b" * 64, **points), picture(digest="b" * 64))
    assert not np.allclose(once[:, 2], other.runs[:, 2])


def test_a_single_reading_is_given_room_for_the_scatter() -> None:
    joined = join_by_hand(detected(runs=1), placed(sn=HandPoint(x=10, y=10, sigma=1.0)), picture())
    assert joined.runs.shape == (RUNS, POINT_COUNT, 2)
    assert joined.spread[2] == pytest.approx(np.sqrt(2))
    assert joined.spread[4] == 0


def test_only_the_moved_points_and_their_outlines_move() -> None:
    found = detected()
    joined = join_by_hand(found, placed(ch_right=HandPoint(x=500, y=500)), picture())
    moved = {int(i) for i in np.flatnonzero(np.abs(joined.mean - found.mean).max(axis=1) > 1e-9)}
    mouth = {i for id_ in ("lips", "mouth_opening", "upper_lip", "lower_lip") for i in FEATURES[id_].indices}
    assert 61 in moved
    assert moved <= mouth
    assert {0, 17, 291, 13, 14} & moved == set()


def test_an_outline_follows_in_proportion_to_the_way_along_it() -> None:
    found = detected()
    eye = FEATURES["eye_right"].indices
    turn = np.linspace(0, 2 * np.pi, len(eye), endpoint=False)
    runs = found.runs.copy()
    runs[:, list(eye)] = np.stack([400 + 40 * np.cos(turn), 500 + 40 * np.sin(turn)], axis=-1)
    found = FacePoints(mean=runs.mean(axis=0), runs=runs, depth=found.depth, box=found.box, found_by="plain")
    x, y = found.mean[33]
    joined = join_by_hand(found, placed(ex_right=HandPoint(x=x + 40, y=y, sigma=1e-9)), picture())
    step = joined.mean[list(eye)] - found.mean[list(eye)]
    anchors = [eye.index(i) for i in (33, 145, 133, 159)]
    assert step[anchors, 0] == pytest.approx([40, 0, 0, 0])
    between = step[: anchors[1] + 1, 0]
    assert between == pytest.approx(np.linspace(40, 0, anchors[1] + 1))
    assert np.abs(step[:, 1]).max() < 1e-6


def test_the_iris_goes_with_its_pupil() -> None:
    found = detected()
    x, y = found.mean[468]
    joined = join_by_hand(found, placed(p_right=HandPoint(x=x + 7, y=y - 3)), picture())
    assert joined.mean[468:473] - found.mean[468:473] == pytest.approx(np.tile([7.0, -3.0], (5, 1)))
    assert np.array_equal(joined.mean[473:], found.mean[473:])


def test_lips_edges_keep_their_own_places_beside_the_meeting_line() -> None:
    points = {"sto": HandPoint(x=500, y=600), "stu": HandPoint(x=500, y=590), "stl": HandPoint(x=500, y=612)}
    joined = join_by_hand(detected(), placed(**points), picture())
    assert joined.mean[13] == pytest.approx([500, 590])
    assert joined.mean[14] == pytest.approx([500, 612])


def test_what_is_said_not_to_be_seen_is_nobodys_guess() -> None:
    joined = join_by_hand(detected(), placed(unseen=("ex_left", "tr")), picture())
    assert np.isnan(joined.mean[263]).all()
    assert int(np.isnan(joined.mean).any(axis=1).sum()) == 1


def test_without_a_detection_only_what_was_placed_is_there() -> None:
    points = {
        "n": HandPoint(x=400, y=300, sigma=1.0),
        "gn": HandPoint(x=410, y=700, sigma=1.0, source="found"),
        "bi_left": HandPoint(x=380, y=280),
        "tr": HandPoint(x=420, y=150),
    }
    joined = join_by_hand(None, placed(**points), picture())
    seen = set(np.flatnonzero(np.isfinite(joined.mean).all(axis=1)))
    assert seen == mesh_by_hand(points) == {168, 152, 336, 285}
    assert joined.found_by == "hand"
    assert joined.hand["tr"] == pytest.approx((420, 150, 2.5 * 400.1249 / 1.88 / 100), abs=1e-3)
    assert joined.box == pytest.approx((380, 280, 410, 700))
    assert joined.spread[168] == pytest.approx(np.sqrt(2))
    assert np.isnan(joined.pupil_distance)


def test_too_few_points_without_a_detection_is_no_face() -> None:
    with pytest.raises(FaceError, match="holds 1 points: at least 2 are needed"):
        join_by_hand(None, placed(n=HandPoint(x=1, y=1)), picture())


def test_points_of_another_picture_are_not_joined() -> None:
    with pytest.raises(UsageError):
        join_by_hand(detected(), placed(digest="b" * 64), picture())


def test_every_named_point_has_a_mesh_place_or_none() -> None:
    assert mesh_by_hand(NAMED_POINTS) == {i for p in NAMED_POINTS.values() for i in p.indices}
