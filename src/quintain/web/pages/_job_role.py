"""Who may ask for long work of which kind."""

from __future__ import annotations

from fastapi import HTTPException

from quintain.tasks.job_kinds import JOB_KINDS
from quintain.web.security.roles import Role
from quintain.web.security.sessions import Visitor

__all__ = ["check_may_ask", "may_ask"]


def may_ask(visitor: Visitor, kind: str) -> bool:
    """Whether a visitor may ask for, stop and resume jobs of a kind; an unknown one is refused elsewhere."""
    known = JOB_KINDS.get(kind)
    return visitor.role >= (Role.ENGINEER if known and known.engineer else Role.OPERATOR)


def check_may_ask(visitor: Visitor, kind: str) -> None:
    """
    Let nobody ask for what they may not.

    Raises
    ------
    HTTPException
        403 if the kind needs an engineer and the visitor is none.
    """
    if not may_ask(visitor, kind):
        raise HTTPException(403, "This needs the role of engineer; sign in with its passphrase.")
