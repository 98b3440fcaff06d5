"""Work for processes beside the test's own, in a module they can find again."""

from __future__ import annotations

import os


def ready() -> None:
    return


def or_end(shared: object, piece: int) -> object:
    if piece < 0:
        os._exit(9)
    return shared, piece


def dies(_bench: object, _trial: object) -> object:
    os._exit(9)


def makes_or_adds(shared: object, piece: int) -> object:
    """Without anything shared: what all are to share; else what it is with the piece, asked for where it is ahead."""
    if shared is None:
        return 1000 * piece
    came = "ahead" if callable(shared) else "after"
    if piece == 0:  # needs nothing that is shared
        return came, 0
    return came, (shared() if callable(shared) else shared) + piece


def never_ready() -> None:
    os._exit(7)
