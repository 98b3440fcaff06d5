"""What several commands let the painter choose among."""

from __future__ import annotations

from enum import Enum


class Format(str, Enum):
    """How the result is printed."""

    text = "text"
    json = "json"
    csv = "csv"


class HoldChoice(str, Enum):
    """What stays put."""

    eyes = "eyes"
    head = "head"


class StageChoice(str, Enum):
    """How far the painting has come."""

    block_in = "block-in"
    glaze = "glaze"
    colour = "colour"
    lights = "lights"
    finish = "finish"
