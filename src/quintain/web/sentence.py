"""Words of an error as a sentence."""

from __future__ import annotations

__all__ = ["as_sentence"]


def as_sentence(words: object) -> str:
    """
    Words with a capital and a full stop, as a page says them.

    Examples
    --------
    >>> as_sentence("code: expected one without spaces, got 'S 1'")
    "Code: expected one without spaces, got 'S 1'."
    """
    text = str(words)
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."
