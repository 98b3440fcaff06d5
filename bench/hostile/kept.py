"""A kept result of a series, as a cache file holds it, and what a hostile hand may make of it."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import random
from functools import cache
from typing import Any

from PIL import Image

from hostile.mutate import altered
from limner.series.record import Amount, Largest, Reading, Record, Shift, Tone, to_plain

KEY = "ab" * 32


def record(*, off: bool = True) -> Record:
    """One photo's result, with every sort of entry."""

    def reading(id_: str, name: str, unit: str, call: str, value: float | None) -> Reading:
        return Reading(
            id=id_, name=name, family="width", feature="mouth", unit=unit, deviation=value,
            sigma=None if value is None else 1.0, threshold=5.0, call=call,
            reason="hidden" if value is None else None, witness="paint", reference=0.8,
        )  # fmt: skip

    return Record(
        name="canvas-1.jpg",
        digest="ab" * 32,
        taken="2024-03-04T10:11:12",
        stage="finish",
        stage_guessed=True,
        pupil_mm=Amount(value=63.0, sigma=0.4),
        readings=(
            reading("mouth_width", "mouth width", "percent", "off" if off else "true", 9.0 if off else 0.4),
            reading("mouth_height", "mouth, height", "percent of pupil distance", "slight", -3.0),
            reading("own", "own distance", "percent", "unsure", None),
        ),
        shifts=(
            Shift(feature="lips", square=0.002, chance=0.0001, sigma=0.0002),
            Shift(feature="nose", square=0.001, chance=0.0001, sigma=0.0002),
        ),
        tones=(Tone(region="forehead", name="forehead", difference=-0.4, sigma=0.1),),
        values_off=("the forehead is too dark",),
        masses=("the shadows are too light",),
        mend_first=("mouth width",),
        largest=Largest(text="mouth, 3 mm up", size=Amount(value=0.05, sigma=0.004)),
        notices=("canvas-1.jpg is small",),
    )


def body() -> dict[str, Any]:
    """What a cache file holds besides its digest."""
    return {"record": to_plain(record()), "face": _face(), "key": KEY}


@cache
def _face() -> str:
    held = io.BytesIO()
    Image.new("RGB", (320, 400), (150, 120, 100)).save(held, "JPEG", quality=30)
    return base64.b64encode(held.getvalue()).decode("ascii")


def skipped_body() -> dict[str, Any]:
    """The same of a photo without a face."""
    return {"skipped": {"name": "a.jpg", "reason": "a.jpg: no face", "exit_code": 4}, "key": KEY}


def sealed(held: bytes) -> bytes:
    """With the digest that makes a cache believe it."""
    return hashlib.sha256(held).hexdigest().encode() + b"\n" + held


def changed(rng: random.Random) -> bytes:
    """The text of a kept result in which one to four values are others."""
    plain = skipped_body() if rng.random() < 0.1 else body()
    altered(rng, plain, apart=("key",))
    return json.dumps(plain).encode()
