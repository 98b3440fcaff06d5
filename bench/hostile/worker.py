"""The process that hostile cases are run in: ``python -m hostile.worker TARGET SEED FIRST COUNT SHARED KEEP``.

Before each case its number and bytes are put where the process that watches can read them, so that whatever ends this
process is known by the case that did it. What goes wrong without ending it is printed, one JSON line a case.
"""

from __future__ import annotations

import json
import mmap
import struct
import sys
import time
import unicodedata
from pathlib import Path
from typing import Any

HEAD = struct.Struct("<qqqqd")
"""Number of the case being run (-1 before the first), how many were read, refused, its length, the slowest (s)."""
ROOM = 4_000_000
"""Bytes of a case that are kept."""
MEMORY = 1_500_000_000
ROUND = 250
"""Cases drawn in one go: hypothesis remembers all of a go."""


class Sheet:
    """What this process and the one that watches it both see."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("r+b")
        self._held = mmap.mmap(self._file.fileno(), HEAD.size + ROOM)
        self.read = self.refused = 0
        self.slowest = 0.0

    def begin(self, number: int, case: bytes) -> None:
        """Note which case is next."""
        self._held[HEAD.size : HEAD.size + min(len(case), ROOM)] = case[:ROOM]
        self._held[: HEAD.size] = HEAD.pack(number, self.read, self.refused, min(len(case), ROOM), self.slowest)


def kept_as(outcome: str, name: str, number: int) -> str:
    """The file name of a case that went wrong."""
    return f"{outcome}-{name.replace(' ', '_').replace(',', '')}-{number}"


def judged(name: str, case: bytes, place: Path) -> tuple[str, str]:
    """How one case ended: ``read``, ``refused``, ``crash`` or ``memory``, and what was said."""
    from hostile.targets import TARGETS
    from limner.cli.main import _judged

    target = TARGETS[name]
    try:
        return ("read", "") if target.run(case, place) else ("refused", "")
    except target.refuses as error:
        if _for_want_of_memory(error.__cause__):
            return "memory", repr(error.__cause__)
        said = _judged(error)[0]
        if len(said) > 600 or any(unicodedata.category(char)[0] == "C" for char in said):
            return "crash", f"a sentence that cannot be shown: {said[:300]!r}"
        return "refused", said
    except MemoryError as error:
        return "memory", repr(error)
    except Exception as error:  # noqa: BLE001 - every other exception is what is looked for
        where = error.__traceback__
        while where is not None and where.tb_next is not None:
            where = where.tb_next
        line = "" if where is None else f" at {Path(where.tb_frame.f_code.co_filename).name}:{where.tb_lineno}"
        return "crash", f"{type(error).__name__}: {str(error)[:300]}{line}"


def _for_want_of_memory(cause: BaseException | None) -> bool:
    """Whether memory was asked for and not given; libheif says so too where it refuses by a limit of its own."""
    said = str(cause or "").lower()
    return isinstance(cause, MemoryError) or ("memory" in said and "security limit" not in said)


def main() -> int:
    """Run the cases that the arguments name."""
    import resource  # not on every system, and the rest of this module is wanted there too

    name, seed, first, count, shared, keep = sys.argv[1:]
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sheet = Sheet(Path(shared))
    run = _Runner(name, sheet, Path(shared).with_name("case"), Path(keep))
    if name == "bombs":
        run.bombs(int(first))
    else:
        run.cases(int(seed), int(first), int(first) + int(count))
    sheet.begin(run.number, b"")
    return 0


class _Runner:
    def __init__(self, name: str, sheet: Sheet, place: Path, keep: Path) -> None:
        self.name, self.sheet, self.place, self.keep = name, sheet, place, keep
        self.number = -1

    def one(self, case: bytes, name: str | None = None) -> None:
        """Run one case and print what is wrong with it."""
        self.sheet.begin(self.number, case)
        begun = time.process_time()
        outcome, said = judged(name or self.name, case, self.place)
        self.sheet.slowest = max(self.sheet.slowest, time.process_time() - begun)
        if outcome == "read":
            self.sheet.read += 1
        elif outcome == "refused":
            self.sheet.refused += 1
        else:
            (self.keep / kept_as(outcome, self.name, self.number)).write_bytes(case)
            print(json.dumps({"outcome": outcome, "number": self.number, "said": said}), flush=True)

    def bombs(self, first: int) -> None:
        """The fixed ones; one that must be refused and is read counts as a crash."""
        from hostile.seeds import BOMBS, LARGE

        for self.number, (words, make) in enumerate((BOMBS | LARGE).items()):
            if self.number < first:
                continue
            was = self.sheet.read
            self.one(make(), "PNG")
            if words in BOMBS and self.sheet.read > was:
                self.sheet.read = was
                said = f"{words} was decoded"
                print(json.dumps({"outcome": "crash", "number": self.number, "said": said}), flush=True)
        self.number += 1

    def cases(self, seed: int, first: int, end: int) -> None:
        """Those from ``first`` on, to before ``end``."""
        from hostile.targets import TARGETS, case_of

        if TARGETS[self.name].make is None:
            self.number = first - 1
            while self.number + 1 < end:
                self._round(f"{seed}:{self.number}", min(ROUND, end - self.number - 1))
            self.number = end
            return
        for self.number in range(first, end):
            self.one(case_of(self.name, seed, self.number))
        self.number = end

    def _round(self, seed: str, count: int) -> None:
        import zlib

        import hypothesis

        from hostile.texts import by_name

        end = self.number + count

        def drawn(case: Any) -> None:
            if self.number < end:
                self.number += 1
                self.one(case)

        settings = hypothesis.settings(
            max_examples=count,
            database=None,
            deadline=None,
            phases=[hypothesis.Phase.generate],
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        hypothesis.seed(zlib.crc32(seed.encode()))(settings(hypothesis.given(by_name(self.name))(drawn)))()


if __name__ == "__main__":
    sys.exit(main())
