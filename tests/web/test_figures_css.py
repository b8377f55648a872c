"""Figures look in a page as they do in a report."""

from __future__ import annotations

from importlib.resources import files

from quintain.report.figures.style import CHART_RULES


def test_a_page_draws_figures_by_the_rules_of_reports() -> None:
    sheet = (files("quintain.web") / "static" / "pages" / "figures.css").read_text(encoding="utf-8")
    assert sheet.endswith(CHART_RULES.strip().replace(".chart", "svg.chart") + "\n")
