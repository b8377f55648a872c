"""When a test of a rig was made: as told, or else as its recording says, or else now."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from quintain.errors import UsageError

__all__ = ["evidence_time", "in_zone"]

EARLIEST = datetime(1990, 1, 1, tzinfo=UTC)
"""Clocks that were never set begin in 1904, 1970 or 1980."""
AHEAD = timedelta(days=1)
"""By how much a recording's clock may be ahead: files mostly do not say in which zone their time is."""


def evidence_time(
    told: datetime | None, started: datetime | None = None, *, now: datetime | None = None
) -> datetime:
    """
    Settle when a test was made.

    Parameters
    ----------
    told : datetime.datetime or None
        What somebody says; it comes first.
    started : datetime.datetime or None
        Start of the recording, where its file tells; without an offset it is the time of this machine.
    now : datetime.datetime, optional
        The present instant; taken from the machine if not given.

    Returns
    -------
    datetime.datetime
        With its offset from UTC, and never ahead of now.

    Raises
    ------
    UsageError
        If the time told has no offset, or one of them lies in the future or before 1990. A recording's
        own time that is ahead by less than a day is taken as now.

    Examples
    --------
    >>> now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    >>> evidence_time(None, datetime(2026, 11, 3, 9, tzinfo=UTC), now=now).isoformat()
    '2026-11-03T09:00:00+00:00'
    >>> evidence_time(datetime(2027, 1, 1, tzinfo=UTC), now=now)
    Traceback (most recent call last):
        ...
    quintain.errors.UsageError: the test is said to be of 2027-01-01 00:00, which lies ahead of now (...): ...
    """
    now = now or datetime.now(UTC)
    if told is not None:
        if told.tzinfo is None:
            raise UsageError(f"the time {told:%Y-%m-%d %H:%M} must state its offset from UTC")
        if told > now:
            raise UsageError(
                f"the test is said to be of {told:%Y-%m-%d %H:%M}, which lies ahead of now "
                f"({now.astimezone(told.tzinfo):%Y-%m-%d %H:%M}): give the time at which it was made"
            )
        if told < EARLIEST:
            raise UsageError(
                f"the test is said to be of {told:%Y-%m-%d}: expected a time from {EARLIEST.year} on"
            )
        return told
    if started is None:
        return now
    began = in_zone(started)
    if not EARLIEST <= began <= now + AHEAD:
        where = "lies ahead of now" if began > now else "no such measurement can be of"
        raise UsageError(
            f"the recording says that it began {began:%Y-%m-%d %H:%M}, which {where}; was the clock of its "
            "machine set? Say when the test was made (--when on the command line)"
        )
    return min(began, now)


def in_zone(when: datetime) -> datetime:
    """A time with its offset from UTC; without one it is the time of this machine."""
    return when.astimezone() if when.tzinfo is None else when
