"""Settings that make no sense, refused before any work is done."""

from __future__ import annotations

import math

from limner.errors import UsageError
from limner.settings import HOLDS, STAGES, STATES, Settings


def check(settings: Settings) -> None:
    """Raise UsageError for a setting that makes no sense, before any work is done."""
    from limner.compare.apart import check_intended
    from limner.compare.placement import parse_placement
    from limner.straighten import check_canvas
    from limner.values.ways import parse_match

    if not (math.isfinite(settings.strict) and settings.strict > 0):
        raise UsageError(f"--strict is a factor on the thresholds: expected a number above 0, got {settings.strict}.")
    if settings.points_only and settings.points_reference is None and settings.points_painting is None:
        raise UsageError("--points-only needs --points-reference or --points-painting: nothing else would be left.")
    if settings.threads < 1:
        raise UsageError(f"--threads: expected 1 or more, got {settings.threads}.")
    for which in ("reference", "painting"):
        number = getattr(settings, f"face_{which}")
        if number is not None and number < 1:
            raise UsageError(f"--face-{which} counts from 1, from picture left; got {number}.")
    chosen = (
        (settings.hold, HOLDS),
        (settings.witness, ("best", "mesh")),
        (settings.state, (None, *STATES)),
    )
    for value, known in chosen:
        if value not in known:
            raise UsageError(f"Expected one of {', '.join(filter(None, known))}; got {value!r}.")
    if settings.stage is not None and settings.stage not in STAGES:
        raise UsageError(f"--stage: expected one of {', '.join(STAGES)}; got {settings.stage!r}.")
    check_canvas(settings)
    if settings.placement is not None:
        parse_placement(settings.placement)
    check_intended(settings, _of_values(settings))
    parse_match(settings.match)


def _of_values(settings: Settings) -> tuple[str, ...]:
    """Names of what may be meant so in value and colour; loaded only where something is meant so."""
    if not settings.intended:
        return ()
    from limner.values.apart import value_names

    return value_names()
