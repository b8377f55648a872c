"""What stands on each page of a PDF, for tests: the count needs no library, the words need poppler."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from pathlib import Path

import pytest

__all__ = ["count_pages", "words_of_pages"]


def count_pages(path: Path) -> int:
    """Page objects of the file, in the open or in compressed object streams (ISO 32000-1, 7.5.7, 7.7.3)."""
    raw = path.read_bytes()
    parts = [raw]
    for stream in re.finditer(rb"stream\r?\n(.*?)endstream", raw, re.DOTALL):
        try:
            parts.append(zlib.decompressobj().decompress(stream[1]))
        except zlib.error:
            continue
    return sum(len(re.findall(rb"/Type\s*/Page(?![a-zA-Z])", part)) for part in parts)


def words_of_pages(path: Path) -> list[str]:
    """Text of each page as poppler reads it; the test is skipped where poppler is not installed."""
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("poppler's pdftotext is not installed: apt-get install poppler-utils")
    told = subprocess.run(
        [program, "-layout", str(path), "-"], capture_output=True, check=True, text=True, encoding="utf-8"
    )
    return told.stdout.split("\f")[:-1]
