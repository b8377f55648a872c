"""How much a request may send, counted on what arrives and not on what it claims."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["USUAL", "Body", "BodyLimit"]

USUAL = 1 << 20
"""Bytes of any request but an upload."""


class Body:
    """The body of one request: its limit, which an upload raises before reading, and what arrived."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self.limit = USUAL
        self.arrived = 0

    async def receive(self) -> Message:
        """Pass a message on, or refuse with 413."""
        message = await self._receive()
        if message["type"] == "http.request":
            self.arrived += len(message.get("body", b""))
            if self.arrived > self.limit:
                raise HTTPException(413, f"More than {_size(self.limit)} arrived; nothing was kept.")
        return message


def _size(limit: int) -> str:
    return f"{limit / 1e9:.3g} GB" if limit >= 1e9 else f"{limit / 1e6:.3g} MB"


class BodyLimit:
    """Counts every body; ``request.state.body`` is its :class:`Body`."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count what this request sends."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        body = Body(receive)
        scope.setdefault("state", {})["body"] = body
        await self._app(scope, body.receive, send)
