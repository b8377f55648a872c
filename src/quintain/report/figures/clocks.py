"""How well two clocks agree: what every matched strike leaves of the line between them."""

from __future__ import annotations

from collections.abc import Sequence

from quintain.domain.clock import ClockMatch
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.rounding import number, rounded

__all__ = ["CLOCK_NOT_KEPT", "clock_facts", "clock_sentence", "describe_clocks", "draw_clocks"]

COVERAGE = 1.96
CLOCK_NOT_KEPT = (
    "not kept by the version that made this analysis; analyse the recording anew, and it tells how the "
    "strikes tied them"
)
"""In place of :func:`clock_sentence` for an analysis with a motion of an earlier version."""

OUTLIER = 3.0
"""Residuals beyond so many spreads are drawn hollow: they did not count when the line was drawn."""

_LISTED = 8
"""Of more numbers than these only the first are written out."""


def draw_clocks(clock: ClockMatch, *, height: int = 170) -> str:
    """
    Draw the residual of every matched strike [ms] over the time of the force [s].

    The pale band is the 95 % interval of the line where it is known best; the limits are those of a single
    strike. A few strikes alone are fitted almost exactly: then the band, not the scatter, tells the doubt.
    """
    if not clock.times:
        return ""
    limit = COVERAGE * clock.spread
    points = [
        Point(time, residual, doubted=abs(residual) > OUTLIER * clock.spread)
        for time, residual in zip(clock.times, clock.residuals, strict=True)
    ]
    levels = (
        Level(0.0, "line", band=COVERAGE * clock.u_offset),
        Level(limit, f"+{number(1e3 * limit, 2)} ms", limit=True),
        Level(-limit, f"\u2212{number(1e3 * limit, 2)} ms", limit=True),
    )
    return draw_points(
        points,
        name="Impact on the limb later than the line, ms",
        x_unit="s",
        label=describe_clocks(clock),
        levels=levels,
        y_factor=1e3,
        height=height,
    )


def describe_clocks(clock: ClockMatch) -> str:
    """The figure in words."""
    n = len(clock.strikes) + len(clock.missed)
    largest = max((abs(r) for r in clock.residuals), default=0.0)
    return (
        f"{len(clock.strikes)} of {n} strikes matched on both clocks; the largest residual is "
        f"{number(1e3 * largest, 2)} ms, 95 % of single strikes lie within {_ms(COVERAGE * clock.spread)}."
    )


def clock_facts(clock: ClockMatch) -> tuple[tuple[str, str], ...]:
    """Names and values: what tied the clocks, offset and drift with ± 95 %, what was matched and what not."""
    offset, u_offset = rounded(clock.offset, COVERAGE * clock.u_offset)
    drift, u_drift = rounded(1e6 * clock.drift, 1e6 * COVERAGE * clock.u_drift)
    n = len(clock.strikes) + len(clock.missed)
    extra = [f"{time:.2f} s" for time in clock.extra]
    return (
        ("Tied by", clock.tie),
        ("Offset", f"{offset} ± {u_offset} s (motion less force, {clock.middle:.2f} s into the force)"),
        ("Drift", f"{drift} ± {u_drift} ppm"),
        ("A single strike", f"within {_ms(COVERAGE * clock.spread)} of the line (95 %)"),
        ("Matched", f"{len(clock.strikes)} of {n} strikes"),
        ("Missed by the motion", _listed([f"strike {number}" for number in clock.missed])),
        ("Seen by the motion alone", _listed(extra, " on its own clock")),
    )


def clock_sentence(clock: ClockMatch) -> str:
    """The same in one sentence."""
    facts = dict(clock_facts(clock))
    drift, offset = facts["Drift"], facts["Offset"].split(" (")[0]
    words = (
        f"{facts['Matched']} matched by {clock.tie}, motion less force {offset}, drift {drift}, "
        f"a single strike {facts['A single strike']}"
    )
    if clock.missed:
        words += f"; the motion missed {facts['Missed by the motion']}"
    if clock.extra:
        words += f"; it alone saw {facts['Seen by the motion alone']}"
    return words


def _listed(entries: Sequence[str], after: str = "") -> str:
    if not entries:
        return "none"
    more = f" and {len(entries) - _LISTED} more" if len(entries) > _LISTED else ""
    return f"{len(entries)}: {', '.join(entries[:_LISTED])}{more}{after}"


def _ms(seconds: float) -> str:
    return f"{number(1e3 * seconds, 2)} ms"
