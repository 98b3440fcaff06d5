"""The canons as a painter reads them, as JSON and CSV, and the command."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

import limner
import norms_face as norms
from limner.cli import main
from limner.compare.assemble import View as Known
from limner.compare.assemble import compare
from limner.compare.canons.findings import findings_on, notices_on
from limner.compare.canons.studies import HELD, STUDIES
from limner.compare.canons.table import CANONS, RATIOS
from limner.report import canonjson, canonwords, jsonout
from limner.report.canonlist import canons_text
from limner.report.canontext import to_text
from limner.report.text import to_text as audit_text
from limner.report.view import View
from limner.result import CanonResult, Pose, Quantity
from sample import sample

LEVEL = Pose(yaw=2.0, pitch=-3.0, roll=0.0, sigma=0.5)
KEPT_OUT = re.compile(r"\b(IPD|sigma|IoU|mesh|registration|CIEDE)\b", re.IGNORECASE)


def result(**changes: object) -> CanonResult:
    face = norms.face_points(norms.norms_px(), noise=0.3)
    made = CanonResult(
        picture=replace(sample().reference, name="sitter.jpg"),
        pose=LEVEL,
        findings=findings_on(face, LEVEL),
        warnings=notices_on(face),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def drifted() -> dict[str, object]:
    """Canons, drift and habits of a painting whose nose goes half of the way to the canon, on a sitter by hand."""
    wide = norms.widened(norms.norms_px(), (129, 358), 1.25)
    sitter = 1.25 * norms.AL_AL / norms.EN_EN
    painted = norms.widened(wide, (129, 358), 1 + 0.5 * (1.0 - sitter) / sitter)
    faces = (replace(norms.face_points(points), found_by="hand") for points in (wide, painted))
    compared = compare(*faces, of_reference=Known(pose=LEVEL), of_painting=Known(pose=LEVEL))
    return {"canons": compared.canons, "drift": compared.drift, "habits": compared.habits}


@pytest.mark.parametrize("width", [16, 20, 40, 63, 64, 80, 120, 400])
def test_no_line_is_wider_than_asked_and_all_is_ascii(width):
    for text in (
        to_text(result(), width=width),
        canons_text(width=width),
        audit_text(sample(**drifted()), View(canons=True), width=width),
    ):
        assert max(len(line) for line in text.splitlines()) <= width
        assert text.isascii()
        assert all(line == line.rstrip() for line in text.splitlines())


def test_painters_words_only():
    assert not KEPT_OUT.search(to_text(result()))
    assert not KEPT_OUT.search(audit_text(sample(**drifted()), View(canons=True)))


def test_every_ratio_is_told_with_a_value_or_what_it_needs():
    text = to_text(result(), width=400)
    stacked = " ".join(to_text(result(), width=60).split())
    needed = " ".join(text.partition("Not measured here")[2].partition("How often")[0].split())
    for finding in result().findings:
        definition = RATIOS[finding.id][1].definition
        if finding.value.value is None:
            assert f"{definition};" in needed or f"{definition}: mark by hand" in needed, finding.id
        else:
            value = canonwords.of_quantity(finding.value)
            assert re.fullmatch(r"[\d.]+ \(give or take [\d.]+\)", value)
            assert f"{definition}: book {canonwords.book(RATIOS[finding.id][1].value)}, here {value}" in stacked


def test_the_caution_comes_once():
    for text in (to_text(result()), canons_text(), audit_text(sample(**drifted()), View(everything=True))):
        assert " ".join(text.split()).count(canonwords.CAUTION) == 1


def test_each_published_percentage_is_printed_with_its_people_and_its_source():
    text = " ".join(to_text(result(), width=400).split())
    for cell in HELD:
        assert re.search(rf"{cell.percent:.{cell.digits}f} % of [^;]*\[\d+\]", text), cell
        assert STUDIES[cell.study].cite in text
    assert "30.6 % of 108 African-American women [4]" in text
    assert "[4] Porter & Olson 2001" in text


def test_list_names_every_canon_ratio_and_source():
    text = "".join(canons_text(width=400).split())

    def there(words: str) -> bool:
        return "".join(words.split()) in text

    for canon in CANONS:
        assert there(f"{canon.id}: {canon.name} ({canon.definition})")
        assert there(f"source: {canon.source}")
        assert all(there(f"{ratio.id}: {ratio.name}, {ratio.definition}") for ratio in canon.ratios)
    assert all(there(study.url) for study in STUDIES.values())


def test_an_audit_tells_drift_and_habits_when_asked():
    text = " ".join(audit_text(sample(**drifted()), View(canons=True), width=400).split())
    said = (
        "nose width against the space between the eyes has moved half of the way from the sitter's to the canon's (50 %"
    )
    assert said in text
    assert "As a whole, over" in text
    assert "nose narrower: shown" in text
    assert "Costa & Corazza 2006" in text
    assert "mark by hand: hairline (tr)" in text


def test_people_are_told_in_an_audit_only_with_everything():
    asked, full = (
        " ".join(audit_text(sample(**drifted()), view, width=400).split())
        for view in (View(canons=True), View(everything=True))
    )
    assert "30.6 % of 108 African-American women [4]" in full
    assert "[4] Porter & Olson 2001" in full
    assert "1.14 SD 0.13" in full
    assert "African-American" not in asked
    assert "limner canon --list" in asked


def test_an_open_mouth_is_said():
    assert result().warnings == ()
    points = norms.norms_px()
    points[14] += (0.0, 20.0)
    assert [notice.code for notice in notices_on(norms.face_points(points))] == ["mouth_open"]


def test_json_follows_its_schema_and_keeps_its_order():
    validator = jsonschema.Draft202012Validator(canonjson.schema())
    jsonschema.Draft202012Validator.check_schema(canonjson.schema())
    data = json.loads(canonjson.to_json(result()))
    validator.validate(data)
    assert data["schema"] == "limner.canon/1"
    assert list(data) == list(canonjson.schema()["properties"])
    defs = canonjson.schema()["$defs"]
    assert list(data["canons"][0]) == list(defs["canon"]["properties"])
    assert list(data["canons"][0]["ratios"][0]) == list(defs["ratio"]["properties"])
    assert result().to_dict() == data
    validator.validate(canonjson.to_dict(result(pose=None)))
    data["canons"][0]["ratios"][0]["extra"] = 1
    assert not validator.is_valid(data)


def test_json_says_no_nan():
    odd = replace(result().findings[0], value=Quantity(value=float("nan"), sigma=float("inf")))
    data = json.loads(canonjson.to_json(result(findings=(odd, *result().findings[1:]))))
    assert data["canons"][0]["ratios"][0]["value"] == {"value": None, "sigma": None}


def test_the_audits_json_carries_drift_and_habits_by_its_schema():
    data = json.loads(jsonout.to_json(sample(**drifted())))
    jsonschema.Draft202012Validator(jsonout.schema()).validate(data)
    row = next(row for row in data["canons"] if row["id"] == "orbitonasal")
    assert row["drift"][0]["share"]["value"] == pytest.approx(0.5, abs=1e-6)
    assert {vector["target"] for vector in data["drift"]} == {"canon", "average"}
    assert len(data["habits"]) == 8
    for name, one in (
        ("canon", row),
        ("drift", row["drift"][0]),
        ("vector", data["drift"][0]),
        ("habit", data["habits"][0]),
    ):
        assert list(one) == list(jsonout.schema()["$defs"][name]["properties"])


def test_csv_has_a_row_for_every_ratio():
    rows = list(csv.DictReader(io.StringIO(canonjson.to_csv(result()))))
    assert [row["ratio"] for row in rows] == list(RATIOS)
    orbital = next(row for row in rows if row["ratio"] == "orbital")
    assert float(orbital["value"]) == pytest.approx(
        1.14 * 0.93 / 1.04, abs=0.003
    )  # less what the finder reads too wide
    assert float(orbital["interval_low"]) < float(orbital["value"]) < float(orbital["interval_high"])
    assert orbital["meets"] == "True"
    assert next(row for row in rows if row["ratio"] == "eyes_at_half")["needed"].startswith("mark by hand")


@given(st.floats(-3, 3), st.floats(0.005, 2))
def test_words_of_a_share_follow_its_interval(value, sigma):
    said = canonwords.way(Quantity(value=value, sigma=sigma), "the canon's")
    doubt = 1.96 * sigma
    if abs(value) <= doubt:
        assert said.startswith("has stayed" if abs(value) + doubt < canonwords.STAYS else "may have left")
    elif value < 0:
        assert "away" in said
    else:
        assert said.startswith("has moved past" if value - doubt > 1 else "has moved ")
        assert "away" not in said
    assert "-0 %" not in said


def test_words_of_a_share_grow_with_it():
    order = ["a tenth", "a quarter", "a third", "half", "two thirds", "three quarters", "all"]
    said = [canonwords.way(Quantity(value=v, sigma=0.01), "x") for v in (0.1, 0.25, 0.34, 0.5, 0.66, 0.75, 1.0)]
    assert all(f"has moved {part} of the way" in text for part, text in zip(order, said, strict=True))


@given(st.floats(0.05, 10), st.floats(0.0005, 1))
def test_no_digit_of_a_ratio_is_finer_than_its_doubt(value, sigma):
    shown, doubt = canonwords.plain(value, sigma)
    assert float(doubt) >= 1.96 * sigma * (1 - 1e-5) or float(doubt) == pytest.approx(1.96 * sigma, abs=1e-3)
    assert len(shown.partition(".")[2]) == len(doubt.partition(".")[2])


def test_verdicts_say_which_way():
    ratio = RATIOS["naso_oral"][1]
    sure = [canonwords.verdict(ratio, Quantity(value=v, sigma=0.01)) for v in (1.35, 1.5, 1.65)]
    assert sure == ["10 % narrower", "within the doubt", "10 % wider"]
    assert canonwords.verdict(ratio, Quantity(value=None, sigma=None)) == ""
    assert canonwords.verdict(RATIOS["naso_aural_slope"][1], Quantity(value=-12.0, sigma=1.0)).startswith("12 degrees")


def run(*args: str) -> tuple[int, str]:
    done = CliRunner().invoke(main.app, ["canon", *args])
    return done.exit_code, done.stdout


def test_the_list_needs_no_picture():
    code, text = run("--list")
    assert code == 0
    assert "two_section" in text


@pytest.mark.parametrize(
    ("make", "args", "code"),
    [
        (None, (), 3),
        (b"no picture", (), 3),
        (b"no picture", ("--points-only",), 2),
        (b"no picture", ("--points", "missing.json"), 2),
    ],
)
def test_what_is_wrong_has_its_exit_code(tmp_path, monkeypatch, make, args, code, capsys):
    monkeypatch.chdir(tmp_path)
    if make is not None:
        (tmp_path / "p.jpg").write_bytes(make)
    with pytest.raises(SystemExit) as end:
        main.run(["canon", "p.jpg", *args])
    assert end.value.code == code
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("limner: ")


def test_the_command_on_the_portrait(portrait, tmp_path, model_path, monkeypatch, capsys):
    """By the finder, and by hand marks that make hairline, top of the head and ears measurable."""
    monkeypatch.setenv("LIMNER_MODEL", str(model_path))
    monkeypatch.chdir(tmp_path)
    from PIL import Image

    Image.fromarray(portrait).save("p.png")

    def told(*args: str) -> dict:
        with pytest.raises(SystemExit) as end:
            main.run(["canon", "p.png", "--format", "json", "-q", *args])
        assert end.value.code == 0
        data = json.loads(capsys.readouterr().out)
        jsonschema.Draft202012Validator(canonjson.schema()).validate(data)
        return {ratio["id"]: ratio for canon in data["canons"] for ratio in canon["ratios"]}

    found = told()
    assert found["orbital"]["value"]["value"] == pytest.approx(1.2, abs=0.2)
    assert found["thirds_upper"]["reason"].startswith("mark by hand")
    with pytest.raises(SystemExit):
        main.run(["points", "p.png", "--table", "-q", "--set", "tr=220,55", "--set", "v=220,20", "--save", "m.json"])
    capsys.readouterr()
    by_hand = told("--points", "m.json")
    assert by_hand["thirds_upper"]["value"]["value"] is not None
    assert by_hand["eyes_at_half"]["value"]["value"] == pytest.approx(0.5, abs=0.15)
    assert by_hand["orbital"]["value"]["value"] == pytest.approx(found["orbital"]["value"]["value"], rel=0.02)


def test_from_python_an_array_goes_in(portrait, model_path, monkeypatch):
    monkeypatch.setenv("LIMNER_MODEL", str(model_path))
    told = limner.canon(portrait)
    assert {finding.id for finding in told.findings} == set(RATIOS)
    assert told.pose is not None
    assert told.to_dict()["schema"] == "limner.canon/1"
    with pytest.raises(limner.UsageError, match="--points-only"):
        limner.canon(portrait, points_only=True)
    with pytest.raises(limner.UsageError, match="counts from 1"):
        limner.canon(portrait, face=0)


def test_the_schools_come_in_their_order():
    schools = [canon.school for canon in CANONS]
    changes = sum(1 for one, other in pairwise(schools) if one != other)
    assert changes == 3


def test_the_page_of_canons_is_the_list():
    root = Path(__file__).parent.parent
    spec = importlib.util.spec_from_file_location("docs_build", root / "docs" / "build.py")
    assert spec is not None
    assert spec.loader is not None
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    written = (root / "docs" / "canons.md").read_text(encoding="utf-8")
    assert written == build.canons_page(), "renew it: python docs/build.py"
