"""Units as files write them, and the SI unit, quantity and factor that each stands for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from quintain.errors import ChannelError, UnitError, UsageError

__all__ = ["UNKNOWN", "Unit", "UnitsGiven", "find_unit", "parse_units", "require_unit", "split_unit"]

_POUND = 0.45359237
_GRAVITY = 9.80665
_DEGREE = 0.017453292519943295


class Unit(NamedTuple):
    """
    A unit of a file: ``value_in_si = offset + factor * value_in_file``.

    ``text`` is the unit as the file wrote it, ``si`` the unit that it is converted to.
    """

    text: str
    quantity: str
    si: str
    factor: float
    offset: float = 0.0


UNKNOWN = Unit("", "unknown", "?", 1.0)
"""Stands for a unit that the file does not state; samples in it are not given out."""

# quantity, SI unit, {spelling: factor}. Factors that are not powers of ten or 60: the international
# pound, inch and foot and standard gravity (exact; NIST SP 811:2008, appendix B.8).
_TABLE: tuple[tuple[str, str, dict[str, float]], ...] = (
    (
        "force",
        "N",
        {
            "N": 1, "Newton": 1, "Newtons": 1, "mN": 1e-3, "kN": 1e3, "daN": 10, "MN": 1e6,
            "kgf": _GRAVITY, "kp": _GRAVITY, "gf": _GRAVITY / 1e3, "lbf": _POUND * _GRAVITY,
            "klbf": 1e3 * _POUND * _GRAVITY, "kip": 1e3 * _POUND * _GRAVITY,
        },
    ),
    (
        "acceleration",
        "m/s²",
        {
            "m/s2": 1, "m/s/s": 1, "ms-2": 1, "mm/s2": 1e-3, "cm/s2": 1e-2, "ft/s2": 0.3048,
            "g": _GRAVITY, "gn": _GRAVITY, "g0": _GRAVITY, "mg": _GRAVITY / 1e3, "mps2": 1,
        },
    ),
    (
        "angular_rate",
        "rad/s",
        {"rad/s": 1, "deg/s": _DEGREE, "°/s": _DEGREE, "dps": _DEGREE, "rpm": 0.10471975511965977},
    ),
    ("angle", "rad", {"rad": 1, "deg": _DEGREE, "°": _DEGREE, "degrees": _DEGREE}),
    (
        "position",
        "m",
        {
            "m": 1, "meter": 1, "metre": 1, "mm": 1e-3, "cm": 1e-2, "dm": 0.1, "km": 1e3, "um": 1e-6,
            "nm": 1e-9, "in": 0.0254, "inch": 0.0254, "ft": 0.3048,
        },
    ),
    (
        "speed",
        "m/s",
        {"m/s": 1, "ms-1": 1, "mm/s": 1e-3, "cm/s": 1e-2, "km/h": 1 / 3.6, "ft/s": 0.3048, "mph": 0.44704},
    ),
    ("voltage", "V", {"V": 1, "Volt": 1, "Volts": 1, "mV": 1e-3, "uV": 1e-6, "kV": 1e3}),
    ("voltage_ratio", "V/V", {"V/V": 1, "mV/V": 1e-3, "uV/V": 1e-6}),
    ("current", "A", {"A": 1, "mA": 1e-3, "uA": 1e-6}),
    (
        "time",
        "s",
        {
            "s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "Sek": 1, "Sekunden": 1,
            "ms": 1e-3, "msec": 1e-3, "us": 1e-6, "usec": 1e-6, "ns": 1e-9, "min": 60,
            "minutes": 60, "h": 3600, "hours": 3600,
        },
    ),
    (
        "pressure",
        "Pa",
        {
            "Pa": 1, "hPa": 100, "kPa": 1e3, "MPa": 1e6, "bar": 1e5, "mbar": 100,
            "psi": _POUND * _GRAVITY / 0.0254**2,
        },
    ),
    ("moment", "N·m", {"Nm": 1, "Nmm": 1e-3, "kNm": 1e3, "Ncm": 1e-2, "lbfft": _POUND * _GRAVITY * 0.3048}),
    ("strain", "1", {"strain": 1, "m/m": 1, "um/m": 1e-6, "ustrain": 1e-6, "microstrain": 1e-6, "uε": 1e-6}),
    ("frequency", "Hz", {"Hz": 1, "kHz": 1e3, "MHz": 1e6}),
    ("temperature", "K", {"K": 1}),
    ("magnetic_field", "T", {"T": 1, "mT": 1e-3, "uT": 1e-6, "G": 1e-4}),
)  # fmt: skip

_EXACT = {
    spelling: Unit(spelling, quantity, si, factor)
    for quantity, si, spellings in _TABLE
    for spelling, factor in spellings.items()
}
_EXACT |= {t: Unit(t, "temperature", "K", 1.0, 273.15) for t in ("°C", "degC", "Celsius")}
_LOWER: dict[str, set[str]] = {}
for _spelling in _EXACT:
    if len(_spelling) > 1:
        _LOWER.setdefault(_spelling.lower(), set()).add(_spelling)

# µ has two code points. Powers, dots and blanks are written in many ways and never tell units apart here.
_SPELLED = str.maketrans(
    {"µ": "u", "μ": "u", "²": "2", "⁻": "-", "¹": "1", "·": "", "*": "", "^": "", " ": "", ".": ""}
)


def find_unit(text: str) -> Unit | None:
    """
    Look up a unit by its spelling.

    Parameters
    ----------
    text : str
        The unit as a file or a person wrote it, with or without brackets around it.

    Returns
    -------
    Unit or None
        None if the spelling is not known, or if its meaning hangs on upper and lower case that does
        not match ('mn' may be a millinewton or a meganewton).

    Examples
    --------
    >>> find_unit("[kN]").factor, find_unit("m/s^2").si, find_unit("furlong")
    (1000.0, 'm/s²', None)
    """
    text = text.strip()
    if len(text) > 2 and text[0] + text[-1] in ("[]", "()", "{}", "<>"):
        text = text[1:-1].strip()
    if not text or len(text) > 24:
        return None
    spelled = text.translate(_SPELLED)
    unit = _EXACT.get(spelled)
    if unit is None:
        same = _LOWER.get(spelled.lower(), set())
        if len(same) != 1:
            return None
        unit = _EXACT[next(iter(same))]
    return unit._replace(text=text, factor=float(unit.factor))


def require_unit(text: str, *, channel: str, where: str) -> Unit:
    """
    Look up a unit that must be known.

    Raises
    ------
    UnitError
        If the spelling is not known.
    """
    unit = find_unit(text)
    if unit is None:
        raise UnitError(
            f"{where}: unit {text!r} of channel {channel!r} is not known — expected one of: "
            f"{', '.join(_EXACT)}. State the right one with units."
        )
    return unit


_UNDERSCORED = {"_m_s2": "m/s2", "_rad_s": "rad/s", "_deg_s": "deg/s", "_m_s": "m/s", "_mV_V": "mV/V"}
_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[\[({<](?P<unit>[^\[\](){}<>]*)[\])}>]\s*[:#]?\s*$")
_TAILED = re.compile(r"^(?P<name>.+?)\s*(?:_| in |, |\s*/\s*|\s)\s*(?P<unit>[^\s_,]+)$")


def split_unit(label: str) -> tuple[str, str]:
    """
    Split a column label into the channel's name and the unit it states.

    Parameters
    ----------
    label : str
        Label such as 'Kraft [kN]', 'Fz (N)', 'force_N', 'acc_x_g', 'Weg in mm' or 'F / N'.

    Returns
    -------
    name : str
        Label without the unit.
    unit : str
        Unit as written, '' if the label states none. What stands in brackets and is no index counts
        as a unit even if it is not known, so that a misspelt unit is not taken for a missing one.

    Examples
    --------
    >>> split_unit("Kraft [kN]"), split_unit("acc_x_g"), split_unit("C7[0]"), split_unit("left_hand")
    (('Kraft', 'kN'), ('acc_x', 'g'), ('C7[0]', ''), ('left_hand', ''))
    """
    label = label.strip()
    match = _BRACKETED.match(label)
    if match and match["unit"].strip() and not re.fullmatch(r"\s*#?\d*\s*", match["unit"]):
        return match["name"].strip() or label, match["unit"].strip()
    for tail, unit in _UNDERSCORED.items():
        if label.endswith(tail):
            return label.removesuffix(tail), unit
    match = _TAILED.match(label)
    # Case must match here: 'ch_a' is a name, 'shunt_A' may be a current.
    if (
        match
        and match["unit"].translate(_SPELLED) in _EXACT
        and match["unit"] not in ("A", "T", "G", "K", "in", "h")
    ):
        return match["name"].rstrip(" _/,"), match["unit"]
    return label, ""


class UnitsGiven(NamedTuple):
    """What a user says about units: one for all channels that state none, and units by channel."""

    for_all: str
    by_channel: dict[str, str]

    def check_names(self, names: Iterable[str], where: str) -> None:
        """
        Refuse a unit given to a channel that is not there.

        Raises
        ------
        ChannelError
            If ``by_channel`` names a channel that is not among ``names``.
        """
        names = list(names)
        for name in self.by_channel:
            if name not in names:
                there = ", ".join(map(repr, names)) or "none"
                raise ChannelError(
                    f"{where}: there is no channel {name!r} to give a unit to; there are: {there}"
                )

    def choose(self, name: str, stated: str, where: str) -> Unit:
        """
        Unit of a channel: what the user says about it, else what the file states, else what is for all.

        Returns
        -------
        Unit
            :data:`UNKNOWN` with the file's spelling if no unit, or none that is known, is stated. A 'g'
            behind a name that says force is not known either: it may be a gram or an acceleration.

        Raises
        ------
        UnitError
            If the user gives a unit that is not known.
        """
        if given := self.by_channel.get(name, "" if stated else self.for_all):
            return require_unit(given, channel=name, where=where)
        unit = find_unit(stated)
        if unit is None or (unit.text == "g" and _says_force(name)):
            return UNKNOWN._replace(text=stated)
        return unit


def _says_force(name: str) -> bool:
    word = name.lower()
    return word in ("f", "fx", "fy", "fz") or any(
        part in word for part in ("force", "kraft", "load", "last", "effort", "weight")
    )


def parse_units(units: str | Mapping[str, str] | None) -> UnitsGiven:
    """
    Read what a user says about units.

    Parameters
    ----------
    units : str or mapping or None
        One unit for all channels that state none ('N'), or units by channel ('acc=g,force=kN', or a
        mapping).

    Returns
    -------
    UnitsGiven
        What was said.

    Raises
    ------
    UsageError
        If an entry cannot be understood.

    Examples
    --------
    >>> parse_units("acc=g,force=kN").by_channel
    {'acc': 'g', 'force': 'kN'}
    """
    if units is None:
        return UnitsGiven("", {})
    if not isinstance(units, str):
        return UnitsGiven("", dict(units))
    if "=" not in units:
        return UnitsGiven(units.strip(), {})
    by_channel = {}
    for item in units.split(","):
        name, sign, unit = item.rpartition("=")
        if not sign or not name.strip() or not unit.strip():
            raise UsageError(
                f"units: {item.strip()!r} cannot be understood — expected channel=unit as in 'force=kN'."
            )
        by_channel[name.strip()] = unit.strip()
    return UnitsGiven("", by_channel)
