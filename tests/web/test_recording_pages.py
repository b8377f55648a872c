"""A recording in the app: any zoom, its strikes over it, what cannot be read; over HTTP and in a browser."""

from __future__ import annotations

import re
import shutil
import struct
import threading
import time

import numpy as np
import pytest
from sqlalchemy import select

from patience import wait_for
from quintain.domain.trace import Trace
from quintain.readers.registry import read
from quintain.store.lab import Lab
from quintain.store.pyramid import build_pyramid
from quintain.store.schema import Recording
from quintain.tasks import zoom
from quintain.tasks.replay import curves_of
from quintain.tasks.zoom import build_zoom, corrected_in, look_into, open_zoom
from quintain.web import zooming
from web_server import token


def recording(folder, name):
    with Lab.open(folder) as lab, lab.reading() as database:
        return database.scalar(select(Recording.sha256).where(Recording.name == name))


def opened(client, sha256):
    """The page, once the recording is prepared."""

    def look():
        page = client.get(f"/recordings/{sha256}")
        return page if "data-trace" in page.text or page.status_code != 200 else None

    return wait_for(look, "the recording was not prepared")


def samples_of(answer):
    n, reduced, start, step = struct.unpack_from("<iidd", answer.content)
    return np.frombuffer(answer.content, "<f4", n, 24), reduced, start, step


def test_what_is_drawn_is_what_the_file_says(small_client, small_lab):
    sha256 = recording(small_lab, "blow_001.csv")
    opened(small_client, sha256)
    window = "start=0.75&end=0.85&pixels=900"
    drawn, reduced, start, step = samples_of(small_client.get(f"/recordings/{sha256}/trace?{window}"))
    with Lab.open(small_lab) as lab:
        told = read(lab.originals.path(sha256), rate=2000.0).trace().read()
    first = round(start / step)
    assert not reduced
    # float32 keeps seven digits
    assert drawn == pytest.approx(told[first : first + drawn.size], rel=1e-6, abs=1e-6)
    whole, *_ = samples_of(small_client.get(f"/recordings/{sha256}/trace?start=0&end=3.6&pixels=200"))
    assert np.nanmax(whole) <= told.max() + 1e-3


def test_corrected_curves_lie_on_the_recordings_own_scale(tmp_path):
    """A cell that reads backwards, with a gain and a zero, must not shift the curve."""
    time = np.arange(200) / 2000.0
    force = 800.0 * np.sin(np.pi * (time - 0.02) / 0.03) * (time > 0.02) * (time < 0.05)
    pyramid = build_pyramid(Trace.from_array(12.5 - force / 1.05, 2000.0), tmp_path, "backwards")
    slope, zero = zoom._scale(pyramid, time, force)
    # float32 holds 800 N to 3e-5 N
    assert slope == pytest.approx(-1 / 1.05, rel=1e-6)
    assert zero == pytest.approx(12.5, abs=1e-4)


def test_curves_over_the_recording(small_client, small_lab):
    sha256 = recording(small_lab, "blow_001.csv")
    opened(small_client, sha256)
    near = small_client.get(f"/recordings/{sha256}/corrected.json?start=0.7&end=1.0&pixels=900").json()[
        "series"
    ]
    assert len(near) == 1
    assert 0.7 <= near[0]["x"][0] < near[0]["x"][-1] <= 1.0
    with Lab.open(small_lab) as lab:
        curve = curves_of(lab, 2).force
    # the recording's zero lies below both, and every few points are sent
    height = max(near[0]["y"]) - near[0]["y"][0]
    assert height == pytest.approx(curve.corrected.max() - curve.corrected[0], rel=2e-3)
    far = small_client.get(f"/recordings/{sha256}/corrected.json?start=0&end=30&pixels=900").json()
    assert far == {"series": []}


def test_cache_taken_away_is_made_again(small_client, small_lab):
    sha256 = recording(small_lab, "blow_000.csv")
    opened(small_client, sha256)
    shutil.rmtree(small_lab / "cache" / "zoom")
    gone = small_client.get(f"/recordings/{sha256}/trace?start=0&end=1&pixels=100")
    assert gone.status_code == 409
    assert "load its page again" in gone.text
    assert "data-trace" in opened(small_client, sha256).text


def test_slow_preparation_says_how_far_it_is_and_can_be_stopped(small_client, small_lab, monkeypatch):
    sha256 = recording(small_lab, "force.csv")
    under_way, stopped = threading.Event(), threading.Event()

    def slow(lab, sha256, channel, *, progress):
        try:
            for done in range(1, 20_000):
                progress("samples", done, 24_000)
                under_way.set()
                time.sleep(0.01)
        finally:
            stopped.set()

    monkeypatch.setattr(zooming, "build_zoom", slow)
    page = small_client.get(f"/recordings/{sha256}")
    assert under_way.wait(60)
    assert "Preparing the recording for zooming" in page.text
    assert "Strikes of the recording" in page.text  # the rest does not wait
    part = small_client.get(f"/recordings/{sha256}/zoom")
    assert re.search(r"samples read: \d+ of 24000", part.text)
    form = {"csrf": token(small_client)}
    assert small_client.post(f"/recordings/{sha256}/zoom/stop", data=form).status_code == 303
    assert stopped.wait(60)
    monkeypatch.undo()
    assert "It was stopped" in small_client.get(f"/recordings/{sha256}").text
    small_client.post(f"/recordings/{sha256}/zoom/again", data=form)
    assert "data-trace" in opened(small_client, sha256).text


def test_curves_taken_away_are_named(small_lab):
    sha256 = recording(small_lab, "blow_000.csv")
    with Lab.open(small_lab) as lab:
        pyramid = build_zoom(lab, sha256, look_into(lab, sha256).force)
        shutil.rmtree(lab.cache / "curves")
        found, missing = corrected_in(lab, sha256, pyramid, 0.7, 1.2)
        assert (found, missing) == ((), (1,))
        curves_of(lab, 1)
        assert len(corrected_in(lab, sha256, pyramid, 0.7, 1.2)[0]) == 1
        assert open_zoom(lab, sha256, 0) is not None


def test_how_the_clocks_were_tied_is_said(small_client, small_lab):
    page = opened(small_client, recording(small_lab, "force.csv")).text
    (words,) = re.findall(r"<dt>Clocks</dt><dd>(.*?)</dd>", page)
    assert words.startswith("4 of 4 strikes matched by impacts alone, motion less force ")
    assert float(words.split("force ")[1].split()[0]) == pytest.approx(100.0, abs=0.002)  # edges within 1 ms
    assert re.search(
        r" ± 0\.\d+ s, drift [−\d.-]+ ± [\d.]+ ppm, a single strike within [\d.]+ ms of the line", words
    )
    assert "<dt>Clocks</dt>" not in opened(small_client, recording(small_lab, "blow_000.csv")).text


def test_channels_of_a_motion(small_client, small_lab):
    sha256 = recording(small_lab, "motion.csv")
    page = opened(small_client, sha256).text
    for name in ("ax", "gz", "acceleration", "angular rate", "rad/s"):
        assert name in page
    assert "force.csv" in page  # what it goes with
    other = small_client.get(f"/recordings/{sha256}?channel=3").text
    assert 'aria-current="true">gx' in other


def test_a_file_nobody_can_read_says_so_and_shows_the_rest(small_client, small_lab):
    sha256 = recording(small_lab, "broken.csv")
    page = small_client.get(f"/recordings/{sha256}")
    assert page.status_code == 200
    assert "The samples cannot be shown." in page.text
    assert "Who, what, when" in page.text
    assert sha256 in page.text
    assert str(small_lab) not in page.text


@pytest.mark.parametrize(
    "query",
    [
        "start=2&end=1&pixels=9",
        "start=0&end=1&pixels=0",
        "start=inf&end=1&pixels=9",
        "start=x&end=1&pixels=9",
    ],
)
def test_windows_that_are_none(small_client, small_lab, query):
    sha256 = recording(small_lab, "blow_000.csv")
    opened(small_client, sha256)
    assert small_client.get(f"/recordings/{sha256}/trace?{query}").status_code == 422


def test_unknown_recordings_and_kinds(small_client):
    assert small_client.get("/recordings/abcdef012345").status_code == 404
    assert small_client.get("/recordings?kind=films").status_code == 404
    assert "blow_000.csv" in small_client.get("/recordings").text


def ready(page):
    page.wait_for_selector("#trace[data-round-trip]", timeout=30_000)
    return page


def until(page, expression):
    """Wait for it from here: the page's own rules let nothing evaluate strings in it."""
    wait_for(lambda: page.evaluate(expression), expression)


def test_zoom_from_strike_to_strike_by_keys(small_browser, small_client, small_lab):
    sha256 = recording(small_lab, "blow_001.csv")
    opened(small_client, sha256)
    page = ready(small_browser.page(f"/recordings/{sha256}", dark=True))
    assert small_browser.faults(page) == []
    page.keyboard.press("j")
    until(page, "document.querySelector('#trace').figure.plots[0].chart.series.length > 1")
    low, high = page.evaluate("document.querySelector('#trace').figure.range")
    assert low < 0.8 < high
    page.keyboard.press("0")
    until(page, "document.querySelector('#trace').figure.range[0] === 0")


def test_faults_of_accessibility_in_light(small_browser, small_client, small_lab):
    sha256 = recording(small_lab, "motion.csv")
    opened(small_client, sha256)
    assert small_browser.faults(ready(small_browser.page(f"/recordings/{sha256}"))) == []
    assert small_browser.faults(small_browser.page("/recordings")) == []
