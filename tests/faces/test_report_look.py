"""Reports as a reader meets them: structure, numbers, nothing from outside, words that stay words."""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
import stat
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from quintain.domain.analysis import Analysis
from quintain.domain.flags import Flag, flag
from quintain.domain.measured import Contribution, Measured
from quintain.errors import OutputError
from quintain.quantities import GLOSSARY
from quintain.report.rounding import shown
from quintain.report.strikes_content import FIGURES_AT_MOST, strikes_content
from report import invented_analysis as invented
from report.written import write_strikes_html, write_strikes_pdf

HOSTILE = (
    '<script>alert(1)</script> "\'&{{ 7411*13 }} #eval("1+1") $x^2$ *b* _i_ `raw` @ref \\ '
    "\x00\x1b[31m \u202egnp \ud800"
)
SHOWN_HOSTILE = '#eval("1+1") $x^2$ *b* _i_ `raw` @ref \\'


def _html(analysis: Analysis, folder: Path, *, is_invented: bool = True) -> str:
    path = write_strikes_html(analysis, folder / "report.html", invented=is_invented)
    return path.read_text(encoding="utf-8")


def _tree(html: str) -> ET.Element:
    """The page is written so that an XML parser accepts it: every element closed, every word escaped."""
    return ET.fromstring(html)


def _words(html: str | ET.Element) -> str:
    """The text a reader sees; narrow spaces inside numbers are kept."""
    tree = _tree(html) if isinstance(html, str) else html
    return re.sub(r"[ \n\t\u00a0]+", " ", "".join(tree.itertext()))


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invented.analysis()


@pytest.fixture(scope="module")
def html(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> str:
    return _html(analysis, tmp_path_factory.mktemp("report"))


def test_nothing_is_loaded_from_outside(html: str) -> None:
    assert "http" not in html
    assert "url(" not in html
    assert "@import" not in html
    assert "<script" not in html
    assert "<link" not in html
    for element in _tree(html).iter():
        for name in ("src", "href", "data", "style", "onload"):
            value = element.get(name, "")
            assert not value or value.startswith("#"), (element.tag, name, value)


def test_the_verdict_comes_first_in_words_and_led_by_a_shape(html: str) -> None:
    heading = _tree(html).find(".//h1")
    assert heading is not None
    assert "".join(heading.itertext()).startswith("With doubt. 6 of 8 strikes")
    assert heading[0].find("use").get("href") == "#m-doubt"  # type: ignore[union-attr]


def test_every_quantity_stands_with_its_uncertainty_unit_and_exact_value(
    html: str, analysis: Analysis
) -> None:
    words = _words(html)
    for strike in analysis.strikes:
        section = next(e for e in _tree(html).iter("section") if e.get("id") == f"strike-{strike.number}")
        said = _words(section)
        exact = {float(d.get("value", "nan")) for d in section.iter("data")}
        for name, measured in strike.quantities.items():
            assert GLOSSARY[name].label in said
            assert shown(measured).spread in said
            assert measured.value in exact
            assert GLOSSARY[name].definition in words
        for raised in strike.flags:
            assert raised.message in said


def test_what_is_not_stated_says_so_and_why(html: str) -> None:
    clipped = next(e for e in _tree(html).iter("section") if e.get("id") == "strike-3")
    rows = {"".join(r[0].itertext()): "".join(r.itertext()) for r in clipped.iter("tr")}
    for name in ("Peak force on the cell", "Impulse, whole event", "Time to peak force"):
        row = next(words for label, words in rows.items() if label.startswith(name))
        assert "not stated" in row
        assert "clipped" in row


def test_doubted_numbers_are_marked_and_sound_ones_are_not(html: str) -> None:
    doubted = [d for d in _tree(html).iter("data") if "doubted" in d.get("class", "")]
    assert any(d.text == "83.0" for d in doubted)  # several contacts doubt the contact time
    first = next(e for e in _tree(html).iter("section") if e.get("id") == "strike-1")
    assert not any("doubted" in d.get("class", "") for d in first.iter("data"))


def test_provenance_and_settings_are_whole(html: str, analysis: Analysis) -> None:
    words = _words(html)
    assert analysis.rig
    for part in (analysis.sha256, analysis.method.sha256, analysis.rig.version, "1\u202f234\u202f567 bytes"):
        assert part in words
    facts = {}
    for listing in _tree(html).iter("dl"):
        parts = ["".join(e.itertext()) for e in listing]
        facts.update(dict(zip(parts[::2], parts[1::2], strict=True)))
    assert facts["threshold sigmas"] == "8"
    assert facts["minimum force"] == "40 N"
    assert facts["merge gap"] == "0.027 s"
    assert facts["Software"] == "quintain 0.1.0"
    assert facts["Pad in use"].startswith("EVA: 800\u202f000 N/mⁿ, exponent 1.50, bottoms out at 35.0 mm")
    for step in analysis.history:
        assert step.function in words
        assert step.utc in words


def test_cautions_of_the_trade_and_local_rules_are_there(html: str) -> None:
    words = _words(html)
    asked = (
        "injure hands|dropped mass|mount and wall|safe limit|Local rules|not a medical device|never advice"
    )
    for part in asked.split("|"):
        assert part in words


def test_invented_data_are_called_so_and_others_are_not(analysis: Analysis, tmp_path: Path) -> None:
    assert "invented data" in _html(analysis, tmp_path)
    plain = dataclasses.replace(analysis, rig=None, path="afternoon.csv")
    assert "invented" not in _html(plain, tmp_path, is_invented=False)


def test_overload_is_a_stop_with_an_alert(tmp_path: Path) -> None:
    unsafe = invented.strike(1, 1.0, flags=["overload"])
    heading = _tree(_html(invented.analysis((unsafe,)), tmp_path)).find(".//h1")
    assert heading is not None
    assert heading.get("role") == "alert"
    assert "".join(heading.itertext()).startswith("Stop.")


@pytest.mark.parametrize("strikes", [(), None])
def test_reports_repeat_to_the_byte(strikes: tuple[()] | None, tmp_path: Path) -> None:
    for write in (write_strikes_html, write_strikes_pdf):
        first = write(invented.analysis(strikes), tmp_path / "a", invented=True).read_bytes()
        again = write(invented.analysis(strikes), tmp_path / "b", invented=True).read_bytes()
        assert first == again


def _hostile() -> Analysis:
    clean = invented.analysis(
        channel=HOSTILE, path=f"folder/{HOSTILE}.csv", unit_in_file=HOSTILE, rig_note=HOSTILE
    )
    strike = dataclasses.replace(
        invented.strike(1, 1.0),
        force_kind=HOSTILE,
        flags=(Flag("few-samples", HOSTILE, HOSTILE), Flag("of-a-later-version", HOSTILE, HOSTILE)),
    )
    quantities = dict(strike.quantities)
    quantities["impulse"] = Measured.of(
        "impulse", 38.0, [Contribution(HOSTILE, 0.2), Contribution("gain", 0.1)]
    )
    strike = dataclasses.replace(strike, quantities=quantities)
    step = dataclasses.replace(clean.history[0], function=HOSTILE, settings={HOSTILE: HOSTILE})
    return dataclasses.replace(clean, strikes=(strike,), flags=(Flag("gap", HOSTILE),), history=(step,))


def test_hostile_names_stay_words_in_html(tmp_path: Path) -> None:
    html = _html(_hostile(), tmp_path)
    assert "<script" not in html
    assert "96343" not in _words(html)
    assert "<script>alert(1)</script>" in _words(html)
    assert "{{ 7411*13 }}" in _words(html)
    assert not re.search("[\x00\x1b\u202e\ud800]", html)


def test_hostile_names_stay_words_in_pdf(tmp_path: Path) -> None:
    """Markup that was carried out would stop the compiler or vanish; the words reach it as data."""
    write_strikes_pdf(_hostile(), tmp_path / "r.pdf", invented=True)
    data = strikes_content(_hostile(), invented=True)
    assert SHOWN_HOSTILE in data["rig"][2]["value"]
    reader = shutil.which("pdftotext")
    if reader:
        read = subprocess.run([reader, "-raw", tmp_path / "r.pdf", "-"], capture_output=True, check=True)
        assert '#eval("1+1") $x^2$ *b* _i_ `raw` @ref' in " ".join(read.stdout.decode("utf-8").split())
    for template in (Path(invented.__file__).parents[2] / "src/quintain/report/templates").glob("*.typ"):
        source = template.read_text(encoding="utf-8")
        assert "eval(" not in source
        assert "@preview" not in source
        assert "mode:" not in source


def _long(count: int) -> Analysis:
    return invented.many(count)


def test_a_long_recording_gives_a_small_report_that_says_what_it_left_out(tmp_path: Path) -> None:
    html = _html(_long(600), tmp_path)
    # 60 figures of at most 30 kB, 600 small multiples of about 3 kB, 600 rows of about 1.5 kB
    assert len(html.encode()) < 6_000_000
    assert f"Figures for the first {FIGURES_AT_MOST} of 600 strikes" in html
    tree = _tree(html)
    assert (
        sum(1 for e in tree.iter("section") if (e.get("id") or "").startswith("strike-")) == FIGURES_AT_MOST
    )
    table = next(t for t in tree.iter("table") if "dense" in t.get("class", ""))
    assert len(table.findall("tbody/tr")) == 600
    alts = [s.get("aria-label", "") for s in tree.iter("svg") if "one scale" in s.get("aria-label", "")]
    assert alts[0].startswith("Strikes 1 to")
    assert " 600," in alts[-1]


def test_pdf_is_tagged_and_archival(tmp_path: Path, analysis: Analysis) -> None:
    """PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1) are declared in the file's metadata."""
    pdf = write_strikes_pdf(analysis, tmp_path / "r.pdf", invented=True).read_bytes()
    assert pdf.startswith(b"%PDF-1.7")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    undated = dataclasses.replace(analysis, history=())
    undated_pdf = write_strikes_pdf(undated, tmp_path / "u.pdf", invented=True).read_bytes()
    assert b"<pdfuaid:part>1</pdfuaid:part>" in undated_pdf


@pytest.mark.parametrize("write", [write_strikes_html, write_strikes_pdf])
def test_nothing_half_written(
    write, analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "report"
    target.write_bytes(b"what was there before")
    with monkeypatch.context() as patch:

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        patch.setattr(os, "replace", full)
        with pytest.raises(OutputError, match="No space left"):
            write(analysis, target, invented=True)
    assert target.read_bytes() == b"what was there before"
    assert [p.name for p in tmp_path.iterdir()] == ["report"]
    write(analysis, target, invented=True)
    assert target.read_bytes() != b"what was there before"
    assert stat.S_IMODE(target.stat().st_mode) & 0o600 == 0o600
    with pytest.raises(OutputError, match="cannot write here"):
        write(analysis, tmp_path / "no such folder" / "report", invented=True)
    with pytest.raises(OutputError, match="cannot write here"):
        write(analysis, tmp_path, invented=True)


def test_a_report_without_rig_strikes_or_history_still_speaks(tmp_path: Path) -> None:
    bare = dataclasses.replace(
        invented.analysis((), with_rig=False), history=(), path="", sha256="", n_bytes=0, flags=(flag("gap"),)
    )
    words = _words(_html(bare, tmp_path))
    assert "Undecided. No strike was found" in words
    assert "No rig file was given" in words
    assert "gap" in words
    write_strikes_pdf(bare, tmp_path / "bare.pdf", invented=False)


def test_strange_numbers_do_not_stop_a_report(tmp_path: Path) -> None:
    strange = invented.strike(1, 1.0)
    quantities = {
        "impulse": Measured("impulse", float("nan"), 0.1),
        "peak_force": Measured("peak_force", 3e9, 0.0),
        "peak_force_raw": Measured("peak_force_raw", -5.0, float("inf")),
        "energy": Measured("energy", 1e-12, 1e-15),
    }
    curve = dataclasses.replace(strange.curve, raw=np.full_like(strange.curve.raw, np.nan))
    changed = dataclasses.replace(strange, quantities=quantities, curve=curve, contacts=())
    words = _words(_html(invented.analysis((changed,)), tmp_path))
    assert "Energy into the pad" in words
    write_strikes_pdf(invented.analysis((changed,)), tmp_path / "s.pdf", invented=True)
