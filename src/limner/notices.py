"""A notice: something the painter should know that is not a measurement."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Notice:
    """One warning or remark that travels with a result into every output."""

    code: str
    """Stable snake_case id, for example ``pose_differs``."""

    text: str
    """One plain sentence a painter understands."""
