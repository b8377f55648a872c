"""
Quantities of one pulse of force, each with its uncertainty and the contributions to it.

Impulse from raw samples of the whole event; peak, contact time, time to peak, width and rate of force
development from the corrected force on a fine grid. The table of contents; the work is in the modules
it names.
"""

from quintain.numerics._contact import (
    Contact,
    Peak,
    contact_time,
    find_contact,
    find_peak,
    time_to_peak,
    width_at_level,
)
from quintain.numerics._expected_peak import expected_peak
from quintain.numerics._impulse import (
    fit_ring_tail,
    impulse_of_corrected_force,
    impulse_with_zero,
    integrate_impulse,
)
from quintain.numerics._rise import maximum_rate_of_force_development, rate_of_force_development

__all__ = [
    "Contact",
    "Peak",
    "contact_time",
    "expected_peak",
    "find_contact",
    "find_peak",
    "fit_ring_tail",
    "impulse_of_corrected_force",
    "impulse_with_zero",
    "integrate_impulse",
    "maximum_rate_of_force_development",
    "rate_of_force_development",
    "time_to_peak",
    "width_at_level",
]
