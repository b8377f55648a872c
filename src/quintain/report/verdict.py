"""The first sentence of a report: one of four words, led by a shape, in plain language."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from quintain.domain.analysis import Analysis
from quintain.domain.flags import FLAGS, Flag
from quintain.domain.strike import Strike

__all__ = ["UNSAFE", "Verdict", "judge_analysis", "judge_strike", "numbers"]

UNSAFE = frozenset({"overload"})
"""Codes of flags that mean: stop."""

_MAIN = ("impulse", "peak_force")


@dataclass(frozen=True, slots=True)
class Verdict:
    """``mark`` names a shape of :data:`~quintain.report.figures.style.MARKS`; ``word`` is always written."""

    mark: str
    word: str
    sentence: str
    why: str = ""


def _is_unsafe(flags: Iterable[Flag]) -> bool:
    return any(flag.code in UNSAFE for flag in flags)


def _states_nothing(strike: Strike) -> bool:
    return not any(name in strike.quantities for name in _MAIN)


def judge_strike(strike: Strike) -> Verdict:
    """Judge one strike by its flags and by what could be stated of it."""
    if _is_unsafe(strike.flags):
        return Verdict("stop", "Stop", "The cell was overloaded.")
    if _states_nothing(strike):
        return Verdict("open", "Undecided", "Neither impulse nor peak force can be stated.")
    if strike.flags:
        missing = [name for name in _MAIN if name not in strike.quantities]
        words = {"impulse": "Impulse is not stated.", "peak_force": "Peak force is not stated."}
        return Verdict("doubt", "With doubt", " ".join(words[name] for name in missing))
    return Verdict("sound", "Sound", "")


def judge_analysis(analysis: Analysis) -> Verdict:
    """
    Judge a recording: Stop for an unsafe flag, Undecided where no strike could be measured, With
    doubt for any other flag, else Sound.
    """
    strikes = analysis.strikes
    unsafe = [s.number for s in strikes if _is_unsafe(s.flags)]
    if unsafe or _is_unsafe(analysis.flags):
        on = f" on {_strikes(unsafe)}" if unsafe else ""
        return Verdict("stop", "Stop", f"The cell was loaded beyond its safe limit{on}.", _remedies(UNSAFE))
    if not strikes:
        why = (
            "Check that the right channel was analysed and that its forces pass the least force of a strike."
        )
        return Verdict("open", "Undecided", "No strike was found in this recording.", why)
    mute = [s for s in strikes if _states_nothing(s)]
    if len(mute) == len(strikes):
        codes = {flag.code for s in mute for flag in s.flags}
        said = "Neither impulse nor peak force can be stated for any strike."
        return Verdict("open", "Undecided", said, _remedies(codes))
    doubted = [s for s in strikes if s.flags]
    if doubted or analysis.flags:
        return Verdict("doubt", "With doubt", _doubts(analysis, doubted), _missing(strikes))
    return Verdict("sound", "Sound", f"{_count(len(strikes))}, none with a doubt.")


def _doubts(analysis: Analysis, doubted: Sequence[Strike]) -> str:
    total = len(analysis.strikes)
    about = " The recording as a whole carries a doubt." if analysis.flags else ""
    if not doubted:
        return f"{_count(total)}, none with a doubt of its own.{about}"
    if total == 1:
        return f"One strike, and it carries a doubt.{about}"
    if len(doubted) == total:
        return f"All {total} strikes carry a doubt.{about}"
    carry = "carries" if len(doubted) == 1 else "carry"
    return f"{len(doubted)} of {total} strikes {carry} a doubt; the others are sound.{about}"


def _missing(strikes: Sequence[Strike]) -> str:
    parts = []
    for name, words in (("peak_force", "Peak force"), ("impulse", "Impulse")):
        without = [s.number for s in strikes if name not in s.quantities]
        if without:
            parts.append(f"{words} is not stated for {_strikes(without)}.")
    return " ".join(parts)


def _remedies(codes: Iterable[str]) -> str:
    return " ".join(FLAGS[code].remedy for code in sorted(codes) if code in FLAGS)


def _count(n: int) -> str:
    return "One strike" if n == 1 else f"{n} strikes"


def _strikes(which: Sequence[int]) -> str:
    return f"strike {which[0]}" if len(which) == 1 else f"strikes {numbers(which)}"


def numbers(which: Sequence[int], *, at_most: int = 12) -> str:
    """
    Strike numbers in a row, runs joined.

    Examples
    --------
    >>> numbers([3, 5, 6, 7, 9])
    '3, 5–7, 9'
    """
    runs: list[list[int]] = []
    for n in which:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    words = [str(r[0]) if len(r) == 1 else f"{r[0]}{', ' if len(r) == 2 else '–'}{r[-1]}" for r in runs]
    left = sum(len(r) for r in runs[at_most:])
    return ", ".join(words[:at_most]) + (f" and {left} more" if left else "")
