"""Passphrases, kept as scrypt hashes (RFC 7914) in a file that only its owner may read."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from quintain.errors import UsageError
from quintain.web.security.roles import Role

__all__ = ["SHORTEST", "Access", "hash_passphrase", "matches", "write_passphrase"]

SHORTEST = 10
"""Characters a passphrase needs; common practice, no source."""

_N, _R, _P = 1 << 15, 8, 1
"""Cost of one check: 32 MB and about a tenth of a second."""

_MEMORY = 128 * _N * _R * 2


def _scrypt(passphrase: str, salt: bytes) -> bytes:
    return hashlib.scrypt(passphrase.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MEMORY, dklen=32)


def hash_passphrase(passphrase: str) -> str:
    """
    Hash a passphrase with a fresh salt.

    Raises
    ------
    UsageError
        If it is shorter than :data:`SHORTEST` characters.
    """
    if len(passphrase) < SHORTEST:
        raise UsageError(
            f"the passphrase has {len(passphrase)} characters; it needs at least {SHORTEST}. "
            "Several words are easy to remember"
        )
    salt = secrets.token_bytes(16)
    digest = _scrypt(passphrase, salt)
    return f"scrypt${_N}${_R}${_P}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def matches(passphrase: str, stored: str | None) -> bool:
    """
    Compare in constant time; an absent hash costs the same and never matches.

    Examples
    --------
    >>> stored = hash_passphrase("seven calm herons")
    >>> matches("seven calm herons", stored), matches("seven calm heron", stored)
    (True, False)
    """
    salt, digest = (b"\0" * 16, b"") if stored is None else _parts(stored)
    return hmac.compare_digest(_scrypt(passphrase, salt), digest)


def _parts(stored: str) -> tuple[bytes, bytes]:
    kind, n, r, p, salt, digest = stored.split("$")
    if (kind, int(n), int(r), int(p)) != ("scrypt", _N, _R, _P):
        raise ValueError("another kind of hash")
    return base64.b64decode(salt, validate=True), base64.b64decode(digest, validate=True)


@dataclass(frozen=True, slots=True)
class Access:
    """The hashes by role. A role without a passphrase cannot sign in."""

    hashes: dict[Role, str]

    @classmethod
    def load(cls, path: Path) -> Access:
        """
        Read an access file.

        Raises
        ------
        UsageError
            If it is not there, others may read it, or an entry is none of ours.
        """
        again = f"write it with: quintain passphrase ROLE --file {path}"
        if not path.is_file():
            raise UsageError(f"{path}: there is no access file; {again}")
        if os.name == "posix" and path.stat().st_mode & 0o077:
            raise UsageError(f"{path}: others on this machine may read or write it; do: chmod 600 {path}")
        hashes: dict[Role, str] = {}
        try:
            entries = tomlkit.parse(path.read_text(encoding="utf-8")).unwrap()
        except (OSError, ValueError) as problem:
            raise UsageError(f"{path}: cannot be read as an access file ({problem}); {again}") from None
        for word, stored in entries.items():
            role = Role.of(word)
            if role is None:
                names = ", ".join(r.word for r in Role)
                raise UsageError(f"{path}: unknown role {word!r}; there are: {names}")
            try:
                _parts(str(stored))
            except ValueError:
                raise UsageError(f"{path}: the hash of {word} is damaged; {again}") from None
            hashes[role] = str(stored)
        return cls(hashes)

    def require_all(self, path: Path) -> None:
        """Refuse a file in which a role has no passphrase."""
        missing = [role.word for role in Role if role not in self.hashes]
        if missing:
            raise UsageError(
                f"{path}: no passphrase for {' and '.join(missing)}; write it with: "
                f"quintain passphrase {missing[0]} --file {path}"
            )


def write_passphrase(path: Path, role: Role, passphrase: str) -> None:
    """Put one role's hash into the access file, which is made readable by its owner alone (0600)."""
    hashes = dict(Access.load(path).hashes) if path.exists() else {}
    hashes[role] = hash_passphrase(passphrase)
    text = "# Quintain: scrypt hashes of passphrases, one a role. Keep it to yourself.\n" + "".join(
        f'{r.word} = "{stored}"\n' for r, stored in sorted(hashes.items())
    )
    fresh = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    fresh.replace(path)
