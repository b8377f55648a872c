"""A report made of pieces of evidence: the one shape that rig, tap, drop and calibration reports share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from quintain.domain.history import Step
from quintain.report.cautions import LOCAL_RULES, Caution
from quintain.report.parts import Definition, Fact, Section, StepLine, as_words, definitions, step_line
from quintain.report.verdict import Verdict

__all__ = ["Document", "document"]


@dataclass(frozen=True, slots=True)
class Document:
    """Everything a report says; ``date`` is ISO 8601, or empty where nothing tells it."""

    title: str
    kind: str
    file: str
    invented: bool
    verdict: Verdict
    why: str
    sections: tuple[Section, ...]
    definitions: tuple[Definition, ...]
    rig: tuple[Fact, ...]
    provenance: tuple[Fact, ...]
    history: tuple[StepLine, ...]
    cautions: tuple[Caution, ...]
    local_rules: str
    software: str
    date: str


def document(
    *,
    title: str,
    kind: str,
    file: str,
    invented: bool,
    verdict: Verdict,
    why: str,
    sections: Sequence[Section],
    cautions: Sequence[Caution],
    names: Sequence[str] = (),
    rig: Sequence[Fact] = (),
    provenance: Sequence[Fact] = (),
    history: Sequence[Step] = (),
    software: str,
    date: str = "",
) -> dict[str, Any]:
    """
    A document as plain mappings, lists and strings.

    ``names`` are quantities whose definitions are wanted beside those of the sections' rows; the date is
    that of the last step of the history unless another is given.
    """
    used = {row.name for section in sections for row in section.rows} | set(names)
    whole = Document(
        title=title,
        kind=kind,
        file=file,
        invented=invented,
        verdict=verdict,
        why=why,
        sections=tuple(sections),
        definitions=definitions(used),
        rig=tuple(rig),
        provenance=tuple(provenance),
        history=tuple(step_line(step) for step in history),
        cautions=tuple(cautions),
        local_rules=LOCAL_RULES,
        software=software,
        date=date or (history[-1].utc if history else ""),
    )
    words: dict[str, Any] = as_words(whole)
    return words
