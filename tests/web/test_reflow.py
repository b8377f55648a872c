"""Pages on a phone and a tablet: tables and pictures alone scroll sideways (WCAG 2.2, 1.4.10)."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from sqlalchemy import select

from quintain.store.lab import Lab
from quintain.store.schema import Recording, Rig

PAGES = (
    "/", "/sessions", "/sessions/S1", "/sessions/S1/review", "/sessions/S1/plan", "/sessions/S1/edit",
    "/sessions/S1/large", "/strikes/1", "/strikes/4", "/recordings", "/recordings/{sha256}",
    "/recordings/{sha256}/state", "/people", "/people/P01", "/people/P01/edit", "/people/P01/identity",
    "/rigs", "/rigs/{rig}", "/rigs/{rig}/tap-test", "/rigs/{rig}/drop-test", "/studies", "/methods",
    "/import", "/jobs", "/reports", "/overlay?strikes=1,2", "/sign-in",
)  # fmt: skip


@pytest.mark.parametrize("width", [320, 768])
def test_no_page_is_wider_than_its_window(small_browser, small_lab, width):
    with Lab.open(small_lab) as lab, lab.reading() as database:
        sha256 = database.scalar(select(Recording.sha256).where(Recording.kind == "strikes"))
        rig = database.scalar(select(Rig.name))
    page = small_browser.page(width=width)
    wider = {}
    for path in PAGES:
        answer = page.goto(small_browser.server + path.format(sha256=sha256, rig=quote(rig)))
        assert answer.status == 200, path
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            wider[path] = wide
    assert wider == {}
