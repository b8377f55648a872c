"""Run the accuracy study and write ``docs/validation`` (``make validate``)."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from bench.validate.report import write_report
from bench.validate.study import run_study


def main() -> None:
    """Run, or with ``--scale`` run a part; write tables, figures and the page."""
    parser = argparse.ArgumentParser(prog="python -m bench.validate", description=__doc__)
    parser.add_argument("--scale", type=float, default=1.0, help="part of the full number of strikes")
    parser.add_argument("--out", type=Path, default=Path(__file__).parents[2] / "docs" / "validation")
    options = parser.parse_args()
    cache = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "quintain-validate" / "peer"
    cells, peer = run_study(options.scale, cache)
    write_report(cells, peer, options.out, options.scale)


if __name__ == "__main__":
    main()
