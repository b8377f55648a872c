"""The one way in: every request passes here, so that no page can forget a check."""

from __future__ import annotations

import logging
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from quintain.web.failures import failure
from quintain.web.security import csrf
from quintain.web.security.origin import Hosts, is_foreign
from quintain.web.security.passphrases import Access
from quintain.web.security.roles import Role
from quintain.web.security.sessions import Sessions, Visitor
from quintain.web.security.sign_in_limit import SignInLimit

__all__ = ["Door", "Gate", "session_cookie", "visit_cookie"]

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_PEEK = 4096
"""Bytes of a form with files in which its first field, the token, is looked for."""

_OPEN = ("/static/", "/sign-in", "/theme", "/sign-out", "/api/token")
"""Reached without a role; unsafe methods still need the token."""

_ARRIVE = (
    '<!doctype html><meta http-equiv="refresh" content="0"><title>Quintain</title><p><a href="">Go on</a>'
)
_log = logging.getLogger("quintain.web")


@dataclass(slots=True)
class Door:
    """What the gate knows. Without ``access`` everybody who reaches the server is an engineer."""

    hosts: Hosts
    access: Access | None = None
    local_name: str = "this computer"
    sessions: Sessions = field(default_factory=Sessions)
    limit: SignInLimit = field(default_factory=SignInLimit)
    csrf: csrf.Csrf = field(default_factory=csrf.Csrf)

    def visitor(self, token: str | None) -> Visitor | None:
        """Whoever comes with this session token."""
        if self.access is None:
            return Visitor(Role.ENGINEER, self.local_name)
        return self.sessions.find(token)


def session_cookie(scope: Scope) -> str:
    """Name of the session's cookie; browsers do not part cookies by port, so the name does."""
    return _cookie(scope, "session")


def visit_cookie(scope: Scope) -> str:
    """Name of the cookie that tokens against forged requests belong to."""
    return _cookie(scope, "visit")


def _cookie(scope: Scope, what: str) -> str:
    host = "__Host-" if scope["scheme"] in ("https", "wss") else ""
    return f"{host}quintain-{what}-{(scope.get('server') or ('', 0))[1]}"


def _cookies(headers: Headers) -> dict[str, str]:
    jar: SimpleCookie = SimpleCookie()
    for line in headers.getlist("cookie"):
        try:
            jar.load(line)
        except CookieError:
            continue
    return {name: morsel.value for name, morsel in jar.items()}


class Gate:
    """Host, origin, session, token and role, in this order; and errors that nobody foresaw."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "websocket":
            await self._websocket(scope, receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        scheme = "https" if scope["scheme"] == "wss" else "http"
        visitor = self._door.visitor(_cookies(headers).get(session_cookie(scope)))
        if (
            not self._door.hosts.knows(headers.get("host", ""))
            or is_foreign(headers, scheme, origin_needed=True)
            or visitor is None
        ):
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": "refused"})
            return
        scope.setdefault("state", {})["visitor"] = visitor
        await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        if not self._door.hosts.knows(headers.get("host", "")) or len(headers.getlist("host")) != 1:
            words = "This server does not answer to that name; use the address that quintain serve printed.\n"
            await PlainTextResponse(words, 421)(scope, receive, send)
            return
        cookies = _cookies(headers)
        session, visit = cookies.get(session_cookie(scope)), cookies.get(visit_cookie(scope))
        fresh = secrets.token_urlsafe(32) if not visit else ""
        visitor = self._door.visitor(session)
        state = scope.setdefault("state", {})
        state |= {"visitor": visitor, "bond": _bond(visit or fresh, session if visitor else None)}
        started = False

        async def send_on(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                if fresh and not scope["path"].startswith("/static/"):
                    secure = "; Secure" if scope["scheme"] == "https" else ""
                    MutableHeaders(scope=message).append(
                        "set-cookie", f"{visit_cookie(scope)}={fresh}; Path=/; HttpOnly; SameSite=Lax{secure}"
                    )
            await send(message)

        request = Request(scope)
        try:
            receive = await self._check_unsafe(scope, headers, bool(visit), receive)
            answer = self._refusal(request, visitor)
            await (answer or self._app)(scope, receive, send_on)
        except HTTPException as problem:
            if started:
                raise
            await failure(request, problem.status_code, problem.detail)(scope, receive, send_on)
        except Exception:
            code = secrets.token_hex(4)
            _log.exception("failure %s at %s %s", code, scope["method"], scope["path"])
            if started:
                raise
            words = f"Nothing half done was kept. The server's log holds the details under {code}."
            await failure(request, 500, words)(scope, receive, send_on)

    async def _check_unsafe(self, scope: Scope, headers: Headers, known: bool, receive: Receive) -> Receive:
        """Refuse a forged request; hand back a stream on which nothing is missing."""
        if scope["method"] in _SAFE:
            return receive
        if is_foreign(headers, scope["scheme"]):
            raise HTTPException(403, "The request came from another site's page, so it was refused.")
        token, kept = headers.get(csrf.HEADER), []
        if token is None:
            start, kind = b"", headers.get("content-type", "")
            while True:
                message = await receive()
                kept.append(message)
                start += message.get("body", b"")
                enough = kind.startswith("multipart/") and len(start) >= _PEEK
                if message["type"] != "http.request" or not message.get("more_body") or enough:
                    break
            token = csrf.field_of(kind, start)
        if not known or not self._door.csrf.good(token, scope["state"]["bond"]):
            raise HTTPException(
                403,
                "The form was made before the server or you signed in anew; load the page again and repeat.",
            )
        return _replay(kept, receive)

    def _refusal(self, request: Request, visitor: Visitor | None) -> Response | None:
        path = request.url.path
        if any(path == way or path.startswith(way.rstrip("/") + "/") for way in _OPEN):
            return None
        if visitor is None:
            return _to_sign_in(request)
        if request.method not in _SAFE and visitor.role < Role.OPERATOR:
            raise HTTPException(403, "A viewer looks; to change something, sign in as operator or engineer.")
        return None


def _bond(visit: str, session: str | None) -> str:
    return f"{visit}|{session or ''}"


def _replay(kept: list[Message], receive: Receive) -> Receive:
    waiting = iter(kept)

    async def replayed() -> Message:
        for message in waiting:
            return message
        return await receive()

    return replayed


def _to_sign_in(request: Request) -> Response:
    if request.method not in _SAFE or request.url.path.startswith("/api/"):
        raise HTTPException(401, "Sign in first, at /sign-in.")
    if request.headers.get("sec-fetch-site") == "cross-site":
        # a link from elsewhere comes without our strict cookie; asked for again, it comes with it
        return HTMLResponse(_ARRIVE)
    where = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    to = f"/sign-in?next={quote(where, safe='')}"
    if "hx-request" in request.headers:
        return Response(status_code=401, headers={"HX-Redirect": to})
    return RedirectResponse(to, 303)
