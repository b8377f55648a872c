"""Who, what and when from the name of a file, by a pattern that people can read."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path

from quintain.errors import UsageError

__all__ = ["PLACEHOLDERS", "NamePattern"]

PLACEHOLDERS = {
    "person": "code of the person",
    "type": "type of strike",
    "side": "left or right",
    "session": "code of the session",
    "rig": "name of the rig",
    "kind": "strikes (or force), motion, taps, drops, zero, loads",
    "trial": "a whole number",
    "date": "as 2026-11-25 or 20261125",
    "time": "as 09-30, 0930 or 093015",
    "any": "whatever stands there; may be used several times",
}
"""What may stand in braces, and what it stands for."""

_FORMS = {
    "trial": r"\d+",
    "date": r"\d{4}-?\d{2}-?\d{2}",
    "time": r"\d{2}[-.h]?\d{2}(?:[-.m]?\d{2})?",
}


@dataclass(frozen=True, slots=True)
class NamePattern:
    """
    A pattern such as ``{person}_{type}_{side}_{trial}``.

    What stands for a placeholder holds none of the marks that divide the pattern, so there is one way
    to read a name. The ending of the file is left out unless the pattern has one; with ``/`` in it,
    folders are looked at too.
    """

    text: str
    expression: re.Pattern[str]
    depth: int
    ending: bool

    @classmethod
    def parse(cls, text: str) -> NamePattern:
        """
        Understand a pattern.

        Raises
        ------
        UsageError
            If it names something unknown or can be read in several ways.

        Examples
        --------
        >>> NamePattern.parse("{person}_{type}_{trial}").match("2026/P-01_front kick_3.csv")
        {'person': 'P-01', 'type': 'front kick', 'trial': '3'}
        >>> NamePattern.parse("{session}/{person}").match("monday/P-01.wav")
        {'session': 'monday', 'person': 'P-01'}
        """
        pieces = re.split(r"\{([^{}]*)\}", text.strip())
        literals, names = pieces[::2], pieces[1::2]
        if not names or any(mark in literal for literal in literals for mark in "{}"):
            raise UsageError(
                f"the pattern {text!r} needs placeholders in braces, as in '{{person}}_{{type}}_{{trial}}'; "
                f"there are: {', '.join(PLACEHOLDERS)}"
            )
        for i, name in enumerate(names):
            if name not in PLACEHOLDERS:
                close = difflib.get_close_matches(name, PLACEHOLDERS, n=1)
                hint = f"did you mean {{{close[0]}}}?" if close else f"there are: {', '.join(PLACEHOLDERS)}"
                raise UsageError(f"the pattern {text!r} holds {{{name}}}, which stands for nothing; {hint}")
            if name != "any" and name in names[:i]:
                raise UsageError(f"the pattern {text!r} holds {{{name}}} twice; use {{any}} for one of them")
            if i and not literals[i]:
                raise UsageError(
                    f"nothing divides {{{names[i - 1]}}} from {{{name}}} in the pattern {text!r}; put a mark "
                    "such as '_' between them"
                )
        marks = {literal[0] for literal in literals[1:-1]} | {literal[-1] for literal in literals[1:-1]}
        free = f"[^/{re.escape(''.join(sorted(marks)))}]+"
        expression = "".join(
            re.escape(literal) + (f"({_FORMS.get(names[i], free)})" if i < len(names) else "")
            for i, literal in enumerate(literals)
        )
        last = literals[-1].rpartition("/")[2]
        return cls(text.strip(), re.compile(expression, re.IGNORECASE), text.count("/") + 1, "." in last)

    @property
    def names(self) -> list[str]:
        """Placeholders in order."""
        return re.findall(r"\{([^{}]*)\}", self.text)

    def match(self, path: str | Path) -> dict[str, str] | None:
        """What the name of a file says by placeholder; None if it does not fit."""
        path = Path(path)
        name = path if self.ending else path.with_suffix("")
        found = self.expression.fullmatch("/".join(name.parts[-self.depth :]))
        if found is None:
            return None
        return {
            key: value.strip()
            for key, value in zip(self.names, found.groups(), strict=True)
            if key != "any" and value.strip()
        }
