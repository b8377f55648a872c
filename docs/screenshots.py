"""
Pictures for README and documentation from the invented lab: the app in Debian's Chromium, and one figure.

``make screenshots`` writes them to docs/pictures, and docs/strike.svg; look at them before you commit them.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import httpx
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))  # run as a file, the folder of bench is not on the path

from bench.served import demo_lab, started

from quintain.report.figures.strike import draw_strike
from quintain.report.figures.style import standalone
from quintain.store.lab import Lab
from quintain.tasks.current_analysis import current_analysis

PLACE = Path(__file__).parent / "pictures"
LARGEST = 200_000
"""Bytes of a picture."""


class Shot(NamedTuple):
    """A picture: its name, the page, and how it is looked at."""

    name: str
    path: str
    dark: bool = False
    width: int = 1280
    height: int = 800


def shots(address: str) -> Iterator[Shot]:
    """The main pages; numbers of strikes and recordings are asked of the lab itself."""
    with httpx.Client(base_url=address, timeout=60) as client:
        found = client.get(
            "/api/strikes", params={"session": "S-03", "sort": "impulse", "down": 1, "count": 1}
        )
        strike = found.json()["strikes"][0]
        waiting = client.get("/api/strikes", params={"state": "waiting", "count": 1}).json()["strikes"]
        rig = client.get("/api/rigs").json()[-1]["name"]
        window = {"start": 0, "end": 1, "points": 10}
        while (
            client.get(f"/api/recordings/{strike['recording_sha256']}/window", params=window).status_code
            == 202
        ):
            pass  # a recording is prepared for zooming when it is first looked at
    yield Shot("overview", "/")
    yield Shot("recording", f"/recordings/{strike['recording_sha256']}")
    yield Shot("strike", f"/strikes/{strike['id']}")
    yield Shot("strike-dark", f"/strikes/{strike['id']}", dark=True)
    if waiting:
        yield Shot("review", f"/sessions/{waiting[0]['session']}/review", dark=True)
    yield Shot("session", "/sessions/S-03")
    yield Shot("rig", f"/rigs/{rig}")
    yield Shot("person-dark", f"/people/{strike['person']}", dark=True)
    yield Shot("study", "/studies/days")


def take(browser: Any, address: str, shot: Shot) -> str:
    """Take a picture; say what is wrong with it, if anything."""
    context = browser.new_context(
        viewport={"width": shot.width, "height": shot.height},
        color_scheme="dark" if shot.dark else "light",
    )
    page = context.new_page()
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: faults.append(str(e)))
    answer = page.goto(address + shot.path, wait_until="networkidle", timeout=60_000)
    page.wait_for_timeout(500)  # charts are drawn in the frame after their data came
    file = PLACE / f"{shot.name}.png"
    page.screenshot(path=file)
    # the pages are of few colours: a palette says the same in a third of the bytes
    Image.open(file).quantize(192, dither=Image.Dither.NONE).save(file, optimize=True)
    context.close()
    if answer.status != 200:
        faults.append(f"status {answer.status}")
        file.unlink()
    elif file.stat().st_size > LARGEST:
        faults.append(f"{file.stat().st_size / 1e3:.0f} kB is more than {LARGEST / 1e3:.0f} kB")
    return "; ".join(faults)


def draw(lab: Path, number: int = 7) -> None:
    """Draw a strike of the first session as the README shows it."""
    with Lab.open(lab) as opened:
        analysis = current_analysis(opened, "first.csv")
    strike = next(s for s in analysis.strikes if s.number == number)
    svg = standalone(draw_strike(strike, rate=analysis.rate))
    (Path(__file__).parent / "strike.svg").write_text(svg, encoding="utf-8")


def main() -> int:
    """Take all pictures; return 1 if one could not be taken as it should be."""
    chromium = shutil.which("chromium")
    if chromium is None:
        print("Chromium is not installed; on Debian: apt-get install chromium")
        return 1
    PLACE.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        lab = demo_lab(Path(folder))
        draw(lab)
        failed = _take_all(lab, chromium)
    return int(failed > 0)


def _take_all(lab: Path, chromium: str) -> int:
    from playwright.sync_api import sync_playwright

    failed = 0
    with started(lab) as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for shot in shots(served.address):
            problem = take(browser, served.address, shot)
            failed += bool(problem)
            print(f"{shot.name}: {problem or 'taken'}")
        browser.close()
    return failed


if __name__ == "__main__":
    sys.exit(main())
