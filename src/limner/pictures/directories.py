"""The directories of a TIFF structure (a TIFF file, or any EXIF block): whether they claim more bytes than there are.

Values that lie over each other let a small file claim any amount of memory: Pillow before 13 reads each one.
"""

from __future__ import annotations

from typing import Literal

# TIFF 6.0, section 2, and its BigTIFF: bytes of one value of each type, in their order from 1.
_SIZES = (0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8)
# CIPA DC-008: tags whose value is the place of another directory: EXIF, GPS, interoperability; TIFF 6.0 supplement 1.
_POINTERS = frozenset({0x8769, 0x8825, 0xA005, 0x014A})
_MOST = 16


def claims_too_much(block: bytes) -> bool:
    """Whether the values of one directory, of the first or one it points to, are said to have more bytes than all."""
    order: Literal["little", "big"] = "little" if block[:2] == b"II" else "big"
    big = block[2:4] in (b"+\0", b"\0+")
    left, seen = [int.from_bytes(block[8:16] if big else block[4:8], order)], set[int]()
    while left and len(seen) < _MOST:
        at = left.pop()
        if at not in seen:
            seen.add(at)
            total, more = _directory(block, at, order, big=big)
            left += more
            if total > len(block):
                return True
    return False


def _directory(block: bytes, at: int, order: Literal["little", "big"], *, big: bool) -> tuple[int, list[int]]:
    """Bytes of the values that are in the block and outside one directory; where the directories it points to are."""
    head, entry, word = (8, 20, 8) if big else (2, 12, 4)
    count = min(int.from_bytes(block[at : at + head], order), (len(block) - at) // entry + 1)
    total, more = 0, []
    for start in range(at + head, at + head + count * entry, entry):
        tag, kind = (int.from_bytes(block[start + k : start + k + 2], order) for k in (0, 2))
        many, value = (int.from_bytes(block[start + k : start + k + word], order) for k in (4, 4 + word))
        size = many * (_SIZES[kind] if kind < len(_SIZES) else 0)
        total += size if size > word and value + size <= len(block) else 0
        if tag in _POINTERS:
            more.append(value)
    return total, more
