"""Every file of other programs either reads or is refused in words."""

from __future__ import annotations

import pytest

from quintain.errors import QuintainError
from quintain.readers import registry
from shared_data import ROOT, shared

_NOT_RECORDINGS = ("LICENSE", "COPYING")
FILES = sorted(
    str(path.relative_to(ROOT))
    for path in (ROOT / "formats").rglob("*")
    if path.is_file() and not path.name.startswith(_NOT_RECORDINGS)
) or ["formats"]


def _refusals(path: str) -> list[str]:
    """What is said against the file or its channels; any other exception fails the test."""
    try:
        traces = registry.read(path).traces
    except QuintainError as error:
        return [str(error)]
    said = []
    for trace in traces:
        try:
            for _ in trace.blocks():
                pass
        except QuintainError as error:
            said.append(str(error))
    return said


@pytest.mark.parametrize("name", FILES)
def test_reads_or_is_refused_in_words(name: str) -> None:
    path = str(shared(name))
    if name == "formats":
        pytest.skip("no files of other programs on this machine")
    for words in _refusals(path):
        assert path in words
        assert "\n" not in words
