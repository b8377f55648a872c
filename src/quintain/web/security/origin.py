"""Which names the server answers to, and which pages may speak to it."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Mapping

__all__ = ["Hosts", "is_foreign"]

_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})


class Hosts:
    """
    The names a request may carry in ``Host``.

    A page elsewhere can have its own name point at this machine, but it cannot make the browser send
    another name than its own: asking for a known name stops it. Bare addresses are nobody's name and
    are taken where the server listens on a network.
    """

    def __init__(self, names: Iterable[str] = (), *, network: bool = False) -> None:
        self._names = _LOOPBACK | {name.strip("[]").lower() for name in names}
        self._network = network

    def knows(self, host: str) -> bool:
        """
        Whether a ``Host`` is one of ours.

        Examples
        --------
        >>> hosts = Hosts()
        >>> hosts.knows("localhost:8000"), hosts.knows("[::1]:8000"), hosts.knows("evil.example")
        (True, True, False)
        """
        name = _name(host)
        if name in self._names:
            return True
        if not self._network:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def _name(host: str) -> str:
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        return name.lower() if not rest or (rest[0] == ":" and rest[1:].isdigit()) else ""
    name, _, port = host.partition(":")
    return name.lower() if not port or port.isdigit() else ""


def is_foreign(headers: Mapping[str, str], scheme: str, *, origin_needed: bool = False) -> bool:
    """
    Whether a page of another origin is behind a request, by what the browser says.

    Parameters
    ----------
    headers : mapping
        Lower-case names.
    scheme : str
        'http' or 'https', as the server itself is reached.
    origin_needed : bool
        Refuse where the browser says nothing, as for a WebSocket.
    """
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = headers.get("origin")
    if origin is None:
        return origin_needed
    return origin.lower() != f"{scheme}://{headers.get('host', '').lower()}"
