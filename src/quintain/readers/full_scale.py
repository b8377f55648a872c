"""What a user says a full-scale sample stands for, in files whose numbers have no unit."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from quintain.errors import ChannelError, UsageError
from quintain.readers.units import Unit, require_unit

__all__ = ["parse_full_scale"]

_AMOUNT = re.compile(r"\s*([+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?)\s*(\S.*?)\s*")


def parse_full_scale(
    text: str | Mapping[str, str] | None, names: Sequence[str], where: str
) -> dict[str, tuple[float, Unit]]:
    """
    Read the setting ``full_scale``.

    Parameters
    ----------
    text : str or mapping or None
        ``'5000 N'`` for all channels, or ``'channel 1=5000 N,channel 2=50 g'``.
    names : sequence of str
        Channels of the file.
    where : str
        File, for messages.

    Returns
    -------
    dict of str to (float, Unit)
        Amount and unit of full scale by channel; channels without one are left out.

    Raises
    ------
    UsageError
        If an entry cannot be understood.
    ChannelError
        If a channel is not there.
    UnitError
        If a unit is not known.

    Examples
    --------
    >>> parse_full_scale("5 kN", ["channel 1"], "a.wav")["channel 1"][1].factor
    1000.0
    """
    if text is None:
        return {}
    if isinstance(text, str) and "=" not in text:
        entries = dict.fromkeys(names, text)
    elif isinstance(text, str):
        entries = {}
        for item in text.split(","):
            name, _, amount = item.rpartition("=")
            entries[name.strip()] = amount
    else:
        entries = dict(text)
    found = {}
    for name, amount in entries.items():
        if name not in names:
            raise ChannelError(
                f"{where}: there is no channel {name!r}; there are: {', '.join(map(repr, names))}"
            )
        match = _AMOUNT.fullmatch(amount)
        if not match or float(match[1]) == 0:
            raise UsageError(
                f"full_scale: {amount.strip()!r} cannot be understood — expected an amount and a unit as "
                "in '5000 N'."
            )
        found[name] = (float(match[1]), require_unit(match[2], channel=name, where=where))
    return found
