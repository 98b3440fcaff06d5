"""What every page of limner shares: one file, and a policy that lets only its own style, script and pictures in."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping


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


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
