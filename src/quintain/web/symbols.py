"""Symbols of the glossary as a browser sets them."""

from __future__ import annotations

from markupsafe import Markup

__all__ = ["symbol"]

_LOW = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")


def symbol(text: str) -> Markup:
    """
    Set a symbol with its index lowered.

    Examples
    --------
    >>> symbol("J_z"), symbol("v₁")
    (Markup('J<sub>z</sub>'), Markup('v<sub>1</sub>'))
    """
    stem, _, index = text.partition("_")
    if not index and len(stem) > 1 and stem[-1].translate(_LOW) != stem[-1]:
        stem, index = stem[:-1], stem[-1].translate(_LOW)
    return Markup("{}<sub>{}</sub>").format(stem, index) if index else Markup("{}").format(stem)
