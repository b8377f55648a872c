"""Write a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from quintain.errors import OutputError

__all__ = ["write_whole"]


def write_whole(path: str | Path, content: bytes) -> Path:
    """
    Put ``content`` at ``path``: under another name first, then renamed, so nobody sees half of it.

    Raises
    ------
    OutputError
        If the file cannot be written; what stood there before is still there.
    """
    path = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    except OSError as problem:
        raise _refusal(path, problem) from None
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except OSError as problem:
        raise _refusal(path, problem) from None
    finally:
        Path(name).unlink(missing_ok=True)
    return path


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _refusal(path: Path, problem: OSError) -> OutputError:
    return OutputError(f"{path}: cannot write here: {problem.strerror}; choose a folder you may write to")
