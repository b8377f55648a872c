"""In whose name something is done when nobody says."""

from __future__ import annotations

import getpass

__all__ = ["user_name"]


def user_name() -> str:
    """Name of the user of this machine, or 'unknown' where it has none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"
