"""Views of a lab as tables in a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rich import box
from rich.console import Console
from rich.table import Table

from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.report.figures.clocks import CLOCK_NOT_KEPT, clock_sentence
from quintain.report.rounding import number, shown
from quintain.store.queries import HEADLINE, StrikeRow, Value
from quintain.store.queries_groups import GroupRow, Summary
from quintain.store.queries_lists import RecordingRow, SessionRow
from quintain.tasks.lab_views import Overview, PersonView, RecordingView, SessionView, StrikeView
from quintain.tasks.speed_table import speeds_in_words

__all__ = ["print_view"]

_WIDE = 120
"""Characters in a line that hold every column."""

_WORDS = {"sound": "● sound", "doubt": "◇ doubt", "undecided": "□ undecided"}
_WHOLE = ("strike", "session", "person", "type", "side", "")
"""Headings whose cells stay on one line."""

_STATES = {"waiting": "□ waiting", "accepted": "● accepted", "rejected": "× rejected", "gone": "- gone"}
_HEADINGS = {
    "peak_force": "peak", "impulse": "impulse", "contact_time": "contact", "effective_mass": "eff. mass",
    "approach_speed": "speed",
}  # fmt: skip


def print_view(view: object, console: Console) -> None:
    """Print a view of :mod:`quintain.tasks.lab_views`."""
    match view:
        case Overview():
            _print_lab(view, console)
        case SessionView():
            _print_session(view, console)
        case PersonView():
            _print_person(view, console)
        case RecordingView():
            _print_recording(view, console)
        case StrikeView():
            _print_strike(view, console)


def _print_lab(view: Overview, console: Console) -> None:
    console.print(view.name + (" (all of it is invented)" if view.invented else ""))
    s = view.strikes
    console.print(
        f"{view.n_people} people, {view.n_sessions} sessions, {view.n_recordings} recordings, {s.total} "
        f"strikes: {s.accepted} accepted, {s.waiting} wait, {s.rejected} rejected"
    )
    if view.n_unanalysed:
        console.print(f"◇ {view.n_unanalysed} recordings are not analysed yet: quintain analyse --lab")
    if view.n_gone:
        console.print(f"◇ the bytes of {view.n_gone} recordings are gone: quintain doctor")
    rigs = _table("rig", "state", "last evidence", "strikes", "why")
    for rig in view.rigs:
        state = "? unknown" if rig.state is None else _WORDS[rig.state.verdict]
        why = rig.trouble if rig.state is None else "; ".join(rig.state.reasons)
        last = f"{_day(rig.row.last_evidence)} {rig.row.last_kind} {rig.row.last_verdict}".strip()
        rigs.add_row(rig.row.name, state, last, str(rig.row.strikes.total), why)
    if view.rigs:
        console.print(rigs)
    if view.sessions:
        console.print(_sessions(view.sessions))
    waiting = [session.code for session in view.waiting]
    if waiting:
        more = f" and {len(waiting) - 8} more" if len(waiting) > 8 else ""
        console.print(f"□ wait for review: {', '.join(waiting[:8])}{more}")


def _print_session(view: SessionView, console: Console) -> None:
    row = view.row
    console.print(
        f"Session {row.code} {row.title}".rstrip() + f", {_time(row.when)}, rig {row.rig or 'not stated'}"
    )
    done = sum(planned.strike_id is not None for planned in view.planned)
    if view.planned:
        console.print(f"plan: {done} of {len(view.planned)} strikes tagged, seed {view.seed}")
    if view.note:
        console.print(view.note)
    if view.recordings:
        console.print(_recordings(view.recordings))
    _print_groups(view.groups, ("person", "type", "side"), console)
    _print_strikes(view.strikes, view.total, console)


def _print_person(view: PersonView, console: Console) -> None:
    row = view.row
    facts = [
        f"{number(row.body_mass, 3)} kg" if row.body_mass else "",
        f"{number(row.height, 3)} m" if row.height else "",
        f"stronger side {row.side}" if row.side else "",
        f"{row.experience:g} years of training" if row.experience is not None else "",
        "erased" if row.erased else "",
    ]
    console.print(", ".join([f"Person {row.code}", *filter(None, facts)]))
    _print_groups(view.groups, ("type", "side"), console)
    _print_groups(view.sessions, ("session", "type", "side"), console)
    _print_strikes(view.strikes, view.total, console)


def _print_recording(view: RecordingView, console: Console) -> None:
    row = view.row
    console.print(f"{row.name}, {row.kind}, {row.n_bytes} bytes, {_time(row.when)}")
    console.print(f"  SHA-256   {row.sha256}")
    for source in view.sources:
        console.print(f"  came from {source}")
    if row.gone:
        console.print("◇ its bytes are gone: quintain doctor")
    for name, text in _stated(view).items():
        console.print(f"  {name:<9} {text}", markup=False)
    for words in view.out_of_date:
        console.print(f"◇ out of date: {words}")
    for analysis in view.analyses:
        state = "in force" if analysis.current else "earlier"
        console.print(
            f"  analysed  {_time(analysis.at)} ({state}), {analysis.n_strikes} strikes, method "
            f"{analysis.method_sha256[:12]}, quintain {analysis.quintain}"
        )
        if analysis.clock is not None:
            console.print(f"  clocks    {clock_sentence(analysis.clock)}", markup=False)
        elif view.motion_sha256 and not analysis.clock_kept:
            console.print(f"  clocks    {CLOCK_NOT_KEPT}")
        for flag in analysis.flags:
            console.print(f"◇ {flag.code}: {flag.message}")
    _print_strikes(view.strikes, view.total, console)


def _stated(view: RecordingView) -> dict[str, str]:
    """What is stated of a recording beside its file, as far as it is."""
    told = {
        "session": view.row.session, "rig": view.row.rig, "person": view.row.person, "type": view.row.type,
        "side": view.row.side, "channel": view.channel, "motion": (view.motion_sha256 or "")[:12],
        **view.alignment, "speeds": speeds_in_words(view.speeds),
    }  # fmt: skip
    return {name: text for name, text in told.items() if text}


def _print_strike(view: StrikeView, console: Console) -> None:
    row = view.row
    tags = " ".join(filter(None, (row.person, row.type, row.side))) or "no tags"
    console.print(
        f"Strike {row.id}: {tags}; {_STATES[row.state]}" + (f", {row.reason}" if row.reason else "")
    )
    console.print(
        f"  {row.start:.4f} s after the start of {row.recording}, {_time(row.when)}, rig {row.rig or '?'}"
    )
    if row.note:
        console.print(f"  note: {row.note}")
    if view.result is None:
        console.print("◇ there is no result: analyse its recording")
    else:
        table = _table("quantity", "value ± 95 %", "unit")
        for measured in view.quantities:
            told = shown(measured)
            table.add_row(measured.entry.label, f"{told.value} ± {told.expanded}", told.unit)
        console.print(table)
        for flag in view.result.flags:
            console.print(f"◇ {flag.code}: {flag.message}")
    near = view.neighbours
    console.print(
        f"{near.place} of {near.total}; before it {near.before or '-'}, after it {near.after or '-'}"
    )


def _print_groups(groups: Sequence[GroupRow], by: Sequence[str], console: Console) -> None:
    if not groups:
        return
    known = [q for q in _fitting(console) if any(g.quantities[q].n for g in groups)]
    table = _table(*by, "n", *(f"{_HEADINGS[q]}, {GLOSSARY[q].shown_unit}" for q in known))
    table.caption = "mean ± standard deviation between trials; rejected strikes are left out"
    for group in groups:
        cells = (_spread(q, group.quantities[q]) for q in known)
        table.add_row(*(level or "-" for level in group.levels), str(group.n_strikes), *cells)
    console.print(table)


def _fitting(console: Console) -> Sequence[str]:
    """Quantities for which there is room; a strike by itself shows all."""
    return HEADLINE if console.width >= _WIDE else HEADLINE[:3]


def _spread(quantity: str, told: Summary) -> str:
    if told.mean is None:
        return "not stated"
    factor = GLOSSARY[quantity].shown_factor
    mean = number(told.mean * factor, 3)
    return mean if told.sd is None else f"{mean} ± {number(told.sd * factor, 2)}"


def _print_strikes(rows: Sequence[StrikeRow], total: int, console: Console) -> None:
    if not rows:
        return
    known = [q for q in _fitting(console) if any(row.quantities[q].value is not None for row in rows)]
    headings = (f"{_HEADINGS[q]}, {GLOSSARY[q].shown_unit}" for q in known)
    table = _table("strike", "person", "type", "side", "", *headings, "doubts")
    table.caption = (
        f"{len(rows)} of {total} strikes; ● accepted, □ waits, × rejected; ± expanded uncertainty, 95 %"
    )
    for row in rows:
        table.add_row(
            str(row.id), row.person, row.type, row.side, _STATES[row.state][0],
            *(_cell(q, row.quantities[q]) for q in known), f"◇ {len(row.codes)}" if row.codes else "",
        )  # fmt: skip
    console.print(table)


def _cell(quantity: str, told: Value) -> str:
    if told.value is None:
        return "not stated"
    rounded = shown(Measured(quantity, told.value, told.u))
    return f"{rounded.value} ± {rounded.expanded}"


def _sessions(rows: Sequence[SessionRow]) -> Table:
    table = _table("session", "time", "rig", "people", "strikes", "accepted", "wait", "rejected")
    for row in rows:
        s = row.strikes
        numbers = (row.n_people, s.total, s.accepted, s.waiting, s.rejected)
        table.add_row(row.code, _time(row.when), row.rig, *map(str, numbers))
    return table


def _recordings(rows: Sequence[RecordingRow]) -> Table:
    table = _table("recording", "kind", "time", "person", "type", "side", "strikes")
    for row in rows:
        table.add_row(
            row.name, row.kind, _time(row.when), row.person, row.type, row.side, str(row.strikes.total)
        )
    return table


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in headings:
        is_number = "," in heading or heading == "n"
        table.add_column(heading, justify="right" if is_number else "left", no_wrap=heading in _WHOLE)
    return table


def _time(when: datetime | None) -> str:
    return "time unknown" if when is None else f"{when:%Y-%m-%d %H:%M} UTC"


def _day(when: datetime | None) -> str:
    return "none" if when is None else f"{when:%Y-%m-%d}"
