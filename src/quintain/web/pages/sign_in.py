"""Signing in and out."""

from __future__ import annotations

import math
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from quintain.web.local_path import local_path
from quintain.web.rendering import page
from quintain.web.security.gate import session_cookie
from quintain.web.security.passphrases import matches
from quintain.web.security.roles import Role
from quintain.web.security.sessions import Visitor

__all__ = ["router"]

_NAME = 40
"""Letters of a name that are kept."""

router = APIRouter(include_in_schema=False)


@router.get("/sign-in")
def sign_in_page(request: Request, next: str = "/") -> Response:
    """Ask for role and passphrase."""
    return page(request, "sign_in.html", next=local_path(next), problem="", role="viewer", who="")


@router.post("/sign-in")
async def sign_in(
    request: Request,
    role: Annotated[str, Form()] = "",
    passphrase: Annotated[str, Form()] = "",
    who: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Check the passphrase; a wrong role, a role without one and a wrong passphrase look alike."""
    door = request.app.state.door
    if door.access is None:
        return RedirectResponse(local_path(next), 303)
    address = request.client.host if request.client else ""
    name = "".join(c for c in who if c.isprintable()).strip()[:_NAME]
    again = {"next": local_path(next), "role": role, "who": name}
    wait = door.limit.attempt(address)
    if wait:
        problem = f"Too many attempts. Wait {math.ceil(wait)} s and try again."
        answer = page(request, "sign_in.html", status=429, problem=problem, **again)
        answer.headers["Retry-After"] = str(math.ceil(wait))
        return answer
    wanted = Role.of(role)
    stored = door.access.hashes.get(wanted) if wanted else None
    if not await run_in_threadpool(matches, passphrase, stored) or wanted is None:
        problem = "Role and passphrase do not belong together. Try again, or ask whoever runs this server."
        return page(request, "sign_in.html", status=403, problem=problem, **again)
    door.limit.forgive(address)
    token = door.sessions.begin(Visitor(wanted, name or wanted.word))
    signed_in = RedirectResponse(local_path(next), 303)
    signed_in.set_cookie(
        session_cookie(request.scope), token, path="/", httponly=True, samesite="strict",
        secure=request.url.scheme == "https",
    )  # fmt: skip
    return signed_in


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Close the session."""
    name = session_cookie(request.scope)
    request.app.state.door.sessions.end(request.cookies.get(name))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(
        name, path="/", httponly=True, samesite="strict", secure=request.url.scheme == "https"
    )
    return answer
