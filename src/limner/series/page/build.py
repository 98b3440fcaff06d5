"""Builds the page of a series from what the terminal says of it, the faces and the plot."""

from __future__ import annotations

from importlib import resources

import jinja2
from markupsafe import Markup

from limner import __version__
from limner.report.clean import clean
from limner.report.onefile import as_data, closed, data_url, policy
from limner.series.compare import drawing_error, drawing_verdict, gone_back, since, since_best, values_error
from limner.series.dries import before_it_dries
from limner.series.plot import pages
from limner.series.record import Record, Series, Skipped
from limner.series.run import Run
from limner.series.say import Ruler, meant, mended, ruler_of, told_once, was_and_is, with_interval, worst
from limner.sheet.svg import to_svg

LINES = 4
"""Changes told of one photo."""


def series_page(run: Run) -> str:
    """Return the page as HTML text; the same series gives the same text.

    It holds the faces without their files' metadata, and names of files without their folders.
    """
    series, ruler = run.series, ruler_of(run.series)
    style, script = _resource("page.css"), closed(_resource("page.js"))
    faces = [None if face is None else data_url(face, "image/jpeg") for face in run.faces]
    photos = [_photo(series, k, ruler) for k in range(len(series.photos))]
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_resource("page.html")).render(
        policy=policy(style, script),
        style=Markup(style),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own file
        data=Markup(as_data({"faces": faces})),  # noqa: S704 - escaped there
        reference=clean(series.reference),
        reference_by=clean(series.reference_by),
        order=clean(series.order),
        unit=ruler.unit,
        photos=photos,
        shown=[k for k, face in enumerate(faces) if face is not None],
        plot=data_url(to_svg(pages(series), title="limner series"), "image/svg+xml") if series.records else "",
        back=_back(series, ruler),
        mended=[clean(text) for text in mended(series, ruler)],
        apart=[clean(text) for text in meant(series.records[-1], ruler)] if series.records else [],
        dries=_dries(series, ruler),
        remarks=[clean(text) for text in series.remarks],
        version=__version__,
    )


def _photo(series: Series, k: int, ruler: Ruler) -> dict[str, object]:
    """One photo as the page tells it: both numbers, the worst, and what has changed since the one before."""
    photo = series.photos[k]
    told: dict[str, object] = {
        "number": k + 1,
        "name": clean(photo.name),
        "note": clean(series.notes.get(photo.name, "")),
    }
    if isinstance(photo, Skipped):
        return told | {"skipped": clean(photo.reason)}
    before = next((p for p in reversed(series.photos[:k]) if isinstance(p, Record)), None)
    return told | {
        "skipped": "",
        "taken": (photo.taken or "")[:10],
        "stage": photo.stage,
        "guessed": photo.stage_guessed,
        "off": len(photo.off),
        "drawing": with_interval(ruler.drawing(photo, drawing_error(photo))),
        "tones": with_interval(values_error(photo)),
        "worst": [clean(text) for text in worst(photo, ruler)],
        "values_off": [clean(text) for text in photo.values_off or ()],
        "since": None if before is None else _since(series, before, photo, ruler),
    }


def _since(series: Series, was: Record, now: Record, ruler: Ruler) -> dict[str, object]:
    compared = since(was, now, series.number(was))
    return {
        "number": series.number(was),
        "verdict": {"nearer": ": the drawing is nearer", "further": ": the drawing is further off"}.get(
            drawing_verdict(was, now) or "", ""
        ),
        "better": [clean(was_and_is(change, was, now, ruler)) for change in told_once(compared.better)[:LINES]],
        "worse": [clean(was_and_is(change, was, now, ruler)) for change in told_once(compared.worse)[:LINES]],
        "visible": [clean(was_and_is(change, was, now, ruler)) for change in told_once(compared.visible)[:LINES]],
    }


def _back(series: Series, ruler: Ruler) -> list[str]:
    """What is off now and was nearer once."""
    if len(series.records) < 3:
        return []
    *earlier, now = series.records
    changes = told_once(gone_back(since_best([(series.number(record), record) for record in earlier], now)))
    told = []
    for change in changes:
        was = series.photos[change.since - 1]
        if isinstance(was, Record):
            told.append(clean(was_and_is(change, was, now, ruler)))
    return told


def _dries(series: Series, ruler: Ruler) -> list[str]:
    if not series.records:
        return []
    told = []
    for question in before_it_dries(series.records[-1], ruler):
        answer = "" if question.id == "move" else f" {question.answer}:"
        told.append(clean(f"{question.text}:{answer} {question.why}."))
    return told


def _resource(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
