"""What is meant to depart in value and colour: listed once with its reason, in every output, and counted nowhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from limner.checking import check
from limner.errors import UsageError
from limner.proving.valueslips import ToneSlip, plant_tones
from limner.report.jsonout import schema
from limner.series.jsonout import schema as series_schema
from limner.settings import Settings
from limner.values.apart import value_names
from test_cli import in_process
from value_scenes import a_sitter

WHY = "I keep her cheek in shadow"
DARK, LIP = "cheek_right", "lower_lip"


@pytest.fixture(scope="module")
def desk(tmp_path_factory, portrait, model_path) -> Path:
    """A reference; the same with a cheek and a lip much too dark; the same with the cheek alone too dark."""
    folder = tmp_path_factory.mktemp("values_apart")
    pixels, points = a_sitter(portrait, model_path)
    slips = [
        ToneSlip(kind="region", amount=-1.8, regions=(DARK,)),
        ToneSlip(kind="region", amount=-1.8, regions=(LIP,)),
    ]
    Image.fromarray(pixels).save(folder / "reference.png")
    for name, planted in (("canvas", slips), ("cheek", slips[:1])):
        Image.fromarray(np.asarray(plant_tones(pixels, points, planted).pixels)).save(folder / f"{name}.png")
    return folder


def asked(desk: Path, tmp_path: Path, command: str, *words: object, canvas: str = "canvas", **intended: str):
    toml = tmp_path / "limner.toml"
    toml.write_text("[intended]\n" + "".join(f'{name} = "{why}"\n' for name, why in intended.items()))
    return in_process(command, desk / "reference.png", desk / f"{canvas}.png", "--config", toml, *words)


def read(done) -> dict:
    found = json.loads(done.output)
    jsonschema.validate(found, schema())
    return found


def off(found: dict) -> set[str]:
    return {f["region"] for f in found["values"]["findings"] if f["call"] in ("off", "slight")}


def test_a_region_that_is_meant_so_is_listed_once_and_ranked_no_more(desk, tmp_path):
    before = read(asked(desk, tmp_path, "audit", "--format", "json"))
    assert {DARK, LIP} <= off(before)
    after = read(asked(desk, tmp_path, "audit", "--format", "json", **{DARK: WHY}))
    assert off(after) == off(before) - {DARK}
    (one,) = after["apart"]
    assert (one["kind"], one["id"], one["name"], one["reason"]) == ("intended", DARK, "sitter's right cheek", WHY)
    departs = [f for f in before["values"]["findings"] if f["region"] == DARK and f["call"] in ("off", "slight")]
    assert one["values"] == [f["text"] for f in departs]
    region = next(r for r in after["values"]["regions"] if r["id"] == DARK)
    assert (region["call"], region["reason"]) == ("intended", WHY)


def test_text_and_page_tell_it_once(desk, tmp_path):
    page = tmp_path / "page.html"
    for words in ((), ("--all",)):
        done = asked(desk, tmp_path, "audit", "--page", page, *words, **{DARK: WHY})
        text = " ".join(done.output.split())
        assert text.count(WHY) == 1, done.output
        assert len(re.findall(r"The sitter's right cheek is [\d.]+ steps too dark", text)) == 1, done.output
        ranked = text[text.index("Values and colour") :]
        assert "right cheek is" not in ranked, ranked
        assert "lower lip" in ranked
    told = page.read_text(encoding="utf-8")
    assert told.count(WHY) == 1
    assert len(re.findall(r"s right cheek is [\d.]+ steps too dark", told)) == 1


def test_a_part_takes_its_values_along(desk, tmp_path):
    found = read(asked(desk, tmp_path, "audit", "--format", "json", mouth="redder, and lower in her smile"))
    assert LIP not in off(found)
    assert DARK in off(found)
    assert any("lower lip" in text for text in found["apart"][0]["values"])


def test_a_kind_of_finding_may_be_meant_so(desk, tmp_path):
    found = read(asked(desk, tmp_path, "audit", "--format", "json", too_dark="a low key throughout"))
    kinds = {f["kind"] for f in found["values"]["findings"] if f["call"] in ("off", "slight")}
    assert "too dark" not in kinds
    assert len(found["apart"][0]["values"]) >= 2


def test_without_values_it_is_said(desk, tmp_path):
    done = asked(desk, tmp_path, "audit", "--no-values", **{DARK: WHY})
    assert f"sitter's right cheek ({WHY}): values were not compared." in " ".join(done.output.split())


def test_a_series_lists_it_once_and_counts_it_nowhere(desk, tmp_path):
    page, alone = tmp_path / "page.html", {"canvas": "cheek"}
    words = ("--no-cache", "--jobs", 1)
    before = asked(desk, tmp_path, "series", *words, "--format", "json", **alone)
    (photo,) = json.loads(before.output)["photos"]
    assert photo["values_off"]
    assert before.exit_code == 1
    meant = {**alone, DARK: WHY, "edge": "lost edges", "shadow_edge": "so"}
    after = asked(desk, tmp_path, "series", *words, "--format", "json", **meant)
    found = json.loads(after.output)
    jsonschema.validate(found, series_schema())
    (now,) = found["photos"]
    assert not any("right cheek is" in text for text in now["values_off"])
    assert now["values_meant"][0]["reason"] == WHY
    assert now["values"]["over"] == photo["values"]["over"] - 1
    assert after.exit_code == (1 if now["values_off"] or now["off"] else 0)
    told = asked(desk, tmp_path, "series", *words, "--page", page, **meant).output
    assert told.count(WHY) == 1, told
    assert page.read_text(encoding="utf-8").count(WHY) == 1


def test_every_name_of_the_values_is_known_and_a_wrong_one_gets_the_nearest():
    for name in value_names():
        check(Settings(intended=((name, "so"),)))
    with pytest.raises(UsageError, match=re.escape("Did you mean 'cheek_right'?")):
        check(Settings(intended=(("cheek_rigth", "so"),)))
