"""What a file does not say itself, stated on the command line: one way for all commands."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from quintain.errors import UsageError

__all__ = ["Setting", "reading"]

Setting = Annotated[
    list[str] | None,
    typer.Option(
        help="What else the reader must be told, as name=value, e.g. 'units=N' or 'full_scale=5000 N'; may "
        "be repeated. Settings of each format: see quintain formats.",
        show_default=False,
    ),
]


def reading(setting: list[str] | None, **options: Any) -> dict[str, Any]:
    """
    Settings for a reader from ``--setting name=value`` and the options that a command has of its own.

    Parameters
    ----------
    setting : list of str or None
        Texts 'name=value'.
    **options
        Settings that have an option of their own; None if it was not given.

    Returns
    -------
    dict
        Settings by name, those that were given.

    Raises
    ------
    UsageError
        If a text has no '=', states a setting twice, or not a whole number where one is needed.
    """
    given = {name: value for name, value in options.items() if value is not None}
    for text in setting or []:
        name, equals, value = text.partition("=")
        name = name.strip().replace("-", "_")
        if not equals or not name:
            raise UsageError(f"expected name=value for --setting, got {text!r}")
        if name in given:
            raise UsageError(f"the setting {name!r} is given twice; give it once")
        given[name] = value
        kind = {"rate": float, "first_row": int}.get(name)
        if kind is not None:
            try:
                given[name] = kind(value)
            except ValueError:
                raise UsageError(f"expected a number for the setting {name!r}, got {value!r}") from None
    return given
