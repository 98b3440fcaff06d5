"""What a canon, a ratio of two lengths, a study and an observation are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Lie = Literal["across", "along", "across over along", "along over across", "slopes"]
"""How the two lengths of a ratio lie in the face: both across it, both along it, one of each; or two slopes."""

EYES = ("eye_width_right", "eye_width_left")
EARS = ("ear_right", "ear_left")

HAIR = 0.5
"""Depth of a ratio with the hairline; limner's estimate."""
TOP = 0.9
"""Depth of a ratio with the top of the head, which lies about as far behind the face as it stands above the eyes;
limner's estimate."""

WIDE = ("wider", "narrower")
LONG = ("longer", "shorter")


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """Two lengths of one face set against each other: mean of ``above`` over mean of ``below``."""

    id: str
    """Stable snake_case id."""
    name: str
    """Plain name."""
    definition: str
    """In standard abbreviations."""
    above: tuple[str, ...]
    """Ids of :data:`limner.compare.canons.lengths.LENGTHS`."""
    below: tuple[str, ...]
    value: float | None
    """What the canon gives; ``None`` for a proportion that no canon speaks of."""
    lie: Lie
    either: bool = False
    """Whether one of a pair of lengths is enough, as of two ears."""
    outline: bool = False
    """Whether a length ends at the outline of the face, which a turned head shows elsewhere."""
    depth: float = 0.42
    """How much a nod changes the ratio: relative change per sine of the nod. Nose against lower face 0.42, from the
    depths of limner's neutral face; more where the hairline or the top of the head take part (limner's estimate)."""
    words: tuple[str, str] = ("more", "less")
    """What the face is when its ratio is above the canon's, and when it is below."""


@dataclass(frozen=True, kw_only=True)
class Canon:
    """One canon: a rule that one or more ratios must meet at once."""

    id: str
    name: str
    school: Literal["Farkas", "drawing manuals", "Leonardo", "measured in people"]
    definition: str
    source: str
    ratios: tuple[Ratio, ...]
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Study:
    """People in whom canons were looked for."""

    id: str
    sample: str
    """Who was measured."""
    cite: str
    url: str
    groups: tuple[tuple[str, int | None], ...]
    """Name of each group, empty where there is but one, and how many people; ``None`` where it is not known."""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Held:
    """One cell of the published tables: the percent of people for whom something was found."""

    canon: str
    """Id of a canon."""
    study: str
    """Id of a study."""
    percent: float
    group: str = ""
    what: str = "holds"
    """``holds``, or the departure that was counted."""
    digits: int = 0
    """Decimals as printed."""


@dataclass(frozen=True, kw_only=True)
class Remark:
    """What a study found of a canon without a percentage."""

    canon: str
    study: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Observed:
    """Mean and standard deviation of a ratio in one survey, men and women."""

    survey: str
    men: tuple[float, float]
    women: tuple[float, float]
    note: str = ""

    @property
    def mean(self) -> float:
        """Half way between the men's mean and the women's."""
        return (self.men[0] + self.women[0]) / 2

    @property
    def apart(self) -> float:
        """Half the distance between the two means: what it leaves open not to say whose mean is meant."""
        return abs(self.men[0] - self.women[0]) / 2

    @property
    def spread(self) -> float:
        """The larger of the two standard deviations."""
        return max(self.men[1], self.women[1])
