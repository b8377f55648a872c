"""The command line: one file a command; nothing is computed here."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run ``quintain``; the entry point of the console script."""
    from quintain.cli.app import app

    app(prog_name="quintain")
