"""A proof as text, JSON and plot says what its readings say."""

from __future__ import annotations

import dataclasses
import json

import jsonschema
import numpy as np
import pytest

from limner.measure.catalogue import CATALOGUE
from limner.notices import Notice
from limner.proving.plot import plot
from limner.proving.prove import Proof, Row
from limner.proving.score import Reading, score
from limner.proving.tell import schema, to_dict, to_json, to_text
from limner.proving.trials import PUPIL_DISTANCE, Outcome, crop_to_face, plan

MEASURES = ("eye_width_left", "nose_width", "mouth_x", "mouth_axis")


def invented(slope: float, number: int, planted: float) -> tuple[Reading, ...]:
    return tuple(
        Reading(
            case=number, measure=id_, planted=planted, threshold=8.0, recovered=slope * planted + 0.1, sigma=0.8,
            call="off" if abs(planted) > 8 else "true",
        )
        for id_ in MEASURES
    )  # fmt: skip


@pytest.fixture
def proof() -> Proof:
    trials = [t for t in plan(quick=True) if t.group == "full"]
    outcomes = [
        Outcome(
            trial=t,
            best=invented(0.98, t.number, p),
            mesh=invented(0.4, t.number, p),
            plain=tuple(dataclasses.replace(r, sigma=None) for r in invented(0.3, t.number, p)),
        )
        for t, p in zip(trials, [0, 12, -9, 5, -14, 7, 0, 11, -6, 3, 9, -3], strict=True)
    ]
    lost = Outcome(trial=plan(quick=True)[-1], best=(), mesh=(), lost="no face")
    copies = frozenset(o.trial.number for o in outcomes if not o.trial.slips)
    rows = tuple(
        Row(
            measure=id_, name=CATALOGUE[id_].name, unit=CATALOGUE[id_].unit, group="full",
            best=score([r for o in outcomes for r in o.best if r.measure == id_], copies),
            mesh=score([r for o in outcomes for r in o.mesh if r.measure == id_], copies),
            plain=score([r for o in outcomes for r in o.plain if r.measure == id_], copies),
        )
        for id_ in MEASURES
    )  # fmt: skip
    return Proof(
        reference="sitter.jpg", pupil_distance=310.0, quick=True, seed=0, outcomes=(*outcomes, lost), rows=rows,
        warnings=(Notice(code="faces_lost", text="On 1 of 13 paintings no face was found."),),
    )  # fmt: skip


def test_json_is_as_its_schema_says_and_holds_every_reading(proof):
    told = json.loads(to_json(proof))
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(told, schema())
    assert told == to_dict(proof)
    assert [t["number"] for t in told["trials"]] == [o.trial.number for o in proof.outcomes]
    assert told["trials"][-1]["lost"] == "no face"
    assert told["trials"][1]["readings"]["mesh"][0]["recovered"] == pytest.approx(0.4 * 12 + 0.1)
    assert told["trials"][1]["readings"]["plain"][0]["recovered"] == pytest.approx(0.3 * 12 + 0.1)
    assert told["measures"][0]["plain"]["slope"] == pytest.approx(0.3)
    assert told["measures"][0]["plain"]["coverage"] is None
    assert told["measures"][0]["best"]["slope"] == pytest.approx(0.98)


@pytest.mark.parametrize("width", [80, 120])
def test_text_says_slopes_and_errors_of_both_within_the_width(proof, width):
    text = to_text(proof, width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    row = next(line for line in text.splitlines() if line.startswith("nose width"))
    assert row.split()[2:4] == ["9.8", "0.2"]
    assert "3.0" in row
    assert "sitter.jpg" in text
    assert "no face was found" in text
    for word in ("IPD", "sigma", "mesh", "registration"):
        assert word not in text


def test_colour_only_repeats_the_words(proof):
    import re

    plain = re.sub(r"\x1b\[[0-9;]*m", "", to_text(proof, colour=True))
    assert [line.rstrip() for line in plain.splitlines()] == to_text(proof).splitlines()


def test_the_plot_has_a_panel_for_each_measure_with_both_witnesses_in_it(proof):
    picture = plot(proof)
    assert picture.dtype == np.uint8
    assert picture.shape[2] == 3
    blue = (np.abs(picture.astype(int) - (20, 82, 130)).max(axis=2) < 25).sum()
    brown = (np.abs(picture.astype(int) - (176, 92, 40)).max(axis=2) < 25).sum()
    # Twelve dots of about 30 px in each of four panels, some hidden behind others.
    assert blue > 4 * 12 * 12
    assert brown > 4 * 12 * 4
    assert np.array_equal(picture, plot(proof))


def test_trials_are_numbered_repeatable_and_hold_faithful_copies_of_each_kind():
    for quick in (True, False):
        trials = plan(quick=quick, seed=2)
        assert [t.number for t in trials] == list(range(len(trials)))
        assert trials == plan(quick=quick, seed=2)
        assert trials != plan(quick=quick, seed=3)
        kinds = {t.brush.kind for t in trials}
        assert {t.brush.kind for t in trials if not t.slips} == kinds
        assert {"strokes", "glazes", "blocks"} <= kinds
        assert {t.group for t in trials} == {"full", "block-in"}


def test_the_crop_has_the_face_at_the_size_trials_are_read_at():
    points = np.full((478, 2), 900.0)
    points[468], points[473] = (800.0, 900.0), (1350.0, 900.0)
    crop = crop_to_face(np.zeros((3000, 2200, 3), np.uint8), points)
    scale = PUPIL_DISTANCE / 550
    assert crop.shape[1] == pytest.approx(min(2200, 1075 + 2.2 * 550) * scale, abs=2)
    assert crop.shape[0] == pytest.approx((900 + 2.9 * 550) * scale, abs=2)
