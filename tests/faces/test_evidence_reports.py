"""Reports of drop tests, tap tests and static calibrations as a reader meets them."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from quintain.domain.drop import DropTest
from quintain.quantities import GLOSSARY
from quintain.report.rounding import shown
from report import invented_tests as invented
from report.written import (
    write_calibration_html,
    write_calibration_pdf,
    write_drops_html,
    write_drops_pdf,
    write_taps_html,
    write_taps_pdf,
)

Writer = Callable[..., Path]
ALL: list[tuple[Any, Writer, Writer]] = [
    (invented.drop_test(), write_drops_html, write_drops_pdf),
    (invented.tap_test(), write_taps_html, write_taps_pdf),
    (invented.calibration(), write_calibration_html, write_calibration_pdf),
]


def _words(html: str) -> str:
    return re.sub(r"[ \n\t\u00a0]+", " ", "".join(ET.fromstring(html).itertext()))


def _drops(test: DropTest, folder: Path) -> str:
    return write_drops_html(test, folder / "r.html", invented=True).read_text(encoding="utf-8")


def _heading(html: str) -> str:
    heading = ET.fromstring(html).find(".//h1")
    assert heading is not None
    return "".join(heading.itertext())


@pytest.mark.parametrize(("result", "as_html", "as_pdf"), ALL)
def test_every_report_is_whole_repeats_and_loads_nothing(
    result: Any, as_html: Writer, as_pdf: Writer, tmp_path: Path
) -> None:
    html = as_html(result, tmp_path / "a.html", invented=True).read_text(encoding="utf-8")
    assert html == as_html(result, tmp_path / "b.html", invented=True).read_text(encoding="utf-8")
    pdf = as_pdf(result, tmp_path / "a.pdf", invented=True).read_bytes()
    assert pdf == as_pdf(result, tmp_path / "b.pdf", invented=True).read_bytes()
    words = _words(html)
    assert "http" not in html
    assert "<script" not in html
    for part in (
        "invented data",
        "Local rules",
        "not a medical device",
        "Provenance",
        result.history[0].function,
    ):
        assert part in words


@pytest.mark.parametrize(
    ("verdict", "word"), [("pass", "Sound."), ("fail", "Stop."), ("undecided", "Undecided.")]
)
def test_the_verdict_on_the_chain_comes_first(verdict: str, word: str, tmp_path: Path) -> None:
    html = _drops(invented.drop_test(verdict), tmp_path)
    assert _heading(html).startswith(word)
    write_drops_pdf(invented.drop_test(verdict), tmp_path / "r.pdf", invented=True)


def test_a_pass_with_a_doubt_is_not_called_sound(tmp_path: Path) -> None:
    test = invented.drop_test()
    doubted = dataclasses.replace(test, drops=(*test.drops[:2], invented.drop(3, 0.8, verdict="undecided")))
    assert _heading(_drops(doubted, tmp_path)).startswith("With doubt.")


def test_every_number_of_a_drop_stands_with_its_uncertainty(tmp_path: Path) -> None:
    test = invented.drop_test()
    html = _drops(test, tmp_path)
    words = _words(html)
    exact = {float(d.get("value", "nan")) for d in ET.fromstring(html).iter("data")}
    for drop in test.drops:
        for name in ("height", "speed_by_height", "approach_speed", "gain", "restitution", "impulse"):
            assert drop.quantities[name].value in exact
            assert GLOSSARY[name].definition in words
        assert drop.reasons[0][1:] in words
    for gain in test.quantities.values():
        assert shown(gain).value in words
        assert shown(gain).spread in words
    assert "kept" in words
    assert "0.0025 kg" in words
    assert "guide and catch" in words.lower()
    assert html.count('class="pt"') >= 6  # gain and agreement, three drops each


def test_without_heights_bounces_speak_and_nothing_is_compared(tmp_path: Path) -> None:
    words = _words(_drops(invented.drop_test(heights=False), tmp_path))
    assert "Gain of the chain, from bounces alone" in words
    assert "agreement of force and height" not in words


def test_a_pad_that_bottoms_out_is_said_in_words(tmp_path: Path) -> None:
    assert "bottoms out: a harder blow" in _words(_drops(invented.drop_test(bottoms=True), tmp_path))
    assert "bottoms out: a harder blow" not in _words(_drops(invented.drop_test(), tmp_path))


def test_drops_that_were_not_found_leave_an_undecided_page(tmp_path: Path) -> None:
    none = dataclasses.replace(
        invented.drop_test("undecided"), drops=(), quantities={}, agreement=None, rig=None, reasons=()
    )
    assert _heading(_drops(none, tmp_path)).startswith("Undecided. 0 drops")
    write_drops_pdf(none, tmp_path / "r.pdf", invented=True)


def test_taps_say_which_pulses_can_be_trusted(tmp_path: Path) -> None:
    test = invented.tap_test()
    html = write_taps_html(test, tmp_path / "t.html", invented=True).read_text(encoding="utf-8")
    words = _words(html)
    assert "rings at 212.50 ± 0.10 Hz" in _heading(html).replace("\u00a0", " ")
    for part in ("pulses of 120 ms and longer", "pulses of 7.10 ms and longer", "up to 46.0 Hz", "611.0 Hz",
                 "Moving mass", "3.10", "1\u202f788", "Tapping."):  # fmt: skip
        assert part in words
    assert html.count('class="pt"') == 4
    doubted = write_taps_html(invented.tap_test(doubted=True), tmp_path / "d.html", invented=True)
    assert _heading(doubted.read_text(encoding="utf-8")).startswith("With doubt.")


def test_a_calibration_never_speaks_of_blows(tmp_path: Path) -> None:
    html = write_calibration_html(invented.calibration(), tmp_path / "c.html", invented=True)
    words = _words(html.read_text(encoding="utf-8"))
    assert "says nothing about how the cell reads an impact" in words
    assert "no certificate" in words
    assert "(200.00 ± 0.04) × 10⁻⁹ V/V/N" in words
    assert "Limited by reproducibility." in words
    none = write_calibration_html(invented.calibration(class_name=None), tmp_path / "n.html", invented=True)
    assert "no class of ISO 376" in _words(none.read_text(encoding="utf-8"))


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    words = '<script>#eval("1+1")</script> $x$ *b* \x00\u202e'
    drops, taps, loads = invented.hostile(words)
    for result, as_html, as_pdf in (
        (drops, write_drops_html, write_drops_pdf),
        (taps, write_taps_html, write_taps_pdf),
        (loads, write_calibration_html, write_calibration_pdf),
    ):
        html = as_html(result, tmp_path / "h.html", invented=True).read_text(encoding="utf-8")
        assert "<script" not in html
        assert '<script>#eval("1+1")' in _words(html)
        as_pdf(result, tmp_path / "h.pdf", invented=True)
