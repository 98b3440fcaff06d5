"""One parser under atheris, which looks for inputs that reach new lines: ``-m hostile.guided TARGET RUNS SEED FOLDER``.

Ends with 0 after so many runs; with anything else at the first case that is neither read nor refused, which libFuzzer
then leaves in the folder. atheris is no dependency: pip install atheris.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

import atheris


def main() -> None:
    """Never returns: libFuzzer ends the process."""
    name, runs, seed, folder = sys.argv[1:]
    with atheris.instrument_imports(include=["limner", "tomllib", "json"], enable_loader_override=False):
        import limner.config
        import limner.face.pointsfile
        import limner.series.kept  # noqa: F401 - instrumented here, used by the target
        from hostile.targets import case_of
        from hostile.worker import judged
    scratch = Path(tempfile.mkdtemp(prefix="limner-fuzz-"))
    begin = scratch / "begin"
    begin.mkdir()
    for number in range(20):
        (begin / str(number)).write_bytes(case_of(name, int(seed), number))
    random.seed(int(seed))

    def once(case: bytes) -> None:
        outcome, said = judged(name, case, scratch / "case")
        if outcome not in ("read", "refused"):
            raise RuntimeError(f"{outcome}: {said}")

    limits = (f"-runs={runs}", f"-seed={seed}", "-timeout=10", "-rss_limit_mb=1500", f"-artifact_prefix={folder}/")
    atheris.Setup([sys.argv[0], *limits, str(begin)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
