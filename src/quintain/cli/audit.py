"""``quintain audit``: who did what in a lab."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.lab_option import LabFolder, open_lab, parse_time

__all__ = ["audit"]


def audit(
    by: Annotated[str, typer.Option(help="Only acts of this person at the desk.")] = "",
    action: Annotated[str, typer.Option(help="Only this action, e.g. reject.")] = "",
    subject: Annotated[
        str, typer.Option(help="Only what was done to a strike, person, session, rig ...")
    ] = "",
    number: Annotated[str, typer.Option(help="Its number in the lab, or the SHA-256 of a recording.")] = "",
    since: Annotated[str, typer.Option(help="From this day or time on.")] = "",
    until: Annotated[str, typer.Option(help="Before this day or time.")] = "",
    limit: Annotated[int, typer.Option(help="How many at most, the newest first.")] = 50,
    export: Annotated[
        Path | None, typer.Option(help="Write all of them into a file, .csv or .jsonl, the oldest first.")
    ] = None,
    lab: LabFolder = Path(),
    json: AsJson = False,
) -> None:
    """
    Say who did what, and when; entries are added and never changed.

    Example: quintain audit --action reject --since 2026-11-01 --lab our-lab
    """
    from quintain.tasks.audit_trail import AuditFilter, export_audit, list_audit

    with open_lab(lab) as (opened, _):
        chosen = AuditFilter(
            by, action, subject, number, parse_time(since, "--since"), parse_time(until, "--until")
        )
        if export is not None:
            n = export_audit(opened, export, chosen)
            if json:
                print_answer("audit", {"total": n, "written": export, "entries": []})
            else:
                print(f"{export}: {n} entries")
            return
        page = list_audit(opened, chosen, limit=limit)
        if json:
            print_answer("audit", {"total": page.total, "written": None, "entries": page.entries})
            return
        for entry in page.entries:
            what = f"{entry.subject} {entry.subject_id[:12]}".strip()
            print(
                f"{entry.at:%Y-%m-%d %H:%M:%S} {entry.who}: {entry.action} {what} "
                f"{_change(entry.before, entry.after)}".rstrip()
            )
        if page.total > len(page.entries):
            print(f"and {page.total - len(page.entries)} earlier")


def _change(before: dict[str, Any] | None, after: dict[str, Any] | None) -> str:
    old, new = before or {}, after or {}
    words = []
    for name in dict.fromkeys((*old, *new)):
        if name in ("act", "undone"):
            continue
        value = (
            f"{old[name]!r} → {new[name]!r}"
            if name in old and name in new
            else repr(new.get(name, old.get(name)))
        )
        words.append(f"{name}: {value}")
    return ", ".join(words)[:200]
