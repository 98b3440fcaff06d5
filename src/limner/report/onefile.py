"""What every page of limner shares: one file, and a policy that lets only its own style, script and pictures in."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping

from markupsafe import Markup, escape

_TYPED = re.compile(r"`([^`]{1,60})`|(?<![\w-])(--[a-z][a-z-]*[a-z])")
"""What is to be typed: between backticks, or an option by its name."""


def policy(style: str, script: str) -> str:
    """The Content-Security-Policy of a page with exactly this style and this script."""
    return (
        f"default-src 'none'; img-src data:; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def closed(*scripts: str) -> str:
    """Several scripts as one that leaves nothing behind in the page's own names."""
    body = "\n".join(scripts)
    return f'"use strict";\n(() => {{\n{body}}})();\n'


def as_data(held: Mapping[str, object]) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(held, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def data_url(data: bytes, kind: str) -> str:
    """A file as an address that needs nothing from afar; ``kind`` as in ``image/jpeg``."""
    return f"data:{kind};base64," + base64.b64encode(data).decode()


def typed(text: str) -> Markup:
    """A text in which what is to be typed is set apart, and never broken in two at its hyphens.

    >>> print(typed("See `--hold eyes` & --corners, 9 -- 10."))
    See <span class="typed">--hold eyes</span> &amp; <span class="typed">--corners</span>, 9 -- 10.
    """
    out, done = Markup(""), 0
    for found in _TYPED.finditer(text):
        word = escape(found[1] or found[2])
        out += escape(text[done : found.start()]) + Markup('<span class="typed">') + word + Markup("</span>")
        done = found.end()
    return out + escape(text[done:])


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
