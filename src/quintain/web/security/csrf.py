"""
A secret that only our own pages know, asked for on every unsafe method.

The token is a keyed hash of the visitor's cookie, masked anew in each page so that compressing the page
tells nothing about it.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
from urllib.parse import parse_qs

__all__ = ["FIELD", "HEADER", "Csrf", "field_of"]

FIELD = "csrf"
"""Name of the form field; in a form with files it comes first."""

HEADER = "X-CSRF-Token"

_PART = re.compile(
    rb'\A(?:\r\n)?--[^\r\n]{1,200}\r\ncontent-disposition: form-data; name="' + FIELD.encode()
    + rb'"\r\n\r\n([A-Za-z0-9_=-]{1,200})\r\n',
    re.IGNORECASE,
)  # fmt: skip


class Csrf:
    """Makes and checks tokens; its key lives as long as the server."""

    def __init__(self) -> None:
        self._key = secrets.token_bytes(32)

    def token(self, visit: str) -> str:
        """A fresh token for whoever holds this cookie."""
        mask = secrets.token_bytes(32)
        return base64.urlsafe_b64encode(mask + _xor(mask, self._mark(visit))).decode()

    def good(self, token: str | None, visit: str | None) -> bool:
        """Whether the token was made for this cookie."""
        if not token or not visit:
            return False
        try:
            raw = base64.b64decode(token, altchars=b"-_", validate=True)
        except ValueError:
            return False
        return len(raw) == 64 and hmac.compare_digest(_xor(raw[:32], raw[32:]), self._mark(visit))

    def _mark(self, visit: str) -> bytes:
        return hmac.digest(self._key, visit.encode(), hashlib.sha256)


def _xor(a: bytes, b: bytes) -> bytes:
    return bytes(x ^ y for x, y in zip(a, b, strict=True))


def field_of(kind: str, start: bytes) -> str | None:
    """
    The token in the start of a form.

    Parameters
    ----------
    kind : str
        Its content type.
    start : bytes
        Its first bytes: all of a plain form, the first part of one with files.

    Examples
    --------
    >>> field_of("application/x-www-form-urlencoded", b"a=1&csrf=abc")
    'abc'
    """
    if kind.startswith("application/x-www-form-urlencoded"):
        try:
            return parse_qs(start.decode("ascii"), max_num_fields=1000).get(FIELD, [None])[0]
        except ValueError:
            return None
    if kind.startswith("multipart/form-data"):
        found = _PART.match(start)
        return found[1].decode() if found else None
    return None
