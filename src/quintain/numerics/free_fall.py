"""Free fall: speed of a dropped mass, local gravity, and what the air does to both."""

from __future__ import annotations

import math

__all__ = [
    "STANDARD_GRAVITY",
    "U_NORMAL_GRAVITY",
    "buoyancy_factor",
    "fall_time",
    "impact_speed",
    "impact_speed_in_air",
    "normal_gravity",
]

STANDARD_GRAVITY = 9.80665
"""Conventional standard acceleration of free fall, CGPM 3 (1901), exact. [m/s²]"""

U_NORMAL_GRAVITY = 5e-4
"""Standard uncertainty of :func:`normal_gravity` as the gravity of a laboratory. Order of the anomalies
left on land (from memory: a few tens of mGal, up to 100 in mountains; 1 mGal = 1e-5 m/s²). [m/s²]"""


def impact_speed(height: float, *, gravity: float = STANDARD_GRAVITY) -> float:
    r"""
    Speed of a dropped mass as it meets the pad.

    Parameters
    ----------
    height : float
        Fall from release to first touch, at least 0. [m]
    gravity : float
        Local acceleration of free fall; default is the standard value. [m/s²]

    Returns
    -------
    speed : float
        Downward speed at first touch. [m/s]

    Raises
    ------
    ValueError
        If ``height`` is negative or ``gravity`` is not positive.

    Notes
    -----
    Free fall from rest, :math:`v = \sqrt{2 g h}`, so :math:`u(v)/v = \frac12 u(h)/h`. Neglects air drag
    and rail friction: both make the true speed smaller. The standard gravity is wrong by up to 0.27 %
    on Earth, the speed by half of that; see :func:`normal_gravity`.

    Examples
    --------
    >>> round(impact_speed(0.500), 3)
    3.132
    """
    _check_fall(height, gravity)
    return math.sqrt(2 * gravity * height)


def fall_time(height: float, *, gravity: float = STANDARD_GRAVITY) -> float:
    r"""
    Time that a mass dropped from rest takes to the pad.

    Parameters
    ----------
    height, gravity
        As for :func:`impact_speed`.

    Returns
    -------
    time : float
        :math:`\sqrt{2h/g}`; longer in truth, for the reasons given there. [s]

    Raises
    ------
    ValueError
        As :func:`impact_speed`.

    Examples
    --------
    >>> round(fall_time(1.0), 4)
    0.4516
    """
    _check_fall(height, gravity)
    return math.sqrt(2 * height / gravity)


def impact_speed_in_air(
    height: float,
    mass: float,
    drag_area: float,
    *,
    gravity: float = STANDARD_GRAVITY,
    air_density: float = 1.2,
) -> float:
    r"""
    Speed of a dropped mass as it meets the pad, with the drag of the air.

    Parameters
    ----------
    height, gravity
        As for :func:`impact_speed`.
    mass : float
        Above 0. [kg]
    drag_area : float
        Drag coefficient times frontal area, at least 0. [m²]
    air_density : float
        At least 0. [kg/m³]

    Returns
    -------
    speed : float
        Downward speed at first touch. [m/s]

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    :math:`v^2 = (mg/k)(1 - e^{-2kh/m})`, :math:`k = \frac12 \rho\, c_d A`, for quadratic drag. To first
    order the speed is less by :math:`kh/2m` of itself: 0.03 % for a ball of 5 kg from 1 m. Use it to see
    that the drag may be left out.

    Examples
    --------
    >>> import math
    >>> ball = 0.47 * math.pi / 4 * 0.12**2
    >>> print(f"{impact_speed_in_air(1.0, 5.0, ball) / impact_speed(1.0) - 1:.3%}")
    -0.032%
    """
    if not (mass > 0 and drag_area >= 0 and air_density >= 0):
        raise ValueError(
            f"need a mass above 0 kg and no negative drag area or air density, got {mass} kg, "
            f"{drag_area} m² and {air_density} kg/m³"
        )
    loss = air_density * drag_area * height / mass
    # (1 - exp(-loss)) / loss, exact for small loss too
    kept = -math.expm1(-loss) / loss if loss > 0 else 1.0
    return impact_speed(height, gravity=gravity) * math.sqrt(kept)


def normal_gravity(latitude: float, altitude: float = 0.0) -> float:
    r"""
    Gravity of the reference ellipsoid at a latitude and height.

    Parameters
    ----------
    latitude : float
        Geodetic latitude, -90 to 90. [deg]
    altitude : float
        Height above the ellipsoid, -1000 to 10 000; height above sea level serves. [m]

    Returns
    -------
    gravity : float
        Acceleration of free fall; :data:`U_NORMAL_GRAVITY` for the gravity of a real place. [m/s²]

    Raises
    ------
    ValueError
        If latitude or altitude is out of its range.

    Notes
    -----
    Somigliana's closed form with the constants of WGS 84, and the second-order formula for height, NIMA
    TR8350.2 (2000), equations 4-1 and 4-3. It is the gravity of free air: on a high plain the rock below
    adds some 1.1e-6 m/s² for each metre of height (0.01 % at 1000 m), which is not included, so the true
    gravity there is larger.

    Examples
    --------
    >>> round(normal_gravity(45.0), 5), round(normal_gravity(45.0, 1000.0), 5)
    (9.8062, 9.80311)
    """
    if not abs(latitude) <= 90:
        raise ValueError(f"the latitude must lie between -90 and 90 degrees, got {latitude}")
    if not -1000 <= altitude <= 10_000:
        raise ValueError(f"the altitude must lie between -1000 and 10 000 m, got {altitude}")
    equator, k, eccentricity2 = 9.7803253359, 1.93185265241e-3, 6.69437999013e-3
    semi_axis, flattening, m = 6_378_137.0, 1 / 298.257223563, 3.449786506841e-3
    s2 = math.sin(math.radians(latitude)) ** 2
    surface = equator * (1 + k * s2) / math.sqrt(1 - eccentricity2 * s2)
    h = altitude / semi_axis
    return surface * (1 - 2 * (1 + flattening + m - 2 * flattening * s2) * h + 3 * h**2)


def buoyancy_factor(density: float, *, air_density: float = 1.2) -> float:
    r"""
    Part of a dead weight's force that is left in air.

    Parameters
    ----------
    density : float
        Density of the weight, above that of the air. [kg/m³]
    air_density : float
        At least 0. [kg/m³]

    Returns
    -------
    factor : float
        :math:`1 - \rho_a/\rho`; the force is m g times this. [1]

    Raises
    ------
    ValueError
        If a density is out of its range.

    Notes
    -----
    For true mass. The convention of OIML R 111 for weights (air 1.2, weight 8000 kg/m³; from memory)
    makes it 0.99985.

    Examples
    --------
    >>> round(buoyancy_factor(7850.0), 6)
    0.999847
    """
    if not 0 <= air_density < density:
        raise ValueError(
            f"need a density above that of the air, got {density} kg/m³ in air of {air_density} kg/m³"
        )
    return 1 - air_density / density


def _check_fall(height: float, gravity: float) -> None:
    if not height >= 0:
        raise ValueError(f"the height must be at least 0 m, got {height}")
    if not gravity > 0:
        raise ValueError(f"gravity must be above 0 m/s², got {gravity}")
