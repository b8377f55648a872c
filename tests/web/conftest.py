"""Fixtures of the app in the browser: a live server and Debian's Chromium."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest

from small_lab import make_small_lab
from web_server import access, empty_lab, serving

AXE = Path(__file__).parents[1] / "data" / "vendored" / "axe.min.js"
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def lab_folder(tmp_path_factory):
    return empty_lab(tmp_path_factory.mktemp("web"))


@pytest.fixture(scope="session")
def server(lab_folder) -> Iterator[str]:
    with serving(lab_folder) as address:
        yield address


@pytest.fixture(scope="session")
def small_lab(tmp_path_factory) -> Path:
    """Folder of a lab with seven strikes; whoever changes it leaves it usable for the others."""
    return make_small_lab(tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="session")
def small_server(small_lab) -> Iterator[str]:
    with serving(small_lab) as address:
        yield address


@pytest.fixture
def small_client(small_server) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=small_server, timeout=60) as client:
        yield client


@pytest.fixture
def small_browser(chromium, small_server) -> Iterator[Browser]:
    """As ``browser``, on the lab with strikes."""
    browser = Browser(chromium, small_server)
    yield browser
    browser.close()
    assert browser.errors == []
    assert browser.foreign == []


@pytest.fixture
def guarded(lab_folder) -> Iterator[str]:
    """A server that asks for passphrases."""
    with serving(lab_folder, access()) as address:
        yield address


@pytest.fixture
def client(server) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=server, timeout=60) as client:
        yield client


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("Chromium is not installed: apt-get install chromium (make test does it)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


class Browser:
    """Opens pages, and holds what went wrong in them: console errors and requests to other hosts."""

    def __init__(self, chromium: Any, server: str) -> None:
        self.server = server
        self._chromium = chromium
        self._contexts: list[Any] = []
        self.errors: list[str] = []
        self.foreign: list[str] = []

    def page(self, path: str = "/", *, dark: bool = False, width: int = 1280, **options: Any) -> Any:
        """A page in a context of its own, loaded."""
        context = self._chromium.new_context(
            viewport={"width": width, "height": 800}, color_scheme="dark" if dark else "light", **options
        )
        self._contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)  # the machine may be busy
        page.on("console", lambda m: self.errors.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: self.errors.append(str(e)))
        page.on("request", lambda r: self._seen(r.url))
        page.goto(self.server + path)
        return page

    def _seen(self, url: str) -> None:
        if urlsplit(url).netloc != urlsplit(self.server).netloc:
            self.foreign.append(url)

    def faults(self, page: Any) -> list[tuple[str, str]]:
        """
        Serious and critical findings of axe-core: WCAG 2.2 A and AA, and its best practice; and a part that
        would be loaded anew, were its page to bring what does it.
        """
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate(f"axe.run({{runOnly: {AXE_TAGS}}})")
        deaf = page.evaluate("!window.htmx && document.querySelector('[hx-get], [hx-post]')?.outerHTML")
        return [("without htmx", str(deaf)[:120])] * bool(deaf) + [
            (v["id"], v["nodes"][0]["html"][:120])
            for v in found["violations"]
            if v["impact"] in ("serious", "critical")
        ]

    def close(self) -> None:
        for context in self._contexts:
            context.close()


@pytest.fixture
def browser(chromium, server) -> Iterator[Browser]:
    """A browser whose pages may neither err nor speak to another host."""
    browser = Browser(chromium, server)
    yield browser
    browser.close()
    assert browser.errors == []
    assert browser.foreign == []
