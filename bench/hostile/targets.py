"""What is fed to limner: each target makes a case from a random source, and hands it to the real door."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hostile import kept, seeds
from hostile.mutate import altered, mutated, png_mended, riff_mended, same_length
from limner.errors import LimnerError, PictureError, UsageError

Make = Callable[[random.Random], bytes]
Run = Callable[[bytes, Path], bool]
"""Takes a case and a file's place to write it to; gives whether it was read, raises limner's own error if refused."""


@dataclass(frozen=True, kw_only=True)
class Target:
    """One door, and how hostile cases for it are made."""

    share: int
    """Cases of every 1000."""
    run: Run
    make: Make | None = None
    """``None``: the cases are drawn by hypothesis (hostile.texts)."""
    refuses: type[LimnerError] = UsageError


def _picture(data: bytes, place: Path) -> bool:
    from limner.pictures.decode import time_taken
    from limner.pictures.load import load_picture

    place.write_bytes(data)
    time_taken(data)
    picture = load_picture(place, label="painting")
    height, width, channels = picture.pixels.shape
    if channels != 3 or not (0 < picture.scale <= 1) or 0 in (height, width):
        raise AssertionError(f"shape {picture.pixels.shape}, scale {picture.scale}")
    return True


def _pictures_of(kind: str) -> Make:
    def make(rng: random.Random) -> bytes:
        own = seeds.pictures()[kind]
        data = rng.choice(own)
        data = same_length(rng, data) if rng.random() < 0.4 else mutated(rng, data, own)
        if kind == "PNG" and rng.random() < 0.8:
            return png_mended(data)
        return riff_mended(data) if "WebP" in kind and rng.random() < 0.8 else data

    return make


def _exif(rng: random.Random) -> bytes:
    where = rng.choice(("JPEG", "JPEG", "PNG", "WebP", "HEIC"))
    block = seeds.exif()
    if where == "HEIC":
        return seeds.heic().replace(block.removeprefix(b"Exif\0\0"), same_length(rng, block.removeprefix(b"Exif\0\0")))
    changed = same_length(rng, block) if rng.random() < 0.6 else mutated(rng, block)
    return seeds.with_exif(changed, where)


def _profile(rng: random.Random) -> bytes:
    profile = rng.choice(seeds.profiles())
    changed = same_length(rng, profile) if rng.random() < 0.7 else mutated(rng, profile, seeds.profiles())
    where = rng.choice(("JPEG", "PNG", "WebP"))
    mode = rng.choice(("RGB", "L", "CMYK")) if where == "JPEG" else "RGB"
    return seeds.with_profile(changed, where, "CMYK" if b"CMYK" in profile and where == "JPEG" else mode)


def _points(data: bytes, place: Path) -> bool:
    from limner.face.pointsfile import parse_points, points_text, read_points

    place.write_bytes(data)
    held = read_points(place)
    again = parse_points(points_text(held))
    if again.points.keys() != held.points.keys() or (again.unseen and set(again.unseen) != set(held.unseen)):
        raise AssertionError("what was written again is not what was read")
    for key in held.points:
        held.sigma_of(key)
    return True


def _config(data: bytes, place: Path) -> bool:
    from limner.cli.config import _as_json, _as_text, _standing
    from limner.config import KEYS, read_config

    place.write_bytes(data)
    held = read_config(place)
    rows = [(key, *_standing(key, held)) for key in KEYS]
    _as_text(held, rows).encode()
    _as_json(held, rows)
    for name, parse in _WORDS_IN_CONFIG.items():
        if name in held.values:
            parse(str(held.values[name]))
    return True


def _match(text: str) -> object:
    from limner.values.ways import parse_match

    return parse_match(text)


def _size(text: str) -> object:
    from limner.pictures.canvassize import parse_canvas_size

    return parse_canvas_size(text)


def _corners(text: str) -> object:
    from limner.cli.joined import corners_of

    return corners_of(text)


def _lines(text: str) -> object:
    from limner.face.pointlines import changes_from_lines

    return changes_from_lines(text.splitlines(), (640, 480))


def _options(text: str) -> object:
    from limner.face.pointlines import changes_from_options

    return changes_from_options([text], (640, 480))


_WORDS_IN_CONFIG: dict[str, Callable[[str], object]] = {"match": _match, "canvas": _size, "corners": _corners}
_WORDS: tuple[tuple[Callable[[str], object], tuple[bytes, ...]], ...] = (
    (_match, (b"face", b"ground:3,4", b"patch:120,80=5", b"patch:1,2@3,4", b"strip:1,2=2;3,4=5;5,6=8")),
    (_size, (b"400x500mm", b"40 x 50 cm", b"16x20in", b'16"x20"')),
    (_corners, (b"212,80 1630,95 1611,1890 230,1874",)),
    (_lines, (b"tr 320 41.5  # hairline\n\nsa_left unseen\n", b"gn 1 2 3\nn away")),
    (_options, (b"tr=320,41.5", b"tr=320,41.5,2", b"sa_left=unseen")),
)
_SPICE = (
    *(
        b"1e999",
        b"nan",
        b"-",
        b".",
        b"..",
        b"\xc2\xb2",
        b"\xd9\xa3",
        b"\x1b[2J",
        b"\0",
        b"=",
        b",",
        b"9" * 5000,
        b"\xff",
    ),
)


def _words_make(rng: random.Random) -> bytes:
    which = rng.randrange(len(_WORDS))
    return bytes([which]) + mutated(rng, rng.choice(_WORDS[which][1]), words=_SPICE)


def _words(data: bytes, _place: Path) -> bool:
    _WORDS[data[0] % len(_WORDS) if data else 0][0](data[1:].decode("utf-8", "surrogateescape"))
    return True


def _kept_make(rng: random.Random) -> bytes:
    held = kept.changed(rng)
    if rng.random() < 0.3:
        held = mutated(rng, held, words=(b"[" * 3000, b'{"a":' * 3000, b"NaN", b"1e999", b"null"))
    sealed = kept.sealed(held)
    return mutated(rng, sealed) if rng.random() < 0.1 else sealed


def _kept(data: bytes, place: Path) -> bool:
    from limner.series.cache import Cache
    from limner.series.csvout import to_csv
    from limner.series.faces import _faces
    from limner.series.jsonout import to_json
    from limner.series.record import Record, Series
    from limner.series.run import Run as Found
    from limner.series.run import _kept as taken
    from limner.series.text import to_text

    path = place.parent / "cache" / kept.KEY[:2] / f"{kept.KEY}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    found = taken(Cache(place.parent / "cache"), kept.KEY, Path("canvas-1.jpg"), faces=True)
    if found is None:
        raise UsageError("The kept result cannot be used.")
    # Told as any other photo, between two that are sound.
    sound = (kept.record(), kept.record(off=False))
    photos: Sequence[Any] = (sound[0], found.found, sound[1])
    series = Series(reference="anna.jpg", order="as they were given", photos=tuple(photos))
    for text in (to_text(series), to_json(series), to_csv(series)):
        text.encode()
    if found.face is not None:
        _faces(Found(series=series, faces=(None, found.face, None)))
    return isinstance(found.found, Record)


def _model(data: bytes, place: Path) -> bool:
    from limner.errors import ModelError
    from limner.face.bundle import ensure_model

    path = place.with_suffix(".task")
    path.write_bytes(data)
    try:
        ensure_model(path)
    except ModelError as error:
        raise UsageError(str(error).replace(str(path), "FILE")) from error
    return True


def _points_make(rng: random.Random) -> bytes:
    if rng.random() < 0.5:
        return mutated(rng, seeds.points(), words=seeds.WORDS_OF_POINTS)
    plain = json.loads(seeds.points())
    altered(rng, plain)
    return json.dumps(plain).encode()


def _config_make(rng: random.Random) -> bytes:
    if rng.random() < 0.5:
        return mutated(rng, seeds.CONFIG, words=seeds.WORDS_OF_CONFIG)
    lines = seeds.CONFIG.splitlines()
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(lines))
        key = lines[at].split(b" = ")[0]
        value = mutated(rng, lines[at].split(b" = ")[-1], lines, seeds.WORDS_OF_CONFIG)
        lines[at] = rng.choice((value, key + b" = " + value, key + b" = " + value, b'%s = "%s"' % (key, value), b""))
    return b"\n".join(lines)


def _model_make(rng: random.Random) -> bytes:
    return mutated(rng, seeds.model(), (seeds.model(),))


_PICTURE_SHARES = {
    "JPEG": 60, "progressive JPEG": 20, "PNG": 70, "WebP": 40, "lossless WebP": 30, "TIFF": 60, "HEIC": 20,
}  # fmt: skip
TARGETS: dict[str, Target] = {
    **{
        kind: Target(share=share, run=_picture, make=_pictures_of(kind), refuses=PictureError)
        for kind, share in _PICTURE_SHARES.items()
    },
    "EXIF": Target(share=100, run=_picture, make=_exif, refuses=PictureError),
    "ICC profiles": Target(share=80, run=_picture, make=_profile, refuses=PictureError),
    "points, changed": Target(share=120, run=_points, make=_points_make),
    "points, drawn": Target(share=80, run=_points),
    "limner.toml, changed": Target(share=90, run=_config, make=_config_make),
    "limner.toml, drawn": Target(share=60, run=_config),
    "words of options": Target(share=60, run=_words, make=_words_make),
    "kept results": Target(share=80, run=_kept, make=_kept_make),
    "face model": Target(share=30, run=_model, make=_model_make),
}
"""Name -> target; the shares make 1000."""


def case_of(name: str, seed: int, number: int) -> bytes:
    """One case: the same for the same three."""
    make = TARGETS[name].make
    if make is None:
        raise ValueError(f"the cases of {name} are drawn, not made one by one")
    return make(random.Random(f"{seed}:{name}:{number}"))  # noqa: S311 - repeatable, not secret
