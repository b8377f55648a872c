"""A form that is shown again: what was typed, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from pydantic import BaseModel

from quintain.errors import ConflictError, QuintainError

__all__ = ["EMPTY", "Filled", "refused"]


class Filled(NamedTuple):
    """
    A form as somebody left it, for the page that shows it.

    A page takes ``EMPTY`` first, and what ``refused`` gives once something typed cannot be used.
    """

    typed: Mapping[str, Any] = {}
    """What was typed, by field; nothing before anybody typed."""
    problem: str = ""
    """What cannot be used, in the words of the error."""
    status: int = 200
    """HTTP status of the page."""


EMPTY = Filled()


def refused(typed: BaseModel | Mapping[str, Any], problem: QuintainError) -> Filled:
    """
    A form that cannot be used, so that nothing typed is lost.

    Parameters
    ----------
    typed : BaseModel or mapping
        The fields of the form.
    problem : QuintainError
        Why; somebody else having been faster is a conflict, everything else a fault of the form.

    Examples
    --------
    >>> from quintain.errors import UsageError
    >>> refused({"code": "S 1"}, UsageError("a code has no spaces"))
    Filled(typed={'code': 'S 1'}, problem='a code has no spaces', status=422)
    """
    fields = typed.model_dump() if isinstance(typed, BaseModel) else typed
    return Filled(fields, str(problem), 409 if isinstance(problem, ConflictError) else 422)
