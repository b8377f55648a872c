"""Sphinx configuration; generated pages are made afresh at every build."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from generated import write_pages

from quintain.version import __version__

project = "Quintain"
author = "The Quintain developers"
copyright = "2026, the Quintain developers"
release = __version__

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "sphinx.ext.mathjax",
    "sphinx.ext.napoleon",
]
myst_enable_extensions = ["dollarmath", "colon_fence"]
myst_heading_anchors = 3
autodoc_typehints = "none"
autodoc_member_order = "bysource"
napoleon_google_docstring = False
napoleon_use_rtype = False
napoleon_preprocess_types = False
add_module_names = False
exclude_patterns = ["_build", "reference/_made/commands.md"]
html_theme = "furo"
html_title = "Quintain"
html_copy_source = False
suppress_warnings = ["ref.python"]  # field names recur across dataclasses

write_pages(Path(__file__).parent / "reference" / "_made")
