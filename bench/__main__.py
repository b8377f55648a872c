"""
Run every speed measurement and print the ratios.

Each module in this folder that starts with ``speed_`` offers ``run() -> list[Row]``.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys

import bench


def main(names: list[str]) -> int:
    """Run the named measurements, or all of them; return 1 if a goal is missed."""
    modules = sorted(m.name for m in pkgutil.iter_modules(bench.__path__) if m.name.startswith("speed_"))
    missed = 0
    for name in modules:
        if names and name.removeprefix("speed_") not in names:
            continue
        print(f"\n{name.removeprefix('speed_')}")
        for row in importlib.import_module(f"bench.{name}").run():
            missed += not row.met
            print("  " + str(row))
    print(f"\n{missed} goals missed" if missed else "\nall goals met")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
