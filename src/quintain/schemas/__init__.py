"""Published JSON schemas of what the commands print with ``--json``."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

__all__ = ["load_schema"]


def load_schema(command: str) -> dict[str, Any]:
    """
    Schema of a command's answer.

    Parameters
    ----------
    command : str
        Name of the command.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

    Raises
    ------
    FileNotFoundError
        If the command has no schema.

    Examples
    --------
    >>> load_schema("analyse")["title"]
    'Answer of quintain analyse'
    """
    text = (files(__name__) / f"{command}.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
