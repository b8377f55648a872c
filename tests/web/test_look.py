"""Rules of the look that hold in its files."""

from __future__ import annotations

import re
from pathlib import Path

import quintain.web

STATIC = Path(quintain.web.__file__).parent / "static"
CSS = (STATIC / "quintain.css").read_text(encoding="utf-8")


def tokens(block):
    return dict(re.findall(r"--([a-z0-9-]+): ([^;]+);", block))


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a, b):
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


LIGHT = tokens(CSS[CSS.index(":root {") : CSS.index("/* dark")])
SYSTEM_DARK = tokens(CSS[CSS.index(":root:not(.light)") : CSS.index(":root.dark")])
DARK = tokens(CSS[CSS.index(":root.dark") : CSS.index("--sans")])


def test_dark_is_the_same_by_system_and_by_switch():
    assert SYSTEM_DARK == DARK
    assert DARK


def test_contrast_of_text_and_marks():
    """WCAG 2.2, 1.4.3: 4.5 for text; 1.4.11: 3 for what is no text but carries meaning."""
    for theme in (LIGHT, DARK):
        for ground in ("paper", "sunk", "accent-wash"):
            for text in ("ink", "ink-2", "ink-3", "accent", "stop"):
                assert contrast(theme[text], theme[ground]) >= 4.5, (text, ground)
            for line in ("edge", "raw"):
                assert contrast(theme[line], theme[ground]) >= 3, (line, ground)
        assert contrast(theme["on-accent"], theme["accent"]) >= 4.5
        assert contrast(theme["on-stop"], theme["stop-fill"]) >= 4.5


def test_nothing_moves_and_nothing_is_fetched():
    for path in [*STATIC.glob("*.css"), *STATIC.glob("pages/*.css")]:
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.S)
        assert not re.search(r"transition:|animation:|@import|@font-face|url\(", text), path.name


def test_vendored_files_are_those_of_the_list():
    from hashlib import sha256

    here = Path(__file__).parents[1] / "data" / "vendored"
    for folder in (STATIC / "vendored", here):
        listed = re.findall(r"^\| (\S+) .*\| ([0-9a-f]{64}) \|$", (folder / "VENDORED.md").read_text(), re.M)
        assert listed
        for name, digest in listed:
            assert sha256((folder / name).read_bytes()).hexdigest() == digest, name
