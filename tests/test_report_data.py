"""The result as JSON and CSV: valid against the schema, finite, stable, safe to open."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import jsonschema
import pytest

from limner.errors import UsageError
from limner.notices import Notice
from limner.report.csvout import COLUMNS, to_csv
from limner.report.jsonout import schema, to_dict, to_json
from limner.report.view import View
from limner.result import CanonRow, CanvasReport, Correction, Quantity
from sample import measure, sample


def check(text: str) -> dict:
    data = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in the JSON"))
    jsonschema.Draft202012Validator(schema()).validate(data)
    return data


def test_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(schema())


def test_json_validates_and_carries_the_contents():
    data = check(to_json(sample()))
    assert data["schema"] == "limner.audit/1"
    assert [m["call"] for m in data["measures"]] == [m.call for m in sample().measures]
    assert data["hold"] == "eyes"
    assert data["corrections"] == []
    first = data["measures"][0]
    assert first["deviation"] == 15.04
    assert first["interval"] == [pytest.approx(15.04 - 1.96 * 1.13), pytest.approx(15.04 + 1.96 * 1.13)]
    assert data["warnings"][1] == {
        "code": "scale_disagrees",
        "text": "The eyes and the whole head give two different sizes.",
    }


def test_schema_refuses_what_it_should():
    validator = jsonschema.Draft202012Validator(schema())

    def broken(change) -> bool:
        data = json.loads(to_json(sample()))
        change(data)
        return not validator.is_valid(data)

    assert broken(lambda d: d.update(extra=1))
    assert broken(lambda d: d.pop("pose"))
    assert broken(lambda d: d["measures"][0].update(call="wrong"))
    assert broken(lambda d: d["measures"][0].update(deviation=None))
    assert broken(lambda d: d["measures"][-1].update(reason=None))
    assert broken(lambda d: d.update(schema="limner.audit/2"))
    assert not broken(lambda d: None)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_json_never_says_nan(bad):
    odd = replace(sample().measures[-1], deviation=bad, sigma=bad, painting=Quantity(value=bad, sigma=bad))
    canon = CanonRow(
        id="x",
        name="x",
        definition="x",
        canon=1.0,
        reference=Quantity(value=bad, sigma=None),
        painting=Quantity(value=None, sigma=bad),
        source="x",
    )
    data = check(to_json(sample(measures=(odd,), canons=(canon,))))
    assert data["measures"][0]["deviation"] is None
    assert data["measures"][0]["interval"] is None
    assert data["canons"][0]["reference"]["value"] is None


def test_json_is_the_same_every_time_and_has_no_minus_zero():
    result = sample(measures=(measure("nose_width", "nose width", "width", -1e-9, 1.0, call="true"),))
    assert to_json(result) == to_json(result)
    assert '"deviation": 0.0' in to_json(result)


def test_key_order_is_fixed():
    assert list(to_dict(sample())) == list(schema()["properties"])
    assert list(to_dict(sample())["measures"][0]) == list(schema()["$defs"]["measure"]["properties"])


def test_names_from_outside_cannot_carry_control_characters():
    facts = replace(sample().painting, name="can\x1b[2Jvas\u202e\udcff.jpg")
    data = check(to_json(sample(painting=facts, warnings=(Notice(code="x", text="a\x00b"),))))
    assert data["pictures"]["painting"]["name"] == "can?[2Jvas??.jpg"
    assert data["warnings"][0]["text"] == "a?b"


def test_a_correction_and_the_canvas_come_out_as_the_schema_says():
    much, none = Quantity(value=1.5, sigma=0.2), Quantity(value=None, sigma=math.nan)
    step = Correction(
        step=1,
        level="pair",
        unit="eyes",
        name="both eyes",
        centre=(10.0, 20.0),
        **dict.fromkeys(("dx", "dy", "along", "across", "turn", "remains"), much),
        **dict.fromkeys(("dx_mm", "dy_mm"), none),
        text="Both eyes: up.",
        mends=("eye_left_y",),
        left_off=0,
    )
    canvas = CanvasReport(
        found_by="hand",
        sure=True,
        reason="Given.",
        corners=((1.0, 2.0),) * 4,
        size_mm=None,
        mm_per_px=none,
        off_axis=3.0,
    )
    data = check(to_json(sample(corrections=(step,), canvas=canvas)))
    assert data["corrections"][0]["dx"] == {"value": 1.5, "sigma": 0.2}
    assert data["corrections"][0]["dx_mm"] == {"value": None, "sigma": None}
    assert data["corrections"][0]["mends"] == ["eye_left_y"]
    assert data["canvas"]["corners"] == [[1.0, 2.0]] * 4
    assert check(to_json(sample()))["canvas"] is None


def test_the_scatter_is_given_in_px_and_in_pupil_distances():
    assert check(to_json(sample()))["spread"]["p_r"] == {
        "reference": {"px": 0.5, "pupil_distances": 0.005},
        "painting": {"px": 0.75, "pupil_distances": 0.0075},
    }


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_csv_has_one_row_a_measure_and_empty_cells_for_no_number():
    found = rows(to_csv(sample()))
    assert tuple(found[0]) == COLUMNS
    assert [row["id"] for row in found] == [m.id for m in sample().measures]
    assert found[0]["deviation"] == "15.04"
    assert found[-1]["deviation"] == ""
    assert "nan" not in to_csv(sample()).lower()


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2", "@sum", "\t=1", "  =1", "\r=1"])
def test_csv_text_is_never_a_formula(text):
    odd = replace(sample().measures[0], name=text)
    assert rows(to_csv(sample(measures=(odd,))))[0]["name"].lstrip().startswith(("'", "?"))


def test_csv_and_json_say_the_same():
    for row, item in zip(rows(to_csv(sample())), to_dict(sample())["measures"], strict=True):
        assert row["call"] == item["call"]
        assert (float(row["deviation"]) if row["deviation"] else None) == item["deviation"]


def test_view_chooses_family_number_and_order():
    ids = [m.id for m in View(only="width").select(sample())]
    assert ids == ["face_width", "eye_width_left", "brow_length_right", "nose_width"]
    assert [m.id for m in View(top=2).select(sample())] == ["face_width", "eye_width_left"]
    down = [m.id for m in View(order="top-down").select(sample())]
    assert down.index("hairline") < down.index("face_width") < down.index("eye_width_left") < down.index("nose_width")
    assert down.index("nose_width") < down.index("mouth_y") < down.index("chin_y")
    assert sorted(down) == sorted(m.id for m in sample().measures)


def test_view_says_which_families_there_are():
    with pytest.raises(UsageError, match=r"'teeth'.*axis.*width"):
        View(only="teeth").select(sample())


def test_off_counts_in_the_asked_family_also_when_not_shown():
    assert View(top=1).anything_off(sample())
    assert View(only="position").anything_off(sample())
    assert not View(only="axis").anything_off(sample())
