"""Where the numbers of steps stand: by each of a pair, and on no line of the drawing."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from limner.compare.corrections.units import BROWS, EYES
from limner.face.points import FEATURES
from limner.report.auditpage import audit_page
from limner.report.chalk import ellipse, outline
from limner.report.stands import dotted, set_out, shapes_of, stands_at, within
from limner.sheet.correction import RING, correction_sheet
from limner.sheet.marks import Stroke, Words
from limner.sheet.outlines import BELONGS, PAINTED
from sample import sample
from test_audit_page import examined, step
from test_sheet_correction import PITCH, correction, found

LEFT, RIGHT = (470.0, 300.0), (130.0, 300.0)
NOWHERE = (np.zeros(2), np.full(2, 1000.0))


def drawn_face() -> np.ndarray:
    """(478, 2) points of a plain face, px: eyes and brows of 80 x 30 px, each an oval, far apart."""
    points = np.full((478, 2), (300.0, 420.0))
    for (x, y), names in {
        (200.0, 200.0): ("eye_right",),
        (400.0, 200.0): ("eye_left",),
        (200.0, 130.0): ("brow_right",),
        (400.0, 130.0): ("brow_left",),
        (300.0, 420.0): ("lips",),
    }.items():
        for name in names:
            rows = list(FEATURES[name].indices)
            turn = np.linspace(0, 2 * np.pi, len(rows), endpoint=False)
            points[rows] = np.column_stack([x + 40 * np.cos(turn), y + 15 * np.sin(turn)])
    for row, at in ((468, (200.0, 200.0)), (473, (400.0, 200.0))):
        points[row] = at
    for name, at in (("iris_right", (200.0, 200.0)), ("iris_left", (400.0, 200.0))):
        points[list(FEATURES[name].indices)] = np.array(at) + [[9, 0], [0, -9], [-9, 0], [0, 9]]
    return points


@pytest.mark.parametrize(("unit", "parts"), [("brows", BROWS), ("eyes", EYES)])
def test_a_pair_has_a_number_at_each(unit: str, parts: dict) -> None:
    points = drawn_face()
    result = sample(painting_points=points, should_be=points)
    middles = np.array([points[list(parts[side].rows)].mean(axis=0) for side in ("right", "left")])
    one = replace(step(1), unit=unit, centre=tuple(middles.mean(axis=0)))
    np.testing.assert_allclose(stands_at(result, one), middles)
    lower = replace(one, centre=tuple(middles.mean(axis=0) + (0.0, 7.0)))  # an earlier step has moved both
    np.testing.assert_allclose(stands_at(result, lower), middles + (0.0, 7.0))
    gone = points.copy()
    gone[list(parts["left"].rows)] = np.nan
    (middle,) = stands_at(replace(result, painting_points=gone), one)
    np.testing.assert_allclose(middle, one.centre)


def test_one_feature_has_one_number_and_what_is_nowhere_none() -> None:
    assert len(stands_at(sample(), replace(step(1), unit="nose"))) == 1
    assert stands_at(sample(), replace(step(1), centre=(float("nan"), 1.0))) == []


def test_a_number_stands_behind_its_arrow_and_beside_what_is_not_shifted() -> None:
    down = (1, np.array([500.0, 400.0]), np.array([500.0, 440.0]))
    still = (2, np.array([300.0, 500.0]), np.array([300.0, 500.0]))
    first, second = set_out([down, still], [], [], size=10.0, box=NOWHERE)
    np.testing.assert_allclose(first.number - first.start, (0.0, -15.0), atol=1e-9)
    np.testing.assert_allclose(second.number - second.start, (-15.0, 0.0), atol=1e-9)  # away from the middle
    assert not first.leader


def test_numbers_keep_off_lines_shapes_the_edge_and_each_other() -> None:
    at = np.array([30.0, 300.0])
    ring = at + ellipse(np.array([[40.0, 0.0], [0.0, 25.0], [-40.0, 0.0], [0.0, -25.0]]))
    wall = np.array([[-200.0, 340.0], [200.0, 340.0]])
    marks = set_out([(n, at, at) for n in range(4)], [wall], [ring], size=8.0, box=NOWHERE)
    places = np.array([mark.number for mark in marks])
    assert not within(places, ring).any()
    for line in (np.vstack([ring, ring[:1]]), wall):
        gaps = np.hypot(*(places[:, None] - dotted(line, 0.5)).transpose(2, 0, 1))
        assert gaps.min() >= 7.9
    apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))[np.triu_indices(4, 1)]
    assert apart.min() >= 16.0
    assert places.min() >= 8.0
    assert all(mark.leader for mark in marks)


def test_where_nothing_is_free_the_number_stands_where_there_is_most_room() -> None:
    rows = [np.array([[0.0, y], [1000.0, y]]) for y in np.arange(0.0, 1000.0, 5.0)]
    (mark,) = set_out([(1, np.array([500.0, 500.0]), np.array([500.0, 500.0]))], rows, [], size=10.0, box=NOWHERE)
    assert np.isfinite(mark.number).all()
    assert mark.number[1] % 5 == pytest.approx(2.5, abs=1.3)


def test_the_sheet_numbers_each_of_a_pair_off_its_lines() -> None:
    points = drawn_face()
    both = correction(1, unit="eyes", centre=(300.0, 200.0), dx_mm=correction(1).dy_mm)
    result = replace(found(painting_points=points * (1.0, 1.02), should_be=points), corrections=(both,))
    sheet = correction_sheet(result)
    words = [mark for mark in sheet.marks if isinstance(mark, Words)]
    assert [word.text for word in words] == ["1", "1"]
    places = np.array([word.at for word in words]) - (0.0, 1.1)
    for place, x in zip(places, (200.0, 400.0), strict=True):
        assert np.hypot(*(place - np.array([x, 202.0]) * PITCH)) < 30
    for shape in shapes_of(result):
        assert not within(places, shape * PITCH).any()
    for one in sheet.marks:
        if isinstance(one, Stroke) and one.pen in (BELONGS, PAINTED):
            line = np.vstack([one.points, one.points[:1]]) if one.closed else one.points
            assert np.hypot(*(places[:, None] - dotted(line, 0.2)).transpose(2, 0, 1)).min() > RING
    assert "for a pair at each of the two" in " ".join(n.text for s in sheet.sections for n in s.notes)


def test_the_page_is_given_both_places_of_a_pair() -> None:
    points = drawn_face() * 0.6
    result = sample(painting_points=points, should_be=points, corrections=(replace(step(1), centre=(180.0, 120.0)),))
    page = audit_page(replace(examined(), result=result))
    given = json.loads(re.search(r'id="given">(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    (one,) = given["steps"]
    (ax, ay), (bx, by) = (place[0] for place in one["at"])
    assert ay == pytest.approx(by, abs=0.2)
    assert bx - ax == pytest.approx(120.0 * given["width"] / 400, rel=0.5)
    for start, _end, number, led in one["at"]:
        assert 10 < np.hypot(*np.subtract(number, start)) < 0.4 * given["width"]
        assert led in (True, False)


def test_what_lies_outside_has_no_number_and_that_is_said() -> None:
    there, away = replace(step(1), unit="nose"), replace(step(2), unit="chin", centre=(200.0, 900.0))
    page = audit_page(examined(corrections=(there, away)))
    given = json.loads(re.search(r'id="given">(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    assert [len(one["at"]) for one in given["steps"]] == [1, 0]
    assert page.count("It lies outside the picture") == 1
    assert "It lies outside" in page[page.index('id="more-2"') :]
    unknown = correction(4, centre=(float("nan"), 9.0))
    steps = (correction(1), correction(2, centre=(200.0, 900.0)), correction(3, centre=(900.0, 90.0)), unknown)
    sheet = correction_sheet(replace(found(), corrections=steps))
    assert [mark.text for mark in sheet.marks if isinstance(mark, Words)] == ["1"]
    said = " ".join(note.text for section in sheet.sections for note in section.notes)
    assert "without a number on it: steps 2 and 3." in said
    assert "without a number" not in " ".join(n.text for s in correction_sheet(found()).sections for n in s.notes)


def test_an_iris_is_round() -> None:
    ring = outline(np.array([[9.0, 0.0], [0.0, -9.0], [-9.0, 0.0], [0.0, 9.0]]), closed=True)
    np.testing.assert_allclose(np.hypot(*ring.T), 9.0)
    np.testing.assert_allclose(ring[0], ring[-1])
