"""Make the picture of the README from the invented demo: ``python docs/picture.py``."""

from __future__ import annotations

import tempfile
from pathlib import Path

from quintain.report.figures.strike import draw_strike
from quintain.report.figures.style import standalone
from quintain.tasks.demo import run_demo

STRIKE = 10

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        analysis = run_demo(folder).analysis
    strike = next(s for s in analysis.strikes if s.number == STRIKE)
    target = Path(__file__).parent / "strike.svg"
    target.write_text(standalone(draw_strike(strike, rate=analysis.rate)), encoding="utf-8")
    print(target)
