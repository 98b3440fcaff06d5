"""A series as plain text: a line for each photo, what got better and worse, what is left, what must not wait."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

from rich.table import Table
from rich.text import Text

from limner.report.clean import clean
from limner.report.page import STACKED_BELOW, Page, bare_table, console_for, finished
from limner.series.compare import (
    Change,
    Compared,
    Verdict,
    drawing_error,
    drawing_verdict,
    gone_back,
    left_by_family,
    since,
    since_best,
    values_error,
    values_verdict,
)
from limner.series.dries import before_it_dries
from limner.series.record import Record, Series, Skipped
from limner.series.say import Ruler, meant, mended, ruler_of, told_once, was_and_is, with_interval, worst

LINES = 6
"""At most so many changes are told of each kind."""
_HEAD_UNITS = {"mm": "mm", "% of eye distance": "% of eyes"}
_MARKS = {"true": "yes", "not true": "NO", "cannot tell": "?"}


def to_text(series: Series, *, width: int = 80, colour: bool = False) -> str:
    """The report at the given width in columns; colours only repeat what the words say."""
    out = io.StringIO()
    page = Page(console_for(out, width, colour=colour))
    ruler = ruler_of(series)
    parts: tuple[Callable[[Page, Series, Ruler], None], ...] = (
        _heading, _photos, _worst, _skipped, _last, _best, _left, _apart, _dries, _remarks, _numbers,
    )  # fmt: skip
    for part in parts:
        part(page, series, ruler)
    return finished(out)


def _heading(page: Page, series: Series, _ruler: Ruler) -> None:
    many = "1 photo" if len(series.photos) == 1 else f"{len(series.photos)} photos"
    page.line(f"{many} of the canvas against {series.reference} (reference)", style="bold")
    page.line(f"The reference: {series.reference_by}.")
    page.line(f"In order, {series.order}. Sides are the sitter's own: sitter's left = picture right.")


def _photos(page: Page, series: Series, ruler: Ruler) -> None:
    if not series.records:
        return
    page.heading("Photo by photo")
    rows = [_row(series, photo, ruler) for photo in series.photos]
    heads = (
        "",
        "photo",
        "taken",
        "stage",
        "off",
        f"drawing,\n{_HEAD_UNITS[ruler.unit]}",
        "values,\nsteps",
        "values\noff",
    )
    if page.width < STACKED_BELOW:
        for row in rows:
            page.line(f"{row[0]}. {row[1]}")
            page.line(", ".join(f"{h} {c}".replace("\n", " ") for h, c in zip(heads[2:], row[2:], strict=True)), 3)
    else:
        page.console.print(_table(heads, rows), width=page.width)
    if any(record.stage_guessed for record in series.records):
        page.line("Stages are guessed; --stage sets one for all.")


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    table = bare_table()
    table.padding = (0, 1, 0, 0)
    for k, head in enumerate(heads):
        right = k in (0, 4, 7)
        table.add_column(head, justify="right" if right else "left", no_wrap=k != 1, ratio=1 if k == 1 else None)
    for row in rows:
        table.add_row(*(Text(clean(cell)) for cell in row))
    return table


def _row(series: Series, photo: Record | Skipped, ruler: Ruler) -> tuple[str, ...]:
    number = str(series.number(photo))
    if isinstance(photo, Skipped):
        return (number, photo.name, "-", "skipped", "-", "-", "-", "-")
    return (
        number,
        photo.name,
        (photo.taken or "-")[:10],
        photo.stage,
        str(len(photo.off)),
        with_interval(ruler.drawing(photo, drawing_error(photo))),
        with_interval(values_error(photo)),
        "-" if photo.values_off is None else str(len(photo.values_off)),
    )


def _worst(page: Page, series: Series, ruler: Ruler) -> None:
    if not series.records:
        return
    page.heading("The three worst")
    for photo in series.records:
        told = worst(photo, ruler)
        page.item(f"{series.number(photo)}.", "; ".join(told) + "." if told else "Nothing is off.")
        note = series.notes.get(photo.name)
        if note:
            page.line(f"Your note: {note}", indent=5)


def _skipped(page: Page, series: Series, _ruler: Ruler) -> None:
    if series.skipped:
        page.heading("Not audited")
    for photo in series.skipped:
        page.item(f"{series.number(photo)}.", f"{photo.name}: {photo.reason}")


def _last(page: Page, series: Series, ruler: Ruler) -> None:
    if len(series.records) < 2:
        return
    was, now = series.records[-2:]
    page.heading(f"Since last time: photo {series.number(was)} to photo {series.number(now)}")
    _verdicts(page, was, now)
    compared = since(was, now, series.number(was))
    _changes(page, "Better", compared.better, series, ruler)
    _changes(page, "Worse", compared.worse, series, ruler)
    _changes(page, "Now visible, not worse (unsure before)", compared.visible, series, ruler)
    _unseen(page, compared)


def _verdicts(page: Page, was: Record, now: Record) -> None:
    verdicts = (("Drawing", drawing_verdict(was, now)), ("Values", values_verdict(was, now)))
    told = [f"{name}: {_plain(verdict)}" for name, verdict in verdicts if verdict is not None]
    if told:
        page.line("; ".join(told) + ".", indent=2)


def _plain(verdict: Verdict) -> str:
    return {"nearer": "nearer", "further": "further off"}.get(verdict, verdict)


def _changes(page: Page, head: str, changes: Sequence[Change], series: Series, ruler: Ruler) -> None:
    told = told_once(changes)
    if not told:
        return
    page.line(f"{head}:", indent=2)
    now = series.records[-1]
    for change in told[:LINES]:
        was = series.photos[change.since - 1]
        if isinstance(was, Record):
            page.item("-", was_and_is(change, was, now, ruler) + ".")
    if len(told) > LINES:
        page.line(f"... and {len(told) - LINES} more: --format csv lists everything.", indent=4)


def _unseen(page: Page, compared: Compared) -> None:
    if not compared.read_in_both:
        page.line("No measure was read well enough in both.", indent=2)
    elif compared.unseen:
        page.line(f"No change that can be seen in {compared.unseen} of {compared.read_in_both} measures.", indent=2)


def _best(page: Page, series: Series, ruler: Ruler) -> None:
    if len(series.records) < 3:
        return
    *earlier, now = series.records
    back = gone_back(since_best([(series.number(record), record) for record in earlier], now))
    page.heading("Gone back: off now, and nearer once")
    if back:
        _changes(page, "Against the best it ever was", back, series, ruler)
    else:
        page.line("Nothing that is off was nearer once, beyond doubt.", indent=2)
    _mended(page, series, ruler)


def _mended(page: Page, series: Series, ruler: Ruler) -> None:
    told = mended(series, ruler)
    if told:
        page.line("Gone back on the way, and mended since:", indent=2)
    for line in told[:LINES]:
        page.item("-", f"{line}.")


def _left(page: Page, series: Series, _ruler: Ruler) -> None:
    if not series.records:
        return
    left = left_by_family(series.records[-1])
    page.heading(f"What is left in photo {series.number(series.records[-1])}, by family")
    for family, (off, slight) in left.items():
        told = [f"{count} {word}" for count, word in ((off, "off"), (slight, "slightly off")) if count]
        page.item("-", f"{family}: {', '.join(told)}")
    if not left:
        page.line("Nothing above what a viewer notices.", indent=2)
    for text in series.records[-1].values_off or ():
        page.item("-", f"values: {text}")


def _apart(page: Page, series: Series, ruler: Ruler) -> None:
    """What is held or meant so, once, as the last photo shows it."""
    told = meant(series.records[-1], ruler) if series.records else []
    if told:
        page.heading("Held or meant so, and not ranked")
    for text in told:
        page.item("-", text)


def _dries(page: Page, series: Series, ruler: Ruler) -> None:
    if not series.records:
        return
    page.heading("Before it dries")
    for question in before_it_dries(series.records[-1], ruler):
        mark = "" if question.id == "move" else f"{_MARKS[question.answer]}: "
        name = question.text if question.id == "move" else f"{question.text} true?"
        page.item("-", f"{name} {mark}{question.why}." if mark else f"{name}: {question.why}.")


def _remarks(page: Page, series: Series, _ruler: Ruler) -> None:
    notices = list(series.records[-1].notices) if series.records else []
    if notices or series.remarks:
        page.heading("Know before you lean on it")
    for text in (*notices, *series.remarks):
        page.item("!", text)


def _numbers(page: Page, series: Series, ruler: Ruler) -> None:
    if not series.records:
        return
    page.heading("The two numbers")
    page.line(
        "Drawing: how far, typically, the parts of the face lie from where they belong. Values: how far, typically, "
        "its regions lie from the sitter's value, in steps of a scale from 0 black to 10 white. In brackets what 95 "
        "times out of 100 holds the truth. They measure accuracy; a likeness is more, and no number of it is given.",
        indent=2,
    )
    if not ruler.mm:
        text = "Without a canvas of known size in every photo, lengths are told as shares of the eye distance"
        page.line(f"{text}, the distance between the pupils.", indent=2)
