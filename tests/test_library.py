"""The door for library users: one call, one frozen result, and the examples of the documents as they stand."""

from __future__ import annotations

import dataclasses
import html
import json
import re
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

import limner
from limner.face.mesh import open_mesh
from limner.proving.plant import plant
from limner.proving.slips import Slip
from limner.report.jsonout import schema
from sample import measure, sample

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def head(portrait) -> np.ndarray:
    """Head and shoulders of the portrait, enlarged: (750, 660, 3), sRGB."""
    crop = Image.fromarray(portrait).crop((110, 0, 330, 250))
    return np.asarray(crop.resize((660, 750), Image.Resampling.BICUBIC))


@pytest.fixture(scope="module")
def settings(model_path) -> limner.Settings:
    return limner.Settings(model=model_path)


@pytest.fixture(scope="module")
def same(head, settings) -> limner.AuditResult:
    """The portrait audited against itself."""
    return limner.audit(head, head, settings=settings)


def test_a_picture_against_itself_is_true(same):
    assert same.off == ()
    told = [m for m in same.measures if m.deviation is not None]
    assert len(told) > 50
    assert max(abs(m.deviation) for m in told) < 0.5
    assert same.scale.scale == pytest.approx(1.0, abs=1e-3)
    assert not same.scale.disagree


def test_arrays_and_files_give_the_same(tmp_path, head, settings, same):
    path = tmp_path / "head.png"
    Image.fromarray(head).save(path)
    for source in (path, str(path)):
        found = limner.audit(source, source, settings=settings)
        assert [m.deviation for m in found.measures] == [m.deviation for m in same.measures]
        assert found.reference.name == "head.png"
        assert found.reference.digest is not None
    assert same.reference.digest is None


def test_the_arrays_handed_over_are_not_changed(head, settings):
    mine = head.copy()
    limner.audit(mine, mine, settings=settings)
    assert (mine == head).all()
    assert mine.flags.writeable


def test_one_thread_gives_the_same_as_two(head, settings, same):
    alone = limner.audit(head, head, settings=dataclasses.replace(settings, threads=1))
    assert alone.measures == same.measures
    assert (alone.painting_points == same.painting_points).all()


def test_the_result_is_frozen_and_goes_to_plain_data(same):
    with pytest.raises(dataclasses.FrozenInstanceError):
        same.stage = "finish"
    plain = same.to_dict()
    jsonschema.Draft202012Validator(schema()).validate(plain)
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain


def test_progress_tells_every_step(head, settings):
    steps: list[str] = []
    limner.audit(head, head, settings=settings, progress=steps.append)
    assert {"reading the reference", "reading the painting", "comparing"} <= set(steps)


def test_plausible_sitter(same):
    """The sitter's own proportions lie within what people have.

    Iris over pupil distance 0.185 (Rufer et al. 2005, 11.71 mm, over ANSUR II, 63.26 mm); up to 0.21 at two standard
    deviations. Nose width over the distance between the inner eye corners, 3D Facial Norms: men 1.10, women 1.04, one
    standard deviation 0.13; three of them allowed.
    """
    value = {m.id: m.reference.value for m in same.measures}
    for side in ("right", "left"):
        assert 0.15 < value[f"iris_width_{side}"] < 0.22
    assert 1.04 - 0.39 < value["nose_width"] / value["between_eyes"] < 1.10 + 0.39


@pytest.mark.parametrize(
    "changes",
    [
        {"strict": 0.0},
        {"strict": float("inf")},
        {"threads": 0},
        {"face_reference": 0},
        {"face_painting": -1},
        {"hold": "nostril"},
        {"stage": "varnish"},
        {"witness": "oracle"},
        {"between": (("toe", "gn"),)},
    ],
    ids=str,
)
def test_settings_that_make_no_sense_are_refused_before_any_work(changes):
    with pytest.raises(limner.UsageError):
        limner.audit("no such file", "no such file", settings=limner.Settings(**changes))


def test_errors_are_of_one_family(tmp_path, settings):
    with pytest.raises(limner.PictureError) as caught:
        limner.audit(tmp_path / "gone.jpg", tmp_path / "gone.jpg", settings=settings)
    assert isinstance(caught.value, limner.LimnerError)
    assert "gone.jpg" in str(caught.value)
    assert "reference" in str(caught.value), "of two errors the reference's comes first, with any number of threads"


def test_notebook_view_is_safe_html():
    hostile = dataclasses.replace(sample().painting, name="<script>alert(1)</script>.jpg")
    shown = sample(painting=hostile, mend_first=("<b>mend</b>",))._repr_html_()
    assert "<script>" not in shown
    assert "<b>mend" not in shown
    assert html.escape("<script>alert(1)</script>.jpg") in shown
    assert "face width" in shown
    assert shown.count("<div>") == shown.count("</div>") == 1
    many = tuple(measure(f"x{i}", "n", "width", 9.0, 1.0, call="off") for i in range(40))
    assert "and 25 more" in sample(measures=many)._repr_html_()


def test_example_of_the_readme_runs(tmp_path, head, model_path, monkeypatch, capsys):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.+?)```", text, re.DOTALL)
    Image.fromarray(head).save(tmp_path / "reference.jpg", quality=95)
    points = open_mesh(model_path).detect(head)[0][:, :2]
    low_mouth = plant(head, points, Slip(kind="mouth_y", amount=0.12))
    Image.fromarray(low_mouth.pixels).save(tmp_path / "canvas.jpg", quality=95)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LIMNER_MODEL", str(model_path))
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102 - the example is ours
    assert "mouth, height" in capsys.readouterr().out


def test_measures_page_is_the_list(request):
    import importlib.util

    spec = importlib.util.spec_from_file_location("docs_build", ROOT / "docs" / "build.py")
    assert spec is not None
    assert spec.loader is not None
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    written = (ROOT / "docs" / "measures.md").read_text(encoding="utf-8")
    assert written == build.measures_page(), "renew it: python docs/build.py"
