"""
The look of figures and reports: colours by meaning, and the rules drawn with them.

Blue is what we state, grey what the sensor said, orange-red unsafe, ink everything else. Inside a
page the rules refer to its custom properties and so follow light and dark; a figure that stands
alone carries the light colours itself.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["CHART_RULES", "DARK", "LIGHT", "MARKS", "page_colours", "standalone"]

LIGHT: Mapping[str, str] = {
    "paper": "#fbfbfa",
    "sunk": "#f1f2f0",
    "hair": "#dcdedb",
    "wash": "#e6e8e5",
    "edge": "#7d817e",
    "raw": "#7d817e",
    "ink": "#1b1d1f",
    "ink-2": "#4b4f50",
    "ink-3": "#5f6464",
    "accent": "#0067a3",
    "accent-pale": "#e9f2f8",
    "band": "#b3d3e7",
    "stop": "#a83c00",
}

DARK: Mapping[str, str] = {
    "paper": "#16181a",
    "sunk": "#202326",
    "hair": "#303437",
    "wash": "#292d30",
    "edge": "#7c8286",
    "raw": "#82888b",
    "ink": "#e7e8e6",
    "ink-2": "#b9bcbb",
    "ink-3": "#989d9d",
    "accent": "#62b5e8",
    "accent-pale": "#1a2a35",
    "band": "#2b5d7d",
    "stop": "#ff9660",
}

MARKS: Mapping[str, str] = {
    "sound": '<circle class="m-fill" cx="6" cy="6" r="4.5"/>',
    "doubt": '<path class="m-line" d="M6 .8 11.2 6 6 11.2 .8 6Z"/>',
    "open": '<rect class="m-line" x="1.6" y="1.6" width="8.8" height="8.8"/>',
    "stop": '<path class="m-fill m-stop" d="M6 .5 12 11.5H0Z"/>',
}
"""Shapes of the four verdicts, in a box of 12 by 12."""

CHART_RULES = """
.chart text { font-size: 12px; fill: var(--ink-3); paint-order: stroke; stroke: var(--paper);
  stroke-width: 4px; stroke-linejoin: round; }
.chart .name { fill: var(--ink); font-weight: 700; }
.chart .lab { fill: var(--ink-2); }
.chart .lab-k { fill: var(--ink); font-weight: 700; }
.chart .lab-a { fill: var(--accent); }
.chart .mid { text-anchor: middle; }
.chart .fin { text-anchor: end; }
.chart .small { font-size: 11px; stroke-width: 0; }
.chart path { fill: none; }
.chart .grid { stroke: var(--hair); stroke-width: 1; }
.chart .axis { stroke: var(--edge); stroke-width: 1; }
.chart .event { stroke: var(--ink-2); stroke-width: 1; }
.chart .limit { stroke: var(--edge); stroke-width: 1; stroke-dasharray: 6 4; }
.chart .raw { stroke: var(--raw); stroke-width: 1; stroke-linejoin: round; }
.chart .dots { stroke: var(--raw); stroke-width: 2.8; stroke-linecap: round; }
.chart .cor { stroke: var(--accent); stroke-width: 1.5; stroke-linejoin: round; }
.chart .band { fill: var(--band); stroke: none; }
.chart .pale { fill: var(--accent-pale); stroke: none; }
.chart .pt { fill: var(--accent); }
.chart .pt-o { fill: var(--paper); stroke: var(--accent); stroke-width: 1.5; }
.chart .err { stroke: var(--accent); stroke-width: 1.25; }
.chart .m-line { fill: none; stroke: var(--ink); stroke-width: 1.6; }
.chart .m-fill { fill: var(--ink); }
.chart .m-stop { fill: var(--stop); }
"""


def page_colours() -> str:
    """The custom properties of a page, light by default and dark by the reader's wish on a screen."""
    light = " ".join(f"--{name}: {colour};" for name, colour in LIGHT.items())
    dark = " ".join(f"--{name}: {colour};" for name, colour in DARK.items())
    return (
        f":root {{ color-scheme: light; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ color-scheme: dark; {dark} }} }}\n"
    )


def standalone(figure: str, *, font: str = "DejaVu Sans", paper: str = "#ffffff") -> str:
    """
    A figure as a file of its own: with the light colours, a font and the SVG name space.

    Parameters
    ----------
    figure : str
        Markup as the drawing functions return it, ``<svg class="chart" ...>``.
    font : str
        Family of its text.
    paper : str
        Colour behind the figure, for the halo round its text.
    """
    colours = {**LIGHT, "paper": paper}
    rules = re.sub(r"var\(--([\w-]+)\)", lambda m: colours[m[1]], CHART_RULES)
    style = f"<style>.chart text {{ font-family: '{font}'; }}{rules}</style>"
    head, body = figure.split(">", 1)
    return f'{head} xmlns="http://www.w3.org/2000/svg">{style}{body}'
