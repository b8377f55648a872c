"""A test is dated by who tells it, else by its recording, else now; nonsense is refused in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from quintain.errors import UsageError
from quintain.tasks.evidence_time import evidence_time

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
MAY = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


def test_what_is_told_comes_before_the_recording_and_that_before_now():
    assert evidence_time(MAY, NOW - timedelta(days=1), now=NOW) == MAY
    assert evidence_time(None, MAY, now=NOW) == MAY
    assert evidence_time(None, None, now=NOW) == NOW
    bare = evidence_time(None, datetime(2026, 5, 4, 9, 30), now=NOW)
    assert bare.tzinfo is not None
    assert bare.replace(tzinfo=None) == datetime(2026, 5, 4, 9, 30)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (NOW + timedelta(minutes=1), r"2026-11-25 12:01, which lies ahead of now \(2026-11-25 12:00\)"),
        (datetime(1970, 1, 1, tzinfo=UTC), "1970-01-01: expected a time from 1990 on"),
        (datetime(2026, 5, 4), "must state its offset"),
    ],
)
def test_a_time_told_without_sense_is_refused(told, words):
    with pytest.raises(UsageError, match=words):
        evidence_time(told, now=NOW)


def test_a_clock_that_was_never_set_is_asked_about():
    for started in (datetime(1904, 1, 1, tzinfo=UTC), NOW + timedelta(days=2)):
        with pytest.raises(UsageError, match=r"was the clock of its machine set\? Say when"):
            evidence_time(None, started, now=NOW)
        assert evidence_time(MAY, started, now=NOW) == MAY, "what is told settles it"


def test_a_clock_of_another_zone_is_no_reason_to_refuse():
    """A file of Auckland read on a machine that keeps UTC seems to come from the future by 13 hours."""
    assert evidence_time(None, NOW + timedelta(hours=13), now=NOW) == NOW
    ahead = datetime(2026, 11, 26, 0, 30, tzinfo=timezone(timedelta(hours=13)))
    assert evidence_time(None, ahead, now=NOW) == ahead
