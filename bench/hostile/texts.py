"""Texts drawn from grammars near those of limner's files (hypothesis), not changed from a seed."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

from limner.config import KEYS
from limner.face.placeable import PLACEABLE

_scalars = (
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["hand", "found", "limner.points/1", "ab" * 32, "eyes", "a4"])
)
_anything = st.recursive(
    _scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=5,
)  # fmt: skip
_names = st.sampled_from(sorted(PLACEABLE)) | st.text(max_size=8)
_near = st.floats(0, 640) | st.integers(-1, 641)
_point = st.fixed_dictionaries(
    {"x": _near, "y": _near},
    optional={"sigma": st.floats(0, 2000), "source": st.sampled_from(["hand", "found", "x"]), "z": _scalars},
)
_picture = st.fixed_dictionaries({"width": st.just(640), "height": st.integers(1, 700), "sha256": st.none() | _scalars})
_whole = st.fixed_dictionaries(
    {"schema": st.just("limner.points/1"), "picture": _picture | _anything, "points": st.dictionaries(_names, _point)},
    optional={"unseen": st.lists(_names, max_size=4) | _anything, "more": _anything},
)
_spoilt = st.fixed_dictionaries(
    {"schema": st.sampled_from(["limner.points/1", "limner.points/2"]) | _anything},
    optional={"picture": _picture, "points": _anything | st.dictionaries(_names, _point | _anything, max_size=4)},
)


def points() -> st.SearchStrategy[bytes]:
    """Points files: right ones, nearly right ones, and other JSON."""
    return (_whole | _spoilt | _anything).map(lambda held: json.dumps(held).encode("utf-8", "surrogatepass"))


_keys = st.sampled_from([key.name for key in KEYS]) | st.from_regex(r"[a-z-]{1,10}(\.[a-z]{1,6})?", fullmatch=True)
_toml_words = st.sampled_from(
    ["true", "inf", "-nan", "0x1F", "1979-05-27", "[]", "{}", '[["ch_left", "gn"]]', '"""a\nb"""', "'~/x'", "1e5", "+1"]
)
_values = (
    _toml_words
    | st.integers(-5, 10**12).map(str)
    | st.floats().map(repr)
    | st.text(max_size=20).map(json.dumps)
    | st.text(max_size=8)
)
_lines = st.tuples(_keys, _values).map(" = ".join)
_heads = st.sampled_from(["[face]", "[points]", "[series]", "[notes]", "[[notes]]", "# words", "", "[a.b]"])


def config() -> st.SearchStrategy[bytes]:
    """Texts like a limner.toml."""
    return st.lists(_lines | _heads, max_size=7).map(lambda rows: "\n".join(rows).encode("utf-8", "surrogatepass"))


def by_name(name: str) -> st.SearchStrategy[Any]:
    """The texts for one target."""
    return {"points, drawn": points, "limner.toml, drawn": config}[name]()
