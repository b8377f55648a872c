"""The page of parts in a real browser: what every page is made of."""

from __future__ import annotations

import json

import pytest

from quintain.report.rounding import number, rounded


def ready(page):
    page.wait_for_selector("#strike[data-drawn]")
    page.wait_for_selector("#long[data-round-trip]")
    return page


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(browser, dark):
    page = ready(browser.page("/parts", dark=dark))
    assert browser.faults(page) == []
    page.click("[data-opens=reject]")
    assert browser.faults(page) == []


def test_theme_is_kept_and_charts_follow(browser):
    page = ready(browser.page("/parts"))
    paper = "getComputedStyle(document.documentElement).backgroundColor"
    assert page.evaluate(paper) == "rgb(251, 251, 250)"
    strokes = "document.querySelector('#strike').figure.plots[0].plot.series[4].stroke()"
    assert page.evaluate(strokes) == "#0067a3"
    with page.expect_response("**/theme"):
        page.click("button[value=dark]")
    page.wait_for_function(f"{strokes} === '#62b5e8'")
    page.reload()
    assert page.evaluate(paper) == "rgb(22, 24, 26)"
    assert page.get_attribute("button[value=dark]", "aria-pressed") == "true"


def test_cursor_moves_in_all_charts_by_keys_and_says_what_it_reads(browser):
    page = ready(browser.page("/parts"))
    page.focus("#strike .stage >> nth=0")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    lefts = page.evaluate("document.querySelector('#strike').figure.plots.map(p => p.plot.cursor.left)")
    assert lefts[0] > 0
    assert lefts[0] == pytest.approx(lefts[1], abs=1)  # one pixel
    said = page.inner_text("#strike .readout")
    assert "corrected" in said
    assert "± " in said
    assert " ms" in said


def test_zoom_by_keys_and_by_dragging(browser):
    page = ready(browser.page("/parts"))
    width = "(([a, b]) => b - a)(document.querySelector('#strike').figure.range)"
    whole = page.evaluate(width)
    page.focus("#strike .stage >> nth=0")
    page.keyboard.press("+")
    assert page.evaluate(width) == pytest.approx(whole / 2)
    page.keyboard.press("0")
    assert page.evaluate(width) == pytest.approx(whole)
    box = page.locator("#strike .u-over >> nth=0").bounding_box()
    x, y = box["x"] + box["width"] * 0.25, box["y"] + 50
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + box["width"] / 4, y, steps=4)
    page.mouse.up()
    # a pixel of the box is 1/600 of it; two for both ends
    assert page.evaluate(width) == pytest.approx(whole / 4, rel=0.02)


def test_long_recording_is_asked_for_again_when_zoomed(browser):
    page = ready(browser.page("/parts"))
    figure = "document.querySelector('#long').figure"
    page.evaluate(f"{figure}.moveTo(10.007)")
    for _ in range(12):
        before = page.get_attribute("#long", "data-views")
        page.focus("#long .stage")
        page.keyboard.press("+")
        page.wait_for_function(
            "before => document.querySelector('#long').dataset.views !== before", arg=before
        )
    xs = page.evaluate(f"Array.from({figure}.plots[0].chart.series[0].x)")
    assert xs[1] - xs[0] == pytest.approx(1 / 5000)  # samples themselves, at 5 kHz


def test_table_sorts_and_rows_without_a_number_stay_last(browser):
    page = ready(browser.page("/parts"))
    numbers = "[...document.querySelectorAll('table[data-sortable] tbody tr')].map(r => r.cells[1].innerText)"
    page.click("table[data-sortable] th:has-text('peak force') button")
    assert page.evaluate(numbers) == ["1", "2", "3", "4"]
    page.click("table[data-sortable] th:has-text('peak force') button")
    assert page.evaluate(numbers) == ["3", "2", "1", "4"]
    assert page.get_attribute("thead th:has-text('peak force')", "aria-sort") == "descending"


def test_dialog_takes_the_focus_and_escape_changes_nothing(browser):
    page = ready(browser.page("/parts"))
    page.click("[data-opens=reject]")
    assert page.evaluate("document.activeElement.name") == "reason"
    page.keyboard.press("Escape")
    assert page.evaluate("document.querySelector('#reject').open") is False
    assert page.evaluate("document.activeElement.dataset.opens") == "reject"


def test_everything_pressed_is_reached_by_tab_and_shows_its_focus(browser):
    page = ready(browser.page("/parts"))
    seen = []
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                "(e => [e.id || e.className || e.tagName, getComputedStyle(e).outlineStyle])"
                "(document.activeElement)"
            )
        )
        if seen[-1][0] == "BODY":
            break
    assert seen[0][0] == "skip"
    assert any("stage" in name for name, _ in seen)
    assert {style for name, style in seen if name != "BODY"} == {"solid"}


def test_readable_without_scripts(browser):
    page = browser.page("/parts", java_script_enabled=False)
    assert page.is_visible("#strike .fallback table")
    assert "38.4" in page.inner_text("#strike .fallback")


@pytest.mark.parametrize("width", [820, 1920])
def test_page_is_not_wider_than_its_window(browser, width):
    page = ready(browser.page("/parts", width=width))
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_numbers_in_the_browser_are_those_of_the_reports(browser):
    page = ready(browser.page("/parts"))
    cases = [
        (value * scale, u * scale)
        for value in (38.4234, -8.6012, 3216.7, 0.0, 1.0, 0.9996, 123456.7)
        for u in (0.0999, 0.1413, 0.21, 2.96, 9.6, 48.0)
        for scale in (1e-3, 1.0, 1e3)
    ]
    source = page.evaluate(
        "performance.getEntriesByType('resource').find(r => /numbers.js/.test(r.name)).name"
    )
    script = f"import({json.dumps(source)}).then(m => cases.map(([v, u]) => m.rounded(v, u)))"
    ours = page.evaluate(f"cases => {script}", cases)
    assert [tuple(o) for o in ours] == [rounded(v, u) for v, u in cases]
    script = f"import({json.dumps(source)}).then(m => cases.map(([v]) => m.number(v, 4)))"
    assert page.evaluate(f"cases => {script}", cases) == [number(v, 4) for v, _ in cases]


def test_first_load_is_small(browser):
    page = browser.page("/")
    page.wait_for_load_state("networkidle")
    sizes = page.evaluate(
        "[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]"
        ".map(r => r.encodedBodySize)"
    )
    assert sum(sizes) <= 250_000  # the goal of the project
    assert len(sizes) <= 8


def test_many_samples_a_pixel_are_painted_from_the_least_to_the_greatest(browser):
    page = ready(browser.page("/parts"))
    raw = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--raw').trim()")
    painted = page.evaluate("""async () => {
      const { figure } = document.querySelector("#long"), { plot, chart } = figure.plots[0];
      const [s] = chart.series;
      figure.setEvents([]);
      await new Promise(requestAnimationFrame);
      const { width, height } = plot.ctx.canvas, { data } = plot.ctx.getImageData(0, 0, width, height);
      const hex = (i) => [0, 1, 2].map((k) => data[i + k].toString(16).padStart(2, "0")).join("");
      const known = [...s.y.keys()].filter((i) => s.y[i] != null);
      const top = known.reduce((a, b) => (s.y[b] > s.y[a] ? b : a));
      const low = known.reduce((a, b) => (s.y[b] < s.y[a] ? b : a));
      const seen = (i, by) => {
        const [x, y] = [[s.x[i], "x"], [s.y[i], "y"]].map(([v, k]) => Math.round(plot.valToPos(v, k, true)));
        return [-1, 0, 1].map((k) => "#" + hex(4 * ((y + by) * width + x + k)));
      };
      return [s.reduced, seen(top, 2), seen(top, -4), seen(low, -2), seen(low, 4)];
    }""")
    reduced, in_top, over, in_low, under = painted
    assert reduced
    assert raw in in_top
    assert raw in in_low
    assert raw not in over + under
