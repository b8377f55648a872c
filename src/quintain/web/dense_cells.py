"""The two cells of a value in a dense table: hundreds a page, so no template is asked for each."""

from __future__ import annotations

from markupsafe import Markup

from quintain.domain.measured import Measured
from quintain.report.rounding import shown

__all__ = ["cells"]

_NOTHING = Markup(
    '<td class="val" data-sort=""><span aria-hidden="true">–</span><span class="sr">not stated</span></td>'
    '<td class="pm"></td>'
)


def cells(measured: Measured | None, doubted: bool = False) -> Markup:
    """
    Set a value and its expanded uncertainty as two cells; None gives a dash.

    Examples
    --------
    >>> print(cells(Measured("impulse", 38.4234, 0.21)))
    <td class="val" data-sort="38.4234">38.4</td><td class="pm">± 0.4</td>
    """
    if measured is None:
        return _NOTHING
    text = shown(measured)  # digits and signs: nothing in it could be taken for markup
    value = f'<span class="doubted">{text.value}</span>' if doubted else text.value
    spread = "" if text.expanded == "0" else f"± {text.expanded}"
    return Markup(f'<td class="val" data-sort="{measured.value}">{value}</td><td class="pm">{spread}</td>')
