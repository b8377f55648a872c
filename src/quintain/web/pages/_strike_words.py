"""A strike in words and rows: what is sound, what is doubted, what is not stated and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from quintain.domain.flags import FLAGS, Flag
from quintain.domain.measured import Measured
from quintain.domain.strike import Strike
from quintain.quantities import GLOSSARY
from quintain.report.parts import doubting
from quintain.report.rounding import number, rounded
from quintain.report.verdict import Verdict, judge_strike
from quintain.tasks.replay import Deed

__all__ = ["BUDGETS", "Row", "StrikeWords", "deed_words", "strike_rows", "strike_words"]

GROUPS = (
    ("impulse", "impulse_to_stop", "impulse_to_peak", "contact_time"),
    (
        "peak_force", "peak_force_raw", "peak_force_cfc", "peak_contact_force", "time_to_peak",
        "rate_of_force_development", "expected_peak", "sampling_loss", "noise",
    ),
    (
        "approach_speed", "time_to_stop", "effective_mass", "effective_mass_low", "effective_mass_high",
        "energy", "kinetic_energy", "mean_power", "peak_power",
    ),
)  # fmt: skip
HEADLINE = ("impulse", "contact_time", "peak_force", "approach_speed", "effective_mass", "energy")
ALWAYS = (*HEADLINE, "rate_of_force_development")
BUDGETS = ("effective_mass", "peak_force", "impulse", "energy", "approach_speed", "contact_time")
"""Quantities whose budget is worth a look, the most asked for first."""

_LIMB = GROUPS[2]
_MAIN = ("impulse", "peak_force", "effective_mass")
_COUNT = ("", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


class Row(NamedTuple):
    """
    One quantity on the page; ``measured`` is None where it is not stated.

    ``codes`` are its doubts without their sentences; ``says`` are the sentences not said further up.
    """

    name: str
    measured: Measured | None
    codes: tuple[Flag, ...]
    says: tuple[str, ...]
    part: bool
    group: bool
    note: str


class StrikeWords(NamedTuple):
    """The verdict in one sentence, why, and doubts about the strike as a whole."""

    mark: str
    sentence: str
    why: str
    whole: tuple[Flag, ...]


def strike_rows(strike: Strike, *, moved: bool) -> tuple[Row, ...]:
    """
    Rows of the table of quantities.

    Parameters
    ----------
    strike : Strike
        Of the lab.
    moved : bool
        Whether anything was known of the limb's motion.

    Returns
    -------
    tuple of Row
        A flag's sentence stands at the first number it doubts; further down its code is enough.
    """
    rows: list[Row] = []
    said: set[str] = set()
    named = {name for group in GROUPS for name in group}
    rest = tuple(name for name in strike.quantities if name not in named)
    for group in (*GROUPS, rest):
        names = [name for name in group if name in strike.quantities or name in ALWAYS]
        for i, name in enumerate(names):
            measured = strike.quantities.get(name)
            codes = doubting(name, strike.flags) if measured else _withholding(name, strike.flags)
            flags = tuple(Flag(code, "") for code in dict.fromkeys(codes))
            says = tuple(
                f.message for code in dict.fromkeys(codes) for f in strike.flags if f.code == code not in said
            )
            said |= set(codes)
            note = "holds the ringing" if name == "peak_force_raw" and measured and not flags else ""
            if measured is None and not flags and name == _LIMB[0] and not moved:
                note = "no motion of the limb was recorded"
            rows.append(Row(name, measured, flags, says, name not in HEADLINE, i == 0 and bool(rows), note))
    return tuple(rows)


def strike_words(strike: Strike) -> StrikeWords:
    """Judge a strike and say which numbers carry a doubt and which do not."""
    verdict = judge_strike(strike)
    doubted = [name for name in strike.quantities if doubting(name, strike.flags)]
    whole = tuple(f for f in strike.flags if not _about_numbers(f))
    sentence = f"{verdict.word}. {_sentence(strike, verdict, doubted, whole)}".strip()
    return StrikeWords(verdict.mark, sentence, _why(strike), whole)


def _sentence(strike: Strike, verdict: Verdict, doubted: Sequence[str], whole: Sequence[Flag]) -> str:
    if verdict.mark in ("stop", "open"):
        return verdict.sentence
    stated = [name for name in _MAIN if name in strike.quantities]
    clear = [_lower(name) for name in stated if name not in doubted]
    if not strike.flags:
        words = _joined(clear)
        return f"{words[:1].upper()}{words[1:]} {_verb(clear)} without a doubt."
    said = verdict.sentence
    if doubted:
        n = len(doubted)
        carry = f"{_COUNT[n] if n < len(_COUNT) else n} {'quantities carry' if n > 1 else 'quantity carries'}"
        tail = f"; {_joined(clear)} {'do' if len(clear) > 1 else 'does'} not" if clear else ""
        return f"{carry} a doubt{tail}. {said}".strip()
    if whole:
        return f"No single number is doubted, but the strike is: {whole[0].message} {said}".strip()
    return said


def _why(strike: Strike) -> str:
    parts = []
    if "peak_force" in strike.quantities and strike.modes:
        mode = strike.modes[0]
        u = mode.u_natural_frequency
        value, expanded = rounded(mode.natural_frequency, None if u is None else 1.96 * u)
        spread = "" if expanded == "?" else f" ± {expanded}"
        parts.append(f"The force is corrected for the rig’s ringing at {value}{spread} Hz")
        counted = [
            f"{number(count, 2)} {what}"
            for count, what in (
                (strike.periods_in_pulse, "periods of the rig"),
                (strike.samples_in_pulse, "samples"),
            )
            if count is not None
        ]
        if counted:
            parts[-1] += f": {_joined(counted)} in the pulse"
        parts[-1] += "."
    elif strike.curve.raw.size or strike.quantities:
        parts.append("The force is not corrected for the rig’s ringing.")
    if strike.force_kind == "force_on_cell":
        parts.append("Force on the cell, not at the glove.")
    return " ".join(parts)


def deed_words(deed: Deed) -> str:
    """What an entry of the audit changed, in words."""
    before, after = deed.before or {}, deed.after or {}
    words = []
    for name, value in after.items():
        if name in ("act", "undone") or before.get(name) == value:
            continue
        was, now = before.get(name), value
        label = name.removesuffix("_id").replace("_", " ")
        words.append(f"{label}: {_told(was)} → {_told(now)}" if name in before else f"{label}: {_told(now)}")
    return "; ".join(words)


def _told(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_told(entry)}" for key, entry in value.items())
    return "none" if value in (None, "") else str(value)


def _withholding(name: str, flags: Sequence[Flag]) -> list[str]:
    return [f.code for f in flags if f.code in FLAGS and name in FLAGS[f.code].withholds]


def _about_numbers(flag: Flag) -> bool:
    meaning = FLAGS.get(flag.code)
    return meaning is not None and bool(meaning.doubts or meaning.withholds)


def _lower(name: str) -> str:
    label = GLOSSARY[name].label.removesuffix(", whole event")
    return label[:1].lower() + label[1:]


def _joined(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def _verb(words: Sequence[str]) -> str:
    return "stand" if len(words) > 1 else "stands"
