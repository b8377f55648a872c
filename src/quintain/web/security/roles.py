"""Three roles, each holding what the one before holds."""

from __future__ import annotations

from enum import IntEnum
from typing import Any

from fastapi import Depends, HTTPException, Request

__all__ = ["Role", "needs"]


class Role(IntEnum):
    """
    What a visitor may do.

    A viewer looks; an operator also imports, reviews and records; an engineer also changes rigs,
    methods and people, and deletes.
    """

    VIEWER = 1
    OPERATOR = 2
    ENGINEER = 3

    @property
    def word(self) -> str:
        """The role as people write it."""
        return self.name.lower()

    @classmethod
    def of(cls, word: str) -> Role | None:
        """The role of that name, or None."""
        return cls.__members__.get(word.upper())


def needs(role: Role) -> Any:
    """
    Refuse visitors below a role; use as ``dependencies=[needs(Role.ENGINEER)]``.

    Without it, looking needs a viewer and every unsafe method an operator.
    """

    async def check(request: Request) -> None:
        if request.state.visitor.role < role:
            raise HTTPException(403, f"This needs the role of {role.word}; sign in with its passphrase.")

    return Depends(check)
