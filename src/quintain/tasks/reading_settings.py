"""What a file does not say itself, stated as name=value: one way for commands and pages."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from quintain.errors import UsageError

__all__ = ["reading"]

_NUMBERS = {"rate": float, "first_row": int}


def reading(setting: Iterable[str] | None, **options: Any) -> dict[str, Any]:
    """
    Settings for a reader from texts 'name=value' and from those that have a place of their own.

    Parameters
    ----------
    setting : iterable of str or None
        Texts 'name=value'.
    **options
        Settings that were asked for by name; None if they were not given.

    Returns
    -------
    dict
        Settings by name, those that were given.

    Raises
    ------
    UsageError
        If a text has no '=', states a setting twice, or no number where one is needed.

    Examples
    --------
    >>> reading(["units=N"], rate=2000.0, columns=None)
    {'rate': 2000.0, 'units': 'N'}
    """
    given = {name: value for name, value in options.items() if value is not None}
    for text in setting or []:
        name, equals, value = text.partition("=")
        name = name.strip().replace("-", "_")
        if not equals or not name:
            raise UsageError(f"expected name=value for a setting, got {text!r}")
        if name in given:
            raise UsageError(f"the setting {name!r} is given twice; give it once")
        given[name] = value
        kind = _NUMBERS.get(name)
        if kind is not None:
            try:
                given[name] = kind(value)
            except ValueError:
                raise UsageError(f"expected a number for the setting {name!r}, got {value!r}") from None
    return given
