"""How the documents become a site: make docs. It asks nothing of any other place, and works from a folder."""

from __future__ import annotations

import limner

project = "limner"
author = "the limner authors"
release = version = limner.__version__
extensions = ["myst_parser"]
myst_heading_anchors = 3
exclude_patterns = ["**.py"]
smartquotes = False  # they would make one dash of the two before an option
html_static_path = ["style"]
html_theme = "alabaster"
html_title = f"limner {version}"
html_theme_options = {
    "description": "Says where a painted portrait departs from its reference.",
    "fixed_sidebar": True,
    "page_width": "1080px",
    "body_max_width": "none",
    "show_powered_by": False,
}
html_show_copyright = False
html_use_index = False
html_copy_source = False
html_show_sourcelink = False
