"""Like with like: what a series calls better, worse, now visible, or no change, and its two numbers."""

from __future__ import annotations

import csv
import io
import math
import sys
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limner.errors import UsageError
from limner.result import CanvasReport, Correction, Quantity
from limner.series.cache import Cache, common_key, key_of
from limner.series.compare import (
    drawing_error,
    drawing_verdict,
    gone_back,
    left_by_family,
    on_the_way,
    since,
    since_best,
    values_error,
    values_verdict,
)
from limner.series.csvout import to_csv
from limner.series.dries import before_it_dries
from limner.series.kept import from_plain
from limner.series.order import numbers_in, photos_in, put_in_order
from limner.series.plot import pages, sign_of
from limner.series.record import Amount, Reading, Record, Series, Shift, Skipped, Tone, to_plain
from limner.series.say import DECLARED, Ruler, painted, ruler_of
from limner.series.take import record_of
from limner.series.text import to_text
from limner.settings import Settings
from limner.sheet.marks import Words
from sample import sample


def reading(id_: str = "mouth_width", deviation: float | None = 5.0, sigma: float = 1.0, call: str = "off") -> Reading:
    return Reading(
        id=id_,
        name=id_.replace("_", " "),
        family="width",
        feature="lips",
        unit="percent",
        deviation=deviation,
        sigma=None if deviation is None else sigma,
        threshold=5.0,
        call=call,
        reason=None,
        witness="pixels",
        reference=0.8,
    )


def record(*readings: Reading, name: str = "a.jpg", **changes: object) -> Record:
    made = Record(
        name=name,
        digest=None,
        taken=None,
        stage="colour",
        stage_guessed=True,
        pupil_mm=None,
        readings=readings,
        shifts=(),
        tones=(),
        values_off=None,
        masses=None,
        mend_first=(),
        largest=None,
    )
    return replace(made, **changes)


def test_a_change_past_its_doubt_is_better_or_worse_and_a_smaller_one_is_no_change_that_can_be_seen():
    was = record(reading("mouth_width", 12.0), reading("nose_width", 2.0, call="true"), reading("face_width", 6.0))
    now = record(reading("mouth_width", -3.0, call="slight"), reading("nose_width", 9.0), reading("face_width", 7.5))
    compared = since(was, now, 1)
    assert [c.now.id for c in compared.better] == ["mouth_width"]
    assert [c.now.id for c in compared.worse] == ["nose_width"]
    assert (compared.unseen, compared.read_in_both) == (1, 3)


@given(a=st.floats(-50, 50), b=st.floats(-50, 50), s=st.floats(0.1, 20))
def test_no_change_within_its_doubt_is_ever_told(a, b, s):
    compared = since(record(reading(deviation=a, sigma=s)), record(reading(deviation=b, sigma=s)), 1)
    told = bool(compared.better or compared.worse)
    assert told == (abs(abs(b) - abs(a)) > 1.959964 * math.hypot(s, s))
    assert not (told and compared.unseen)


@pytest.mark.parametrize(
    ("stage", "later", "worse"),
    [("block-in", "colour", False), ("block-in", "block-in", True), ("colour", "colour", True)],
)
def test_what_a_block_in_shows_small_has_not_gone_back_when_it_is_seen_whole(stage, later, worse):
    was, now = record(reading(deviation=8.0), stage=stage), record(reading(deviation=11.0), stage=later)
    assert bool(since(was, now, 1).worse) == bool(since_best([(1, was)], now).worse) == worse
    much = record(reading(deviation=14.0), stage=later)
    assert since(was, much, 1).worse
    assert since_best([(1, was)], much).worse


def test_the_best_is_not_what_a_block_in_only_shows_small():
    flat, full = record(reading(deviation=8.0), stage="block-in"), record(reading(deviation=9.0))
    (change,) = since_best([(1, flat), (2, full)], record(reading(deviation=14.0))).worse
    assert change.since == 2


def test_unsure_that_becomes_off_is_now_visible_and_not_worse():
    compared = since(record(reading(deviation=1.0, sigma=9.0, call="unsure")), record(reading(deviation=30.0)), 1)
    assert [c.now.id for c in compared.visible] == ["mouth_width"]
    assert not compared.worse
    assert compared.read_in_both == 0


def test_a_regression_that_was_mended_is_told_of_the_photo_in_which_it_was_worst():
    deviations = ((9.0, "off"), (0.5, "true"), (6.0, "off"), (12.0, "off"), (0.4, "true"))
    rows = [(k, record(reading(deviation=d, call=call))) for k, (d, call) in enumerate(deviations, start=1)]
    (step,) = on_the_way(rows)
    assert (step[0], step[1].since, step[1].now.deviation) == (4, 2, 12.0)
    assert not on_the_way(rows[:4])  # it is off still, which is another thing to say
    assert not on_the_way(rows[:1])


def test_what_was_not_read_in_both_is_not_compared():
    was = record(reading("mouth_width", None, call="not painted yet"), reading("nose_width", 9.0))
    now = record(reading("mouth_width", 30.0), reading("nose_width", 9.0, call="unsure"))
    compared = since(was, now, 1)
    assert (compared.better, compared.worse, compared.visible, compared.unseen) == ((), (), (), 0)


def test_a_regression_is_told_against_the_photo_in_which_it_was_nearest():
    rows = [(1, record(reading(deviation=9.0))), (2, record(reading(deviation=0.5, call="true")))]
    rows.append((3, record(reading(deviation=6.0))))
    back = gone_back(since_best(rows, record(reading(deviation=11.0))))
    assert [(c.since, c.was.call) for c in back] == [(2, "true")]
    assert not gone_back(since_best(rows, record(reading(deviation=0.4, call="true"))))
    slight = since_best(rows, record(reading(deviation=4.5, call="slight")))
    assert slight.worse
    assert not gone_back(slight)


def test_the_best_of_many_needs_a_larger_change_because_the_best_looks_better_by_chance():
    rng = np.random.default_rng(3)

    def any_told(many: int) -> bool:
        drawn = np.abs(rng.normal(6.0, 1.0, many + 1))
        rows = [(k, record(reading(deviation=float(d)))) for k, d in enumerate(drawn[:-1], start=1)]
        return bool(since_best(rows, record(reading(deviation=float(drawn[-1])))).worse)

    share = np.mean([any_told(12) for _ in range(2000)])
    assert share < 0.05


def shifted(*squares: float, sigma: float = 1e-5, chance: float = 0.0) -> tuple[Shift, ...]:
    return tuple(
        Shift(feature=f"part_{k}", square=s, chance=chance, sigma=sigma) for k, s in enumerate(squares, start=1)
    )


def test_the_typical_error_is_the_root_mean_square_over_the_parts():
    found = drawing_error(record(shifts=shifted(0.0009, 0.0025)))
    assert found is not None
    assert found.value == pytest.approx(math.sqrt(0.0017))
    assert found.low < found.value < found.high
    assert drawing_error(record()) is None
    flat = drawing_error(record(shifts=shifted(0.0009, 0.0025), stage="block-in"))
    assert (flat.value, flat.low) == (found.value, found.low)
    assert flat.high == pytest.approx(found.high / 0.75)  # ways read small on flat values


def test_drawings_are_compared_over_the_parts_read_in_both():
    was = record(shifts=shifted(0.0009))
    now = record(shifts=shifted(0.0004, 0.5))
    assert drawing_verdict(was, now) == "nearer"
    assert drawing_verdict(now, was) == "further"
    assert drawing_verdict(was, record(shifts=shifted(0.00090001))) == "no change that can be seen"
    assert drawing_verdict(was, record()) is None


def toned(*differences: float, sigma: float = 0.05) -> tuple[Tone, ...]:
    return tuple(Tone(region=f"r{k}", name=f"region {k}", difference=d, sigma=sigma) for k, d in enumerate(differences))


def test_values_have_a_typical_error_in_steps_and_a_region_read_badly_counts_less():
    found = values_error(record(tones=toned(0.5, -0.5)))
    assert found is not None
    assert found.value == pytest.approx(0.5)
    mixed = (*toned(0.1), Tone(region="neck", name="neck", difference=2.0, sigma=1.0))
    low = values_error(record(tones=mixed))
    assert low is not None
    assert low.value < 0.5
    assert values_verdict(record(tones=toned(0.9, 0.9)), record(tones=toned(0.1, 0.1))) == "nearer"


def test_noise_alone_is_within_the_interval_of_no_error_at_all():
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        tones = toned(*rng.normal(0.0, 0.2, 30), sigma=0.2)
        found = values_error(record(tones=tones))
        assert found is not None
        held += found.low == 0.0
    assert held / 300 > 0.95


def test_the_adapter_reads_displacements_from_an_audit():
    result = sample(painting_points=sample().should_be + (3.0, 4.0))
    plain = record_of(result, "2024-03-04T10:00:00")
    unit = result.reference.pupil_distance * result.scale.scale
    lips = next(s for s in plain.shifts if s.feature == "lips")
    assert lips.square == pytest.approx((5.0 / unit) ** 2, rel=1e-4)
    assert plain.pupil_mm is None
    assert plain.taken == "2024-03-04T10:00:00"
    assert from_plain(to_plain(plain)) == plain


def test_millimetres_come_from_the_canvas_of_every_photo():
    canvas = CanvasReport(
        found_by="photo",
        sure=True,
        reason="its four edges",
        corners=(),
        size_mm=(400.0, 500.0),
        mm_per_px=Quantity(value=0.5, sigma=0.005),
        off_axis=None,
    )
    with_size = record_of(sample(canvas=canvas), None)
    assert with_size.pupil_mm is not None
    assert with_size.pupil_mm.value == pytest.approx(51.0)
    series = Series(reference="r.jpg", order="as they were given", photos=(with_size,))
    mouth = next(r for r in with_size.readings if r.id == "mouth_y")
    assert painted(mouth, with_size, ruler_of(series)) == "3.2 mm too low"
    mixed = replace(series, photos=(with_size, record_of(sample(), None)))
    assert not ruler_of(mixed).mm
    assert painted(mouth, with_size, ruler_of(mixed)) == "6.2 % of eye distance too low"


def test_the_largest_move_is_the_plans_where_there_is_one_and_more_than_doubt():
    none = Quantity(value=None, sigma=None)

    def step(number: int, dx: float, dy: float, sigma: float) -> Correction:
        return Correction(
            step=number,
            level="feature",
            unit="lips",
            name=f"thing {number}",
            centre=(0.0, 0.0),
            dx=Quantity(value=dx, sigma=sigma),
            dy=Quantity(value=dy, sigma=sigma),
            dx_mm=none,
            dy_mm=none,
            along=none,
            across=none,
            turn=none,
            remains=none,
            text="",
            mends=(),
            left_off=0,
        )

    made = record_of(
        sample(corrections=(step(1, 0.0, -0.04, 0.005), step(2, 0.5, 0.0, 0.4), step(3, 0.0, 0.0, 0.0))), None
    )
    assert made.largest is not None
    assert (made.largest.text, made.largest.size.value) == ("thing 1, up", 0.04)
    move = before_it_dries(made, ruler_of(series_of(made)))[-1]
    assert "4.0 % of eye distance (give or take 1.0)" in move.why


def series_of(*photos: Record | Skipped) -> Series:
    return Series(reference="sitter.jpg", order="as they were given", photos=photos)


@pytest.mark.parametrize("width", [30, 60, 80, 120])
def test_text_keeps_to_its_width(width):
    made = record_of(sample(), "2024-03-04T10:00:00")
    text = to_text(
        series_of(made, Skipped(name="b.jpg", reason="no face was found in it."), replace(made, name="c.jpg")),
        width=width,
    )
    assert max(map(len, text.splitlines())) <= width
    assert "likeness" in text
    assert "no face was found" in " ".join(text.split())


def test_a_formula_in_a_photos_name_is_no_formula_in_a_spreadsheet():
    rows = list(csv.DictReader(io.StringIO(to_csv(series_of(record_of(sample(), None).named("=cmd.jpg"))))))
    assert {row["picture"] for row in rows} == {"'=cmd.jpg"}
    assert sum(row["id"] == "drawing_error" for row in rows) == 1
    assert len({row["id"] for row in rows}) == len(rows)


def test_what_is_left_is_counted_by_family_and_asked_before_it_dries():
    made = record_of(sample(), None)
    assert left_by_family(made)["width"] == (2, 1)
    asked = {q.id: q for q in before_it_dries(made, ruler_of(series_of(made)))}
    assert asked["proportions"].answer == "not true"
    assert "face width" in asked["proportions"].why
    assert asked["axes"].answer == "true"
    assert asked["masses"].answer == "cannot tell"
    assert list(asked) == ["proportions", "axes", "masses", "move"]


def empty(folder: Path, *names: str) -> list[Path]:
    for name in names:
        (folder / name).write_bytes(b"\xff\xd8\xff")
    return [folder / name for name in names]


def test_photos_without_times_go_by_the_numbers_in_their_names(tmp_path):
    ordered = put_in_order(empty(tmp_path, "day-10.jpg", "day-2.jpg", "day-1.jpg"), "auto")
    assert [p.name for p in ordered.photos] == ["day-1.jpg", "day-2.jpg", "day-10.jpg"]
    assert ordered.rule == "name"
    alike = put_in_order(empty(tmp_path, "late.jpg", "early.jpg"), "auto")
    assert (alike.rule, [p.name for p in alike.photos]) == ("given", ["late.jpg", "early.jpg"])
    assert numbers_in("20240304_2.jpg") == (20240304, 2)
    with pytest.raises(UsageError, match="--order time"):
        put_in_order(empty(tmp_path, "day-1.jpg"), "time")


def test_a_folder_stands_for_its_pictures_and_none_is_taken_twice(tmp_path):
    photos = empty(tmp_path, "reference.jpg", "a.jpg", "b.PNG", ".hidden.jpg")
    (tmp_path / "notes.txt").write_text("x")
    found = photos_in([tmp_path, photos[1]], leave_out=[photos[0]])
    assert [p.name for p in found] == ["a.jpg", "b.PNG"]
    (tmp_path / "none").mkdir()
    with pytest.raises(UsageError, match="none was given or found"):
        photos_in([tmp_path / "none"], leave_out=[])


def test_what_is_kept_comes_back_and_what_is_not_whole_does_not(tmp_path):
    cache, key = Cache(tmp_path / "kept"), key_of("c", "d")
    assert cache.get(key) is None
    cache.put(key, {"record": {"a": 1.5}})
    assert cache.get(key) == {"record": {"a": 1.5}, "key": key}
    (path,) = (tmp_path / "kept").rglob("*.json")
    whole = path.read_bytes()
    for cut in range(0, len(whole), 7):
        path.write_bytes(whole[:cut])
        assert cache.get(key) is None
    for k in range(0, len(whole), 5):
        path.write_bytes(whole[:k] + bytes([whole[k] ^ 1]) + whole[k + 1 :])
        assert cache.get(key) is None
    cache.put(key, {"record": {}})
    assert cache.get(key) == {"record": {}, "key": key}


def test_the_key_hangs_on_all_that_changes_a_result_and_on_nothing_else():
    base = ("r", Settings(), "m", {})
    assert common_key(*base) == common_key("r", Settings(threads=1, model=Path("elsewhere")), "m", {})
    others = [
        ("r2", Settings(), "m", {}),
        ("r", Settings(strict=0.5), "m", {}),
        ("r", Settings(), "m2", {}),
        ("r", Settings(), "m", {"reference": "p"}),
    ]
    assert len({common_key(*base), *(common_key(*other) for other in others)}) == 5


def test_a_cache_that_cannot_be_written_is_a_note(tmp_path):
    (tmp_path / "file").write_text("in the way")
    cache = Cache(tmp_path / "file" / "series")
    cache.put(key_of("a", "b"), {})
    assert cache.trouble
    assert cache.get(key_of("a", "b")) is None


@pytest.mark.skipif(not Path("/dev/full").exists() or sys.platform != "linux", reason="needs a device that is full")
def test_a_full_disk_leaves_no_part_of_a_file(tmp_path, monkeypatch):
    real = Path.open

    def full(self: Path, *args: object, **more: object) -> object:
        if self.suffix != ".part":
            return real(self, *args, **more)
        real(self, "xb").close()
        return real(Path("/dev/full"), "wb", buffering=0)

    monkeypatch.setattr(Path, "open", full)
    cache = Cache(tmp_path)
    cache.put(key_of("a", "b"), {"record": {}})
    assert cache.trouble == "No space left on device"
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


def test_two_writers_at_once_leave_one_whole_result(tmp_path):
    key = key_of("a", "b")

    def write(number: int) -> None:
        for _ in range(40):
            Cache(tmp_path).put(key, {"record": {"n": number}, "long": "x" * 5000})

    writers = [threading.Thread(target=write, args=(number,)) for number in (1, 2)]
    for writer in writers:
        writer.start()
    while any(writer.is_alive() for writer in writers):
        held = Cache(tmp_path).get(key)
        assert held is None or held["record"]["n"] in (1, 2)
    held = Cache(tmp_path).get(key)
    assert held is not None
    assert len(held["long"]) == 5000
    assert [p.suffix for p in tmp_path.rglob("*") if p.is_file()] == [".json"]


def test_a_record_with_everything_survives_being_kept():
    made = record(reading(), pupil_mm=Amount(value=60.0, sigma=0.5), shifts=shifted(0.1), tones=toned(0.1),
                  values_off=("The neck is too light.",), masses=(), notices=("a.jpg: dark",))  # fmt: skip
    assert from_plain(to_plain(made)) == made
    assert made.named("b.jpg").notices == ("b.jpg: dark",)


PLAIN = {
    "too low": "v",
    "too high": "^",
    "too low against the other": "v",
    "too high against the other": "^",
    "too far toward picture right": ">",
    "too far toward picture left": "<",
    "turned clockwise": "c",
    "turned anticlockwise": "a",
    "not shared": "",
    "apart at most": "",
}
"""What is said of a measure -> its sign in the plot; else + for what is more than the sitter's, - for what is less."""
MORE = ("wide", "long", "thick", "large", "opened too far", "far outside", "far above", "much", "far apart")


@pytest.mark.parametrize("id_", DECLARED)
@pytest.mark.parametrize("deviation", [5.0, -5.0])
def test_the_plots_sign_is_the_way_the_words_say(id_, deviation):
    unit = DECLARED[id_].unit
    one = replace(reading(id_, deviation), unit=unit)
    words = painted(one, record(), Ruler(mm=False))
    way = words.split("degrees ")[-1].split("% ")[-1].removeprefix("of eye distance ")
    expected = PLAIN.get(way, "+" if any(word in way for word in MORE) else "-")
    assert sign_of(one) == expected, words


def test_the_plot_says_what_its_signs_and_numbers_mean():
    low = replace(reading("mouth_y", 5.0), unit="percent of pupil distance")
    photos = (record(low), record(replace(low, deviation=-5.0), name="b.jpg"))
    series = Series(reference="r.jpg", order="as they were given", photos=photos)
    words = [mark.text for mark in pages(series).marks if isinstance(mark, Words)]
    assert words.count("v") == words.count("^") == 1
    assert "+" not in words
    assert any("^ too high   v too low" in text for text in words)
    assert "Families of measures: how far they are off on average (1: as far as a viewer notices)" in words
