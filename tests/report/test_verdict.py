"""The first sentence of a report."""

from __future__ import annotations

import dataclasses

import pytest

from quintain.domain.flags import FLAGS, flag
from quintain.quantities import GLOSSARY
from quintain.report.verdict import judge_analysis, judge_strike, numbers
from report import invented_analysis as invented


def _with(strike_flags: list[str], without: tuple[str, ...] = ()) -> invented.Strike:
    return invented.strike(1, 1.0, flags=strike_flags, without=without)


def test_four_words() -> None:
    sound, clipped = _with([]), _with(["clipped"], ("impulse", "peak_force"))
    assert judge_analysis(invented.analysis((sound,))).word == "Sound"
    doubted = judge_analysis(invented.analysis((sound, _with(["few-samples"]))))
    assert (doubted.word, doubted.mark) == ("With doubt", "doubt")
    undecided = judge_analysis(invented.analysis((clipped,)))
    assert undecided.word == "Undecided"
    assert FLAGS["clipped"].remedy in undecided.why
    assert judge_analysis(invented.analysis(())).word == "Undecided"


def test_overload_stops_whatever_else_is_sound() -> None:
    many = [_with([]) for _ in range(20)]
    unsafe = dataclasses.replace(many[3], number=4, flags=(flag("few-samples"), flag("overload")))
    verdict = judge_analysis(invented.analysis((*many[:3], unsafe, *many[4:])))
    assert (verdict.word, verdict.mark) == ("Stop", "stop")
    assert "strike 4" in verdict.sentence
    assert FLAGS["overload"].remedy in verdict.why
    whole = dataclasses.replace(invented.analysis(tuple(many)), flags=(flag("overload"),))
    assert judge_analysis(whole).word == "Stop"


def test_a_doubt_about_the_recording_is_never_sound() -> None:
    verdict = judge_analysis(invented.analysis((_with([]),), with_rig=False))
    assert verdict.word == "With doubt"
    assert "recording as a whole" in verdict.sentence


@pytest.mark.parametrize("code", sorted(FLAGS))
def test_no_flagged_strike_is_called_sound(code: str) -> None:
    assert judge_strike(_with([code])).word != "Sound"
    assert {*FLAGS[code].doubts, *FLAGS[code].withholds} <= set(GLOSSARY)


def test_runs_of_numbers_are_joined() -> None:
    assert numbers([1, 2, 4, 5, 6, 9]) == "1, 2, 4–6, 9"
    assert numbers(list(range(1, 60, 2)), at_most=3) == "1, 3, 5 and 27 more"
