"""Which measures of a result are shown, and in what order: one choice that every format obeys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limner.compare.ranking import top_down
from limner.errors import UsageError
from limner.result import AuditResult, Call, MeasureResult

Order = Literal["rank", "top-down"]

QUIET: tuple[Call, ...] = ("true", "not painted yet", "not measured")
"""Calls that the table leaves out unless everything is asked for: the text names them in one line each."""


@dataclass(frozen=True, kw_only=True)
class View:
    """What to show of a result."""

    only: str | None = None
    """One family of the catalogue; ``None`` shows all."""

    top: int | None = None
    """At most so many measures; ``None`` sets no limit."""

    everything: bool = False
    """Whether the text table also lists what is true and what has no number."""

    canons: bool = False
    """Whether the text tells the canons, drift and habits in full; ``everything`` does too."""

    order: Order = "rank"
    """``rank``: worst first; ``top-down``: hair to chin."""

    def select(self, result: AuditResult) -> tuple[MeasureResult, ...]:
        """Return the measures of the asked family, in the asked order, at most ``top`` of them."""
        chosen = self.family(result)
        if self.order == "top-down":
            chosen = top_down(chosen)
        return chosen if self.top is None else chosen[: self.top]

    def family(self, result: AuditResult) -> tuple[MeasureResult, ...]:
        """Return every measure of the asked family, ranked; raise UsageError where there is no such family."""
        if self.only is None:
            return result.measures
        chosen = tuple(m for m in result.measures if m.family == self.only)
        if not chosen:
            known = ", ".join(sorted({m.family for m in result.measures}))
            raise UsageError(f"there is no family of measures called '{self.only}': choose one of {known}.")
        return chosen

    def anything_off(self, result: AuditResult) -> bool:
        """Whether a measure of the asked family is off, shown or not; of all families, or the whole as it was drawn."""
        drawn = self.only is None and any(f.call == "off" and f.cause == "drawing" for f in result.whole)
        return drawn or any(m.call == "off" for m in self.family(result))
