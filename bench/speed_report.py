"""Figures and reports: one figure, the same curves by a plotting library, and a report of 600 strikes."""

from __future__ import annotations

import io
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bench.row import Row

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))


def _least(call: Callable[[], Any], times: int) -> float:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(time.perf_counter() - start)
    return min(spent)


def run() -> list[Row]:
    from matplotlib.figure import Figure

    from quintain.report.figures.strike import draw_strike
    from quintain.report.output import write_html, write_pdf
    from quintain.report.strikes_content import PRINTED_HEIGHT, strikes_content
    from report import invented_analysis as invented

    strike = invented.strikes()[0]
    curve = strike.curve

    def by_library() -> None:
        figure = Figure(figsize=(7.3, 3.3))
        axes = figure.add_subplot()
        half = 1.96 * curve.u_corrected
        axes.fill_between(curve.time, curve.corrected - half, curve.corrected + half)
        axes.plot(curve.raw_time, curve.raw, ".-")
        axes.plot(curve.time, curve.corrected)
        figure.savefig(io.BytesIO(), format="svg")

    one = _least(lambda: draw_strike(strike, rate=invented.RATE), 20)
    library = _least(by_library, 5)
    long = invented.many(600)
    with tempfile.TemporaryDirectory() as folder:
        html, pdf = Path(folder) / "r.html", Path(folder) / "r.pdf"
        html_time = _least(lambda: write_html("strikes", strikes_content(long, invented=True), html), 1)
        printed = {"invented": True, "figure_height": PRINTED_HEIGHT}
        pdf_time = _least(lambda: write_pdf("strikes", strikes_content(long, **printed), pdf), 1)
        size = html.stat().st_size / 1e6
    return [
        Row("figure of a strike", 1e3 * one, "ms", at_most=60),
        Row("plotting library's time over ours", library / one, "times"),
        Row("HTML of 600 strikes", html_time, "s", at_most=10),
        Row("PDF of 600 strikes", pdf_time, "s", at_most=30),
        Row("size of that HTML", size, "MB", at_most=10),
    ]
