"""Bytes changed the way a hostile or broken writer would: bits, lengths, spans, and what a checksum then has to say."""

from __future__ import annotations

import copy
import random
import struct
import zlib
from collections.abc import Sequence
from typing import Any

_EDGES = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x100, 0x7FFF, 0x8000, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_MOST = 60_000
"""Bytes a mutated case may have: more would only make it slow."""

ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2**63, 10**400, 0.0, -0.5, 1e308, -1e308, 1e-320, 1e-4, float("nan"), float("inf")),
    *("", "x", "\x1b[2J\n", "\ud800", "=1+1", "a" * 4000, [], {}, [[]], [None], {"a": 1}, [1, 2], ["x", "y"]),
)
"""Values that JSON can hold and nobody expects."""


def altered(rng: random.Random, plain: Any, apart: Sequence[str] = ()) -> None:
    """One to four values of nested dicts and lists are removed, added, or put in the place of others."""
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        _alter(rng, plain, apart)


def _alter(rng: random.Random, plain: Any, apart: Sequence[str]) -> None:
    place, key, inner = None, None, plain
    while isinstance(inner, dict | list | tuple) and inner and (place is None or rng.random() < 0.9):
        if isinstance(inner, tuple):  # written as a list
            inner = place[key] = list(inner)
        place = inner
        keys = [key for key in place if key not in apart] if isinstance(place, dict) else list(range(len(place)))
        if not keys:
            return
        key = rng.choice(keys)
        inner = place[key]
    if place is None:
        return
    act = rng.randrange(8)
    if act == 0:
        del place[key]
    elif act == 1 and isinstance(place, dict):
        place[rng.choice(("own", "x", ""))] = _odd(rng)
    elif act == 2 and isinstance(place, list):
        place.append(rng.choice((copy.deepcopy(inner), _odd(rng))))
    else:
        number = isinstance(inner, int | float) and not isinstance(inner, bool) and abs(inner) < 1e9
        place[key] = inner * rng.choice((0, 0.3, 2, -1, 1e-4, 1e6)) if number and rng.random() < 0.6 else _odd(rng)


def _odd(rng: random.Random) -> Any:
    return copy.deepcopy(rng.choice(ODD))


def mutated(rng: random.Random, seed: bytes, others: Sequence[bytes] = (), words: Sequence[bytes] = ()) -> bytes:
    """One to eight changes; ``others`` are spliced in, ``words`` are put anywhere."""
    data = bytearray(seed)
    for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 5, 8))):
        if not data:
            break
        _change(rng, data, others, words)
    return bytes(data[:_MOST])


def same_length(rng: random.Random, seed: bytes) -> bytes:
    """One to eight changes that leave the length as it is, so that offsets elsewhere still hold."""
    data = bytearray(seed)
    for _ in range(rng.choice((1, 1, 2, 3, 5, 8))):
        rng.choice((_bit, _byte, _number))(rng, data)
    return bytes(data)


def _change(rng: random.Random, data: bytearray, others: Sequence[bytes], words: Sequence[bytes]) -> None:
    at = rng.randrange(len(data))
    kind = rng.randrange(9)
    if kind == 0:
        _bit(rng, data)
    elif kind == 1:
        _byte(rng, data)
    elif kind == 2:
        _number(rng, data)
    elif kind == 3:
        del data[at : at + rng.choice((1, 1, 2, 4, 16, 200))]
    elif kind == 4:
        data[at:at] = data[at : at + rng.choice((1, 4, 16, 64))] * rng.choice((1, 1, 2, 50))
    elif kind == 5:
        data[at:at] = rng.randbytes(rng.choice((1, 2, 4, 30)))
    elif kind == 6 and rng.random() < 0.3:
        del data[at:]
    elif kind == 7 and others:
        other = rng.choice(others)
        data[at:] = other[rng.randrange(len(other) or 1) :]
    elif words:
        word = rng.choice(words)
        data[at : at + rng.choice((0, len(word)))] = word


def _bit(rng: random.Random, data: bytearray) -> None:
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _byte(rng: random.Random, data: bytearray) -> None:
    data[rng.randrange(len(data))] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))


def _number(rng: random.Random, data: bytearray) -> None:
    size = rng.choice((2, 4, 4))
    at = rng.randrange(max(1, len(data) - size))
    value = rng.choice((*_EDGES, rng.randrange(1 << 32))) & ((1 << 8 * size) - 1)
    data[at : at + size] = value.to_bytes(size, rng.choice(("big", "little")))


def png_mended(data: bytes) -> bytes:
    """Every checksum of a PNG as its chunk now needs it, so that the decoder gets past them."""
    out, at = bytearray(data[:8]), 8
    while at + 12 <= len(data):
        length = struct.unpack_from(">I", data, at)[0]
        if at + 12 + length > len(data):
            break
        body = data[at + 4 : at + 8 + length]
        out += data[at : at + 4] + body + struct.pack(">I", zlib.crc32(body))
        at += 12 + length
    return bytes(out + data[at:])


def riff_mended(data: bytes) -> bytes:
    """The length that a WebP states, as it now is."""
    return data[:4] + struct.pack("<I", max(0, len(data) - 8)) + data[8:]
