"""The audit: found again, written out, and never changed."""

from __future__ import annotations

import ast
import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import quintain
from quintain.errors import OutputError, UsageError
from quintain.store.lab import Lab
from quintain.tasks.audit_trail import AuditFilter, export_audit, list_audit

SOURCE = Path(quintain.__file__).parent


@pytest.fixture
def lab(tmp_path):
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        for i in range(5):
            with lab.writing("Ann" if i % 2 else "Ben") as writer:
                writer.note("accept" if i else "reject", "strike", i, after={"state": f"=s{i}"})
        yield lab


def test_the_newest_come_first_and_pages_follow(lab):
    page = list_audit(lab, limit=2)
    assert (page.total, page.offset) == (6, 0)
    assert [entry.subject_id for entry in page.entries] == ["4", "3"]
    assert [entry.subject_id for entry in list_audit(lab, offset=2, limit=2).entries] == ["2", "1"]
    with pytest.raises(UsageError):
        list_audit(lab, limit=0)


@pytest.mark.parametrize(
    ("chosen", "n"),
    [
        ({"who": "Ann"}, 2),
        ({"who": "Ben", "action": "accept"}, 2),
        ({"subject": "strike"}, 5),
        ({"subject": "strike", "subject_id": "3"}, 1),
        ({"who": "nobody"}, 0),
        ({"until": datetime.now(UTC) - timedelta(days=1)}, 0),
        ({"since": datetime.now(UTC) - timedelta(days=1)}, 6),
    ],
)
def test_filters(lab, chosen, n):
    assert list_audit(lab, AuditFilter(**chosen)).total == n


def test_a_time_without_offset_is_refused(lab):
    with pytest.raises(UsageError, match="offset from UTC"):
        list_audit(lab, AuditFilter(since=datetime(2026, 1, 1)))


def test_files_hold_all_of_it_the_oldest_first(lab, tmp_path):
    chosen = AuditFilter(subject="strike")
    assert export_audit(lab, tmp_path / "a.csv", chosen) == 5
    rows = list(csv.DictReader((tmp_path / "a.csv").read_text().splitlines()))
    assert [row["subject_id"] for row in rows] == ["0", "1", "2", "3", "4"]
    assert json.loads(rows[0]["after"]) == {"state": "=s0"}
    assert export_audit(lab, tmp_path / "a.jsonl", chosen) == 5
    lines = [json.loads(line) for line in (tmp_path / "a.jsonl").read_text().splitlines()]
    assert lines[4]["who"] == "Ben"
    assert lines[4]["at"].endswith("+00:00")
    with pytest.raises(UsageError, match=r"\.csv or \.jsonl"):
        export_audit(lab, tmp_path / "a.xlsx")
    with pytest.raises(OutputError):
        export_audit(lab, tmp_path / "no" / "a.csv")


def test_no_code_changes_or_deletes_an_entry():
    """Entries are added through Writer.note alone; nothing says update or delete of the audit."""
    adders = []
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", "") or getattr(node.func, "attr", "")
            first = getattr(node.args[0], "id", "") if node.args else ""
            assert not (name in ("update", "delete") and first == "Audit"), path
            if name == "Audit":
                adders.append(str(path.relative_to(SOURCE)))
    assert adders == ["store/lab.py"]
