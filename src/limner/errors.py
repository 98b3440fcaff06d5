"""Everything limner raises on purpose, and the exit code each one ends a command with.

    LimnerError            70  internal: should not reach a user
    +-- UsageError          2  an option, a configuration file or a points file is wrong
    +-- PictureError        3  a picture is missing, unreadable, not a picture or past a limit
    +-- FaceError           4  no face, several faces without a choice, or too small a face
    +-- ModelError          5  the detector's weights are not there, altered or unusable
    +-- OutputError         6  a result cannot be written

Every message says what was expected, what came, and what to do.
"""

from __future__ import annotations


class LimnerError(Exception):
    """Base of all errors limner raises on purpose."""

    exit_code: int = 70


class UsageError(LimnerError):
    """An option, a configuration file or a points file is wrong."""

    exit_code = 2


class PictureError(LimnerError):
    """A picture is missing, unreadable, truncated, not a picture or past a limit."""

    exit_code = 3


class FaceError(LimnerError):
    """No face was found, several without a choice, or one too small to measure."""

    exit_code = 4


class ModelError(LimnerError):
    """The detector's weights are not there, altered or unusable."""

    exit_code = 5


class OutputError(LimnerError):
    """A result cannot be written."""

    exit_code = 6
