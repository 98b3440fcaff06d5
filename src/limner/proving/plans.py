"""Which slips are planted in a proof: varied in kind, amount, sign, radius and falloff, drawn from a seed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from limner.errors import UsageError
from limner.proving.pulls import FALLOFFS
from limner.proving.slips import Slip

Plan = Literal["standard", "axes", "quick", "faithful"]


def _slip(rng: np.random.Generator, kind: str, amount: float) -> Slip:
    """A slip of this amount with a radius and falloff of its own."""
    return Slip(
        kind=kind,
        amount=round(float(amount), 4),
        core=round(float(rng.uniform(0.92, 1.28)), 3),
        reach=round(float(rng.uniform(1.9, 2.4)), 3),
        falloff=FALLOFFS[int(rng.integers(0, len(FALLOFFS) - 1))],
        roundness=float(rng.choice([2.0, 2.0, 3.0])),
    )


def _signed(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high) * rng.choice([-1.0, 1.0]))


def _standard(rng: np.random.Generator) -> list[tuple[Slip, ...]]:
    def one(kind: str, amount: float) -> tuple[Slip, ...]:
        return (_slip(rng, kind, amount),)

    lip = str(rng.choice(["upper_lip", "upper_lip_edge"]))
    low = str(rng.choice(["lower_lip", "lower_lip_edge"]))
    side = str(rng.choice(["left", "right"]))
    return [
        (),
        one("eyes_width", rng.uniform(0.08, 0.17)),
        one("eyes_size", -rng.uniform(0.07, 0.13)),
        one(f"eye_size_{side}", _signed(rng, 0.08, 0.14)),
        one("nose_width", rng.uniform(0.10, 0.25)),
        one("nose_width", -rng.uniform(0.10, 0.25)),
        one("mouth_width", _signed(rng, 0.06, 0.12)),
        one(lip, rng.uniform(0.25, 0.50)),
        one(low, rng.uniform(0.20, 0.50)),
        (_slip(rng, "upper_lip", -rng.uniform(0.2, 0.4)), _slip(rng, "lower_lip_edge", -rng.uniform(0.15, 0.4))),
        one("eyes_opening", _signed(rng, 0.15, 0.25)),
        one(f"eye_opening_{side}", _signed(rng, 0.15, 0.25)),
        (_slip(rng, "mouth_x", _signed(rng, 0.03, 0.05)), _slip(rng, "mouth_y", _signed(rng, 0.03, 0.05))),
        (_slip(rng, "nose_x", _signed(rng, 0.03, 0.05)), _slip(rng, "nose_y", _signed(rng, 0.03, 0.05))),
        one(f"eye_{side}_{rng.choice(['x', 'y'])}", _signed(rng, 0.03, 0.05)),
        one("mouth_turn", _signed(rng, 3.0, 6.0)),
        (_slip(rng, f"brow_{side}_y", -rng.uniform(0.03, 0.06)), _slip(rng, "chin", -rng.uniform(0.06, 0.12))),
        (_slip(rng, "face_width", _signed(rng, 0.03, 0.06)), _slip(rng, "jaw_width", _signed(rng, 0.03, 0.06))),
        (_slip(rng, "eyes_size", rng.uniform(0.06, 0.12)), _slip(rng, "mouth_width", -rng.uniform(0.05, 0.1))),
        (
            _slip(rng, "nose_length", _signed(rng, 0.04, 0.08)),
            _slip(rng, "mouth_turn", _signed(rng, 2.0, 5.0)),
            _slip(rng, "eyes_width", _signed(rng, 0.05, 0.1)),
        ),
    ]


def _axes(rng: np.random.Generator) -> list[tuple[Slip, ...]]:
    turns = [(_slip(rng, "mouth_turn", degrees),) for degrees in (3.0, -3.0, 6.0, -6.0)]
    sides = ("left", "right")
    brows = [(_slip(rng, f"brow_turn_{side}", _signed(rng, 3, 6)),) for side in sides]
    slants = [(_slip(rng, f"eye_turn_{side}", _signed(rng, 3, 6)),) for side in sides]
    shifts = [(_slip(rng, f"eye_{s}_{d}", _signed(rng, 0.03, 0.05)),) for s in sides for d in ("x", "y")]
    return [(), *turns, *brows, *slants, *shifts]


def _together(rng: np.random.Generator) -> tuple[Slip, ...]:
    """Every feature off at once, each by an amount and sign of its own."""
    eyes = str(rng.choice(["width", "opening", "size"]))
    amount = {"width": 0.15, "opening": 0.25, "size": 0.12}[eyes]
    mouth = [("mouth_width", 0.10), ("mouth_x", 0.045), ("mouth_y", 0.045), ("mouth_turn", 5.0)]
    lips = [
        (str(rng.choice(["upper_lip", "upper_lip_edge"])), 0.4),
        (str(rng.choice(["lower_lip", "lower_lip_edge"])), 0.4),
    ]
    rest = [("nose_width", 0.22), (str(rng.choice(["nose_x", "nose_y", "nose_length"])), 0.05), ("chin", 0.10)]
    edges = [(str(rng.choice(["face_width", "jaw_width"])), 0.05), (f"brow_{rng.choice(['left', 'right'])}_y", 0.05)]
    first, second = (mouth[k] for k in rng.choice(len(mouth), 2, replace=False))
    chosen = [(f"eyes_{eyes}", amount), *rest, *edges, *lips, first, second]
    return tuple(_slip(rng, kind, _signed(rng, 0.4 * most, most)) for kind, most in chosen)


def plantings(kind: Plan = "standard", seed: int = 0) -> Sequence[tuple[Slip, ...]]:
    """Sets of slips, each to be planted in a fresh copy; the empty set is a faithful copy.

    ``standard`` has every feature, ``axes`` turns and shifts, ``quick`` every feature at once, five times,
    ``faithful`` nothing four times over.
    """
    rng = np.random.default_rng([seed, 11])
    if kind == "standard":
        return _standard(rng)
    if kind == "axes":
        return _axes(rng)
    if kind == "quick":
        return [(), *(_together(rng) for _ in range(5))]
    if kind == "faithful":
        return [()] * 4
    raise UsageError(f"Expected a plan out of standard, axes, quick, faithful; got {kind!r}.")
