"""How the clock of the motion was tied to that of the force, and what that rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["ClockMatch"]


@dataclass(frozen=True, slots=True)
class ClockMatch:
    """
    The line between two clocks, and the strikes that both devices saw.

    ``motion = force + offset + drift (force - middle)``; offset and drift are uncorrelated about ``middle``.

    Parameters
    ----------
    tie : str
        What brought the clocks together, in words.
    offset, u_offset : float
        Time of the motion's clock less the force's at ``middle``, with its standard uncertainty. [s]
    drift, u_drift : float
        By how much the motion's clock runs faster, with its standard uncertainty. [1]
    middle : float
        Mean time of the matched strikes on the force's clock. [s]
    spread : float
        Standard deviation of the matched pairs about the line, outliers left out. [s]
    strikes : tuple of int
        Numbers of the matched strikes.
    times : tuple of float
        Their starts on the force's clock. [s]
    residuals : tuple of float
        By how much the motion shows each of them later than the line says. [s]
    missed : tuple of int
        Numbers of the strikes that the motion does not show.
    extra : tuple of float
        Impacts that the force does not show, on the clock of the motion. [s]

    Examples
    --------
    >>> clock = ClockMatch("impacts", 28.9, 0.001, 5e-5, 1e-5, 7.0, 0.001, (2,), (4.2,), (0.0,), (1,), ())
    >>> round(clock.u_at(107.0), 6)
    0.001414
    """

    tie: str
    offset: float
    u_offset: float
    drift: float
    u_drift: float
    middle: float
    spread: float
    strikes: tuple[int, ...]
    times: tuple[float, ...]
    residuals: tuple[float, ...]
    missed: tuple[int, ...] = ()
    extra: tuple[float, ...] = ()

    def u_at(self, time: float) -> float:
        """Standard uncertainty of the line at a time on the force's clock. [s]"""
        return math.hypot(self.u_offset, self.u_drift * (time - self.middle))
