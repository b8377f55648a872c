"""What a new analysis changed, and why."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import MissingError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Method, Recording, Result, RigVersion
from quintain.tasks.lab_inputs import LAB_STEP
from quintain.tasks.speed_table import speeds_in_words

__all__ = ["Comparison", "Lone", "QuantityChange", "compare_analyses", "reasons"]


@dataclass(frozen=True, slots=True)
class QuantityChange:
    """
    How one quantity changed over the strikes that both analyses found.

    Parameters
    ----------
    quantity : str
        Name in the glossary.
    n : int
        Strikes for which both state it.
    n_changed : int
        Of these, how many are not the same bit for bit.
    n_beyond_u : int
        Of these, how many changed by more than the standard uncertainty stated before.
    median_change, largest_change : float
        New less old, of those that changed; the largest keeps its sign. In the unit of the glossary.
    largest_in_u : float or None
        Largest change in parts of the standard uncertainty stated before; None where none was.
    n_stated_now, n_withheld_now : int
        Strikes for which only the new or only the old analysis states it.
    """

    quantity: str
    n: int
    n_changed: int
    n_beyond_u: int
    median_change: float
    largest_change: float
    largest_in_u: float | None
    n_stated_now: int
    n_withheld_now: int


@dataclass(frozen=True, slots=True)
class Lone:
    """A strike that only one of the analyses found; ``start`` on the clock of its recording. [s]"""

    strike_id: int
    recording: str
    start: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """
    What changed between two analyses of the same recordings.

    Parameters
    ----------
    n_recordings, n_same : int
        Pairs that were compared, and those that are the same bit for bit.
    n_strikes : int
        Strikes that both found.
    why : tuple of str
        Differences of what went in, in words; the same sentence once.
    quantities : tuple of QuantityChange
        Those that changed, in the order in which they are shown.
    gained, lost : tuple of Lone
        Strikes that only the new or only the old one found.
    codes_raised, codes_cleared : mapping of str to int
        Doubts by their code: on how many strikes they are new, and gone.
    """

    n_recordings: int
    n_same: int
    n_strikes: int
    why: tuple[str, ...]
    quantities: tuple[QuantityChange, ...]
    gained: tuple[Lone, ...]
    lost: tuple[Lone, ...]
    codes_raised: Mapping[str, int]
    codes_cleared: Mapping[str, int]


def compare_analyses(lab: Lab, old: int | Sequence[int], new: int | Sequence[int]) -> Comparison:
    """
    Say what changed between earlier and later analyses, and why.

    Parameters
    ----------
    lab : Lab
        The lab.
    old, new : int or sequence of int
        Analyses; of several, each with its counterpart on the same recording.

    Returns
    -------
    Comparison
        Changes beside the uncertainty that was stated before. Both analyses rest on the same samples, so
        a change of one standard uncertainty is much, not chance.

    Raises
    ------
    LabError
        If there is no such analysis.
    UsageError
        If the two are not of the same recording.
    """
    olds = [old] if isinstance(old, int) else list(old)
    news = [new] if isinstance(new, int) else list(new)
    if len(olds) != len(news):
        raise UsageError(f"each analysis needs its counterpart; got {len(olds)} and {len(news)}")
    why: dict[str, None] = {}
    pairs: list[tuple[Result, Result]] = []
    gained: list[Lone] = []
    lost: list[Lone] = []
    n_same = 0
    with lab.reading() as database:
        for before_id, after_id in zip(olds, news, strict=True):
            before, after = _analysis(database, before_id), _analysis(database, after_id)
            if before.recording_sha256 != after.recording_sha256:
                raise UsageError(f"the analyses {before_id} and {after_id} are of different recordings")
            why |= dict.fromkeys(_why(database, before, after))
            n_same += before.output == after.output
            was, is_now = _results(database, before_id), _results(database, after_id)
            pairs += [(was[id], is_now[id]) for id in was if id in is_now]
            name = before.recording.name
            gained += [_lone(is_now[id], name) for id in is_now if id not in was]
            lost += [_lone(was[id], name) for id in was if id not in is_now]
    raised, cleared = _codes(pairs)
    changes = (_change(name, pairs) for name in STRIKE_QUANTITIES)
    return Comparison(
        n_recordings=len(olds),
        n_same=n_same,
        n_strikes=len(pairs),
        why=tuple(why),
        quantities=tuple(change for change in changes if change is not None),
        gained=tuple(gained),
        lost=tuple(lost),
        codes_raised=raised,
        codes_cleared=cleared,
    )


def reasons(lab: Lab, old: int, new: int) -> tuple[str, ...]:
    """
    What went into one analysis and not into another, in words, without looking at their numbers.

    Raises
    ------
    LabError
        If there is no such analysis.
    """
    with lab.reading() as database:
        return tuple(_why(database, _analysis(database, old), _analysis(database, new)))


def _analysis(database: Database, analysis_id: int) -> Analysis:
    row = database.get(Analysis, analysis_id)
    if row is None:
        raise MissingError(f"there is no analysis {analysis_id} in the lab")
    return row


def _results(database: Database, analysis_id: int) -> dict[int, Result]:
    rows = database.scalars(select(Result).where(Result.analysis_id == analysis_id).order_by(Result.number))
    return {row.strike_id: row for row in rows}


def _lone(result: Result, recording: str) -> Lone:
    return Lone(result.strike_id, recording, result.detail["start"])


# -- the numbers


def _change(name: str, pairs: Sequence[tuple[Result, Result]]) -> QuantityChange | None:
    values = [(getattr(was, name), getattr(now, name), getattr(was, f"u_{name}")) for was, now in pairs]
    both = [(new - old, u) for old, new, u in values if old is not None and new is not None]
    changed = [(change, u) for change, u in both if change]
    stated = sum(old is None and new is not None for old, new, _ in values)
    withheld = sum(old is not None and new is None for old, new, _ in values)
    if not changed and not stated and not withheld:
        return None
    in_u = [abs(change) / u for change, u in changed if u]
    return QuantityChange(
        quantity=name,
        n=len(both),
        n_changed=len(changed),
        n_beyond_u=sum(ratio > 1 for ratio in in_u),
        median_change=statistics.median([change for change, _ in changed]) if changed else 0.0,
        largest_change=max((change for change, _ in changed), key=abs, default=0.0),
        largest_in_u=max(in_u, default=None),
        n_stated_now=stated,
        n_withheld_now=withheld,
    )


def _codes(pairs: Sequence[tuple[Result, Result]]) -> tuple[dict[str, int], dict[str, int]]:
    raised: dict[str, int] = {}
    cleared: dict[str, int] = {}
    for was, now in pairs:
        before, after = set(was.codes.split()), set(now.codes.split())
        for counts, codes in ((raised, after - before), (cleared, before - after)):
            for code in sorted(codes):
                counts[code] = counts.get(code, 0) + 1
    return raised, cleared


# -- the reasons


def _why(database: Database, old: Analysis, new: Analysis) -> list[str]:
    why = []
    if old.method_sha256 != new.method_sha256:
        was, now = (database.get_one(Method, row.method_sha256).settings for row in (old, new))
        why += [f"method: {line}" for line in _settings(was, now)]
    if old.rig_version != new.rig_version:
        why += [f"rig: {line}" for line in _rig(database, old, new)]
    if old.quintain != new.quintain:
        why.append(f"software: quintain {old.quintain} → {new.quintain}")
    told_then, told_now = _lab_settings(old, "told"), _lab_settings(new, "told")
    if old.motion_sha256 != new.motion_sha256:
        motions = [_motion(database, row.motion_sha256) for row in (old, new)]
        why.append(f"motion of the limb: {' → '.join(motions)}")
    for key in dict.fromkeys((*told_then, *told_now)):
        if key == "rig" and key not in told_then:
            continue  # earlier versions did not keep it
        if (told_then.get(key) or None) != (told_now.get(key) or None):
            said = [told.get(key) for told in (told_then, told_now)]
            table = key == "speeds" and any("\n" in (text or "") for text in said)
            stated = [speeds_in_words(text) if text and table else _shown(text) for text in said]
            why.append(f"stated: {key.replace('_', ' ')} {' → '.join(stated)}")
    then, now = _lab_settings(old, "with"), _lab_settings(new, "with")
    why += [
        f"computed with: {name} {then[name]} → {now[name]}"
        for name in then
        if name in now and name != "quintain" and then[name] != now[name]
    ]
    return why


def _settings(old: Mapping[str, Any], new: Mapping[str, Any], path: str = "") -> list[str]:
    lines = []
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        name = f"{path}{key}"
        if isinstance(was, dict) and isinstance(now, dict):
            lines += _settings(was, now, f"{name}.")
        elif was != now:
            lines.append(f"{name} {_shown(was)} → {_shown(now)}")
    return lines


def _rig(database: Database, old: Analysis, new: Analysis) -> list[str]:
    import tomllib

    texts, names = [], []
    for version in (old.rig_version, new.rig_version):
        row = None if version is None else database.get(RigVersion, version)
        texts.append({} if row is None else tomllib.loads(row.toml))
        names.append("none" if row is None else f"{row.rig.name!r}, version {version}")
    if not all(texts):
        return [f"{names[0]} → {names[1]}"]
    was, now = (_numbered(text) for text in texts)
    return [f"{names[0]} → {names[1]}", *_settings(was, now)]


def _numbered(value: Any) -> Any:
    """Lists of tables as tables by their number, so that single entries can be compared."""
    if isinstance(value, dict):
        return {key: _numbered(entry) for key, entry in value.items()}
    if isinstance(value, list) and value and all(isinstance(entry, dict) for entry in value):
        return {str(i): _numbered(entry) for i, entry in enumerate(value, 1)}
    return value


def _motion(database: Database, sha256: str | None) -> str:
    row = None if sha256 is None else database.get(Recording, sha256)
    return "none" if row is None else f"{row.name} ({row.sha256[:12]})"


def _lab_settings(analysis: Analysis, key: str) -> dict[str, Any]:
    for step in reversed(analysis.history):
        if step["function"] == LAB_STEP:
            return dict(step["settings"][key])
    return {}


def _shown(value: Any) -> str:
    if value is None or value in ("", {}):
        return "none"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
