"""Names of files read by patterns."""

from __future__ import annotations

import pytest

from quintain.errors import UsageError
from quintain.tasks.file_name_pattern import NamePattern


@pytest.mark.parametrize(
    ("pattern", "name", "says"),
    [
        ("{person}_{type}_{side}_{trial}", "P-01_front kick_left_12.csv",
         {"person": "P-01", "type": "front kick", "side": "left", "trial": "12"}),
        ("{person}_{type}_{trial}", "deep/er/A01_dashS_3.txt",
         {"person": "A01", "type": "dashS", "trial": "3"}),
        ("{person}_{type}_{trial}", "A01_dashS_x.txt", None),
        ("{person}_{type}_{trial}", "A01_dash_S_3.txt", None),
        ("{person}_{type}_{trial}", "A01_dashS_3_extra.txt", None),
        ("{date}T{time}-{person}", "2026-11-25T09-30-P1.wav",
         {"date": "2026-11-25", "time": "09-30", "person": "P1"}),
        ("{date}_{time}_{any}_{person}", "20261125_093015_x_P1.wav",
         {"date": "20261125", "time": "093015", "person": "P1"}),
        ("{session}/{person}/{type}", "/a/monday/P1/jab.csv",
         {"session": "monday", "person": "P1", "type": "jab"}),
        ("{session}/{person}/{type}", "jab.csv", None),
        ("{person}.v{trial}.csv", "P1.v2.csv", {"person": "P1", "trial": "2"}),
        ("{person}.v{trial}.csv", "P1.v2.wav", None),
        ("strike {any} of {any} by {person}", "Strike 1 of 9 by P1.csv", {"person": "P1"}),
    ],
)  # fmt: skip
def test_names(pattern: str, name: str, says: dict[str, str] | None) -> None:
    assert NamePattern.parse(pattern).match(name) == says


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("{persn}_{type}", r"\{persn\}, which stands for nothing; did you mean \{person\}\?"),
        ("{height}_{type}", r"which stands for nothing; there are: person, type, side"),
        ("{person}{type}", r"nothing divides \{person\} from \{type\}"),
        ("{person}_{person}", r"\{person\} twice"),
        ("person_type", "needs placeholders in braces"),
        ("{person_{type}", "needs placeholders in braces"),
        ("", "needs placeholders in braces"),
    ],
)
def test_patterns_that_cannot_be_understood(pattern: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        NamePattern.parse(pattern)
