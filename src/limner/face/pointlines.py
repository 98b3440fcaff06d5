"""Points given as words: ``tr=320,41.5`` on a command line, ``tr 320 41.5`` in a text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from limner.face.byhand import HandPoint, HandPoints, finite, known, placed, refuse

UNSEEN, AWAY = "unseen", "away"
"""Words in the place of numbers: the point cannot be seen; what was placed before is taken away."""

Change = HandPoint | str
"""A new place, or one of the two words."""


def changes_from_lines(lines: Iterable[str], size: tuple[int, int], what: str = "line") -> dict[str, Change]:
    """What a text asks for: one point a line, ``name x y`` or ``name x y sigma``, ``name unseen``, ``name away``.

    Empty lines and what follows a ``#`` are passed over. ``size`` is the picture's width and height, px.

    Raises:
        UsageError: naming the line, for a name that is none or comes twice, a number that is none, a point outside.

    >>> changes_from_lines(["tr 320 41.5  # hairline", "", "sa_left unseen"], (640, 480))
    {'tr': HandPoint(x=320.0, y=41.5, sigma=None, source='hand'), 'sa_left': 'unseen'}
    """
    changes: dict[str, Change] = {}
    for number, line in enumerate(lines, start=1):
        words = line.split("#", 1)[0].split()
        if words:
            _take(words, size, f"{what} {number}", changes)
    return changes


def changes_from_options(given: Iterable[str], size: tuple[int, int]) -> dict[str, Change]:
    """What repeated ``--set NAME=X,Y`` ask for; ``NAME=X,Y,SIGMA``, ``NAME=unseen`` and ``NAME=away`` too.

    Raises:
        UsageError: as :func:`changes_from_lines`.

    >>> changes_from_options(["tr=320,41.5,2"], (640, 480))
    {'tr': HandPoint(x=320.0, y=41.5, sigma=2.0, source='hand')}
    """
    changes: dict[str, Change] = {}
    for option in given:
        name, sign, rest = option.partition("=")
        if not sign:
            refuse(f"--set {option[:60]}", "NAME=X,Y", "there is no =", "write for example: --set tr=320,41.5")
        _take([name.strip(), *(word.strip() for word in rest.split(","))], size, f"--set {option[:60]}", changes)
    return changes


def _take(words: list[str], size: tuple[int, int], what: str, changes: dict[str, Change]) -> None:
    name = known(words[0], what)
    if name in changes:
        refuse(what, "every point once", f"{name} comes a second time", "keep one of them")
    numbers = words[1:]
    if numbers in ([UNSEEN], [AWAY]):
        changes[name] = numbers[0]
        return
    if len(numbers) not in (2, 3):
        refuse(what, "x and y in px after the name", f"{len(numbers)} came", f"write for example: {name} 320 41.5")
    x, y, *sigma = (_number(word, what) for word in numbers)
    changes[name] = placed(x, y, size, what, sigma=sigma[0] if sigma else None)


def _number(word: str, what: str) -> float:
    try:
        return finite(float(word), what, word[:20])
    except ValueError:
        refuse(what, "a number of px", f"'{word[:20]}' came", "write it with digits and a point")


def with_changes(points: HandPoints, changes: Mapping[str, Change]) -> HandPoints:
    """The points with the changes made."""
    kept = {key: point for key, point in points.points.items() if key not in changes}
    unseen = [key for key in points.unseen if key not in changes]
    for key, change in changes.items():
        if isinstance(change, HandPoint):
            kept[key] = change
        elif change == UNSEEN:
            unseen.append(key)
    return replace(points, points=kept, unseen=tuple(unseen))


def laid_over(under: HandPoints, over: HandPoints) -> HandPoints:
    """Two sets of one picture: what the upper one says counts, the rest comes from the lower."""
    said = {*over.points, *over.unseen}
    kept = {key: point for key, point in under.points.items() if key not in said}
    unseen = [key for key in under.unseen if key not in said]
    return replace(over, points={**kept, **over.points}, unseen=(*unseen, *over.unseen))
