"""
The report of a session for the coach: one page, large numbers, everybody against their own.

The printed page takes the largest figures with which everybody fits on one sheet (``session.typ``).
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

from quintain.domain.session_summary import SessionLine, SessionSummary, SessionValue
from quintain.quantities import GLOSSARY
from quintain.report.cautions import LOCAL_RULES, STRIKE_CAUTIONS
from quintain.report.parts import Fact, as_words
from quintain.report.rounding import number
from quintain.report.verdict import Verdict

__all__ = ["judge_session", "session_content"]

LARGE = 6
"""Lines up to which the figures of the page on a screen can be read across a room."""

_COLUMNS = ("peak_force", "impulse", "approach_speed", "effective_mass", "energy")
_SHORT = {
    "peak_force": "peak force on the cell",
    "impulse": "impulse",
    "approach_speed": "approach speed",
    "effective_mass": "effective mass",
    "energy": "energy into the pad",
}


def judge_session(summary: SessionSummary) -> Verdict:
    """How many strikes count, how many wait, and whether anything says stop."""
    n = summary.accepted + summary.waiting + summary.rejected
    if summary.unsafe:
        return Verdict("stop", "Stop", "The cell was loaded beyond its safe limit.",
                       "Check zero and calibration of the cell before the next strike.")  # fmt: skip
    if not n:
        return Verdict("open", "Undecided", "There is no strike in this session yet.")
    parts = [f"{summary.accepted} of {n} strikes accepted"]
    if summary.waiting:
        parts.append(f"{summary.waiting} wait for their review")
    if summary.rejected:
        parts.append(f"{summary.rejected} rejected")
    sentence = ", ".join(parts) + "."
    rig = summary.rig_verdict
    if rig and not rig.startswith("sound"):
        return Verdict("doubt", "With doubt", sentence, f"The rig: {rig}.")
    return Verdict(
        "open" if summary.waiting else "sound", "Undecided" if summary.waiting else "Sound", sentence
    )


def session_content(summary: SessionSummary, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    used = [name for name in _COLUMNS if any(name in line.values for line in summary.lines)]
    people = [
        {"code": code or "nobody named", "lines": [_line(line, used) for line in lines]}
        for code, lines in groupby(summary.lines, key=lambda line: line.person)
    ]
    title = summary.title or f"Session {summary.code}"
    return {
        "title": title + (f", {summary.person}" if summary.person else ""),
        "kind": "report of a session",
        "file": f"session {summary.code}",
        "note": "mean of the strikes that count, beside what is usual for the same person",
        "invented": invented,
        "verdict": as_words(judge_session(summary)),
        "why": "",
        "large": len(summary.lines) <= LARGE,
        "columns": [_head(name) for name in used],
        "people": people,
        "legend": "Grey band between its limits, usual: the middle 80 % of this person's own earlier "
        "accepted strikes of that type and side, where there are five or more. Blue bar: least to greatest "
        "of this session, the point its mean; blue numbers are these two. Nobody is held against anybody "
        "else. n: strikes that were not rejected; a diamond counts those with a doubt. The uncertainty of "
        "each strike is in the lab.",
        "provenance": [
            as_words(fact)
            for fact in (
                Fact("Session", summary.code),
                Fact("When", summary.when or "not stated"),
                Fact("Rig", summary.rig or "not stated"),
                Fact("Rig's evidence", summary.rig_verdict or "none"),
                Fact("Made", f"{summary.made} by quintain {summary.software}"),
            )
        ],
        "cautions": [as_words(caution) for caution in STRIKE_CAUTIONS],
        "local_rules": LOCAL_RULES,
        "software": summary.software,
        "date": summary.made,
    }


def _head(name: str) -> str:
    unit = GLOSSARY[name].shown_unit
    return f"{_SHORT[name]}, {unit}" if unit != "1" else _SHORT[name]


def _line(line: SessionLine, used: list[str]) -> dict[str, Any]:
    return {
        "strike": " ".join(part for part in (line.type or "not told", line.side) if part),
        "n": str(line.n),
        "doubted": str(line.n_doubted) if line.n_doubted else "",
        "cells": [_cell(line.values.get(name), name) for name in used],
    }


def _cell(value: SessionValue | None, name: str) -> dict[str, Any]:
    if value is None:
        return {"mean": "", "range": "", "usual": "", "upper": "", "lower": "", "strip": None}
    factor = GLOSSARY[name].shown_factor

    def said(v: float) -> str:
        return number(v * factor, 3)

    several, usual = value.n > 1, value.usual
    low, high = said(value.low), said(value.high)
    if usual is not None:
        lower, upper = said(usual.low), said(usual.high)
    else:
        lower, upper = (low, high) if several else ("", "")
    return {
        "mean": said(value.mean),
        "range": f"{low} to {high}" if several else "",
        "usual": "" if usual is None else f"usual {lower} to {upper}",
        "upper": upper,
        "lower": lower,
        "strip": _strip(value),
    }


def _strip(value: SessionValue) -> dict[str, Any] | None:
    """Where session and usual range lie on their common scale, in per cent from its lower end."""
    usual = value.usual
    low = value.low if usual is None else min(value.low, usual.low)
    high = value.high if usual is None else max(value.high, usual.high)
    if not high > low:
        return None

    def at(v: float) -> float:
        return round(100 * (v - low) / (high - low), 1)

    return {
        "band": None if usual is None else (at(usual.low), at(usual.high)),
        "bar": (at(value.low), at(value.high)),
        "mean": at(value.mean),
    }
