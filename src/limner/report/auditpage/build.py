"""Builds the page of an audit: one HTML file, strict about what it may load, that shows only pixels and words."""

from __future__ import annotations

import io
from importlib import resources

import jinja2
import numpy as np
from markupsafe import Markup

from limner import __version__
from limner.auditing import Examined
from limner.pictures.cielab import lightness
from limner.report import canonwords as say
from limner.report import words
from limner.report.auditpage import told
from limner.report.auditpage.stage import Pixels, Stage, cuts_without_values, lines, outlines, picture_of, stage_of
from limner.report.beside import HEADING, SAID, beside_the_plan
from limner.report.cautions import cautions, remarks
from limner.report.clean import clean
from limner.report.onefile import as_data, closed, data_url, policy, typed
from limner.result import AuditResult
from limner.values.tone import luminance_of_value

QUALITY = 86
PRINTED = 5
"""Steps on the printed sheet."""
CAUTIONS = 4
"""Cautions that stand open above the numbers; any more are folded, so that what to mend stays on the first screen."""
DEPARTS = ("off", "slight")
SCRIPTS = ("tones.js", "easel.js", "start.js")


def audit_page(found: Examined) -> str:
    """Return the page as HTML text; the same audit gives the same text.

    It holds both pictures cropped to the head, without their files' metadata, and names of files without their folders.
    """
    result, stage = found.result, stage_of(found)
    style, script = _resource("page.css"), closed(*(_resource(name) for name in SCRIPTS))
    steps = told.steps(result, stage.window)
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["typed"] = typed
    return environment.from_string(_resource("page.html")).render(
        policy=policy(style, script),
        style=Markup(style),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own files
        data=Markup(as_data(_given(stage, result, steps))),  # noqa: S704 - escaped there
        reference=clean(result.reference.name),
        painting=clean(result.painting.name),
        stage=result.stage,
        guessed=result.stage_guessed,
        held=words.held(result.scale),
        canvas=clean(result.canvas.reason) if result.canvas else "",
        width=stage.size[0],
        height=stage.size[1],
        mend_first=[clean(line) for line in result.mend_first],
        printed=_printed(steps, result),
        steps=steps,
        planned=bool(result.corrections),
        off=len(result.off),
        departs=[told.row(m) for m in result.measures if m.call in DEPARTS],
        others=[told.row(m) for m in result.measures if m.call not in (*DEPARTS, "held", "intended")],
        apart=told.apart(result),
        values=result.values,
        canons=told.canons(result),
        drift=told.drift(result),
        habits=told.habits(result),
        caution=say.CAUTION,
        beside=[clean(line) for line in beside_the_plan(result)],
        beside_heading=HEADING,
        beside_said=SAID,
        cautions=[clean(notice.text) for notice in cautions(result.warnings)],
        shown_cautions=CAUTIONS,
        printed_cautions=CAUTIONS // 2,
        remarks=[clean(notice.text) for notice in remarks(result.warnings)],
        version=__version__,
    )


def _printed(steps: list[dict[str, object]], result: AuditResult) -> list[str]:
    """The few lines that hang beside the easel."""
    if result.corrections:
        return [str(step["text"]) for step in steps[:PRINTED]]
    return [clean(line) for line in result.mend_first[:PRINTED]]


def _given(stage: Stage, result: AuditResult, steps: list[dict[str, object]]) -> dict[str, object]:
    """What the script works with."""
    report = result.values
    cuts = cuts_without_values(stage)
    if report is not None:
        for plan in report.plans:
            cut = lightness(luminance_of_value(np.array(plan.thresholds, dtype=np.float64)))
            cuts[plan.count] = [round(float(level), 2) for level in cut]
    return {
        "width": stage.size[0],
        "height": stage.size[1],
        "sitter": _jpeg(stage.reference),
        "painted": _jpeg(stage.painting),
        "gain": [round(float(g), 4) for g in report.match.gain] if report else [1.0, 1.0, 1.0],
        "cuts": {str(count): levels for count, levels in cuts.items()},
        "should": outlines(result, stage.window, painted=False),
        "is": outlines(result, stage.window, painted=True),
        "lines": lines(result, stage.window),
        "steps": [{"number": s["number"], "at": s["at"]} for s in steps],
    }


def _jpeg(pixels: Pixels) -> str:
    held = io.BytesIO()
    picture_of(pixels).save(held, "JPEG", quality=QUALITY)
    return data_url(held.getvalue(), "image/jpeg")


def _resource(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
