"""The files ``limner audit`` draws: which were asked for, and what is in each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from limner.auditing import Examined

Files = Mapping[str, Path]


def paired(blink: Path | None) -> dict[str, Path | None]:
    """The files of ``--blink``: one that moves, or two PNGs, named after the one that was asked for."""
    if blink is None or blink.suffix.lower() != ".png":
        return {"--blink": blink}
    sides = ("reference", "painting")
    return {f"--blink, {side}": blink.with_name(f"{blink.stem}-{side}{blink.suffix}") for side in sides}


def draw(files: Files, found: Examined, layers: tuple[str, ...], step: Callable[[str], None]) -> dict[str, bytes]:
    """What every file is to hold; ``layers`` are the overlay's."""
    if files:
        step("drawing")
    return {option: _drawn(option, path.suffix.lower(), found, layers) for option, path in files.items()}


def _drawn(option: str, ending: str, found: Examined, layers: tuple[str, ...]) -> bytes:
    from limner.pictures.write import encode_animation, encode_png

    if option == "--page":
        from limner.report.auditpage import audit_page

        return audit_page(found).encode("utf-8")
    if option == "--overlay":
        from limner.report.overlay import Overlay

        overlay, given = Overlay(layers=layers), (found.result, found.painting, found.reference)
        return overlay.svg(*given) if ending == ".svg" else encode_png(overlay(*given))
    if option == "--value-sheet":
        from limner.report.valuesheet import ValueSheet

        return encode_png(ValueSheet()(found.result, found.reference, found.painting, found.lamps))
    if option.startswith("--blink"):
        from limner.report.blink import STILL, blink_pair

        pair = blink_pair(found)
        if ending == ".png":
            return encode_png(pair["painting" in option])
        return encode_animation(pair, [STILL, STILL], "gif" if ending == ".gif" else "webp")
    from limner.report.sidebyside import SideBySide

    return encode_png(SideBySide()(found.result, found.reference, found.painting))


def write(files: Files, held: Mapping[str, bytes], inputs: tuple[Path, ...]) -> None:
    """Write every file, all of them whole or none."""
    from limner.pictures.write import write_together

    write_together({path: held[option] for option, path in files.items()}, inputs=inputs)
