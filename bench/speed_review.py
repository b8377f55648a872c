"""
Review by keyboard in Debian's Chromium: from the press of a key to the next strike painted.

A reviewer looks at a strike for a moment before the next key, and meanwhile the next one is fetched; the
shortest look taken here is half a second. Without any look the page waits for the server.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from bench.row import Row
from bench.served import demo_lab, started
from quintain.store.lab import Lab
from quintain.store.queries import matching_strikes
from quintain.store.queries_filter import StrikeFilter
from quintain.tasks.review import wait_again

SESSION = "S-02"
STRIKES = 25
LOOK = 500
"""Between two keys. [ms]"""

_WATCH = """() => {
  window.steps = [];
  let pressed = null;
  addEventListener('keydown', (event) => { pressed = event.timeStamp; }, true);
  new MutationObserver(() => {
    if (pressed === null) return;
    const began = pressed;
    pressed = null;
    // the frame that follows is drawn before a task that is queued inside of it
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => window.steps.push(performance.now() - began);
      channel.port2.postMessage(0);
    });
  }).observe(document.getElementById('stage'), { childList: true });
}"""


def run() -> list[Row]:
    chromium = shutil.which("chromium")
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        lab = demo_lab(Path(folder))
        _take_back(lab)
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        try:
            with started(lab) as served:
                return _measure(browser, served.address)
        finally:
            browser.close()


def _take_back(folder: Path) -> None:
    """Let every strike of the session wait again."""
    with Lab.open(folder) as lab:
        for strike in matching_strikes(
            lab, StrikeFilter(sessions=(SESSION,), states=("accepted", "rejected"))
        ):
            wait_again(lab, strike, who="bench")


def _measure(browser: Any, address: str) -> list[Row]:
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.goto(f"{address}/sessions/{SESSION}/review", wait_until="networkidle")
    page.evaluate(_WATCH)
    looked = _steps(page, "j", LOOK)
    held = _steps(page, "k", 0)
    accepted = _steps(page, "a", LOOK)
    return [
        Row("next strike painted after a look, median", float(np.median(looked)), "ms"),
        Row("next strike painted after a look, p95", float(np.quantile(looked, 0.95)), "ms", at_most=100),
        Row("accepted and next strike painted, p95", float(np.quantile(accepted, 0.95)), "ms", at_most=100),
        Row("next strike painted without a look, median", float(np.median(held)), "ms"),
    ]


def _steps(page: Any, key: str, look: int) -> list[float]:
    page.evaluate("window.steps = []")
    for i in range(STRIKES - 1):
        page.keyboard.press(key)
        page.wait_for_function("n => window.steps.length > n", arg=i)
        page.wait_for_timeout(look)
    steps: list[float] = page.evaluate("window.steps")
    return steps
