"""
The glossary: every quantity's name, symbol, unit, definition and source, once.

Labels, JSON names, table columns and the documentation's glossary are all made from this list.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["GLOSSARY", "Quantity"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """
    One entry of the glossary.

    ``unit`` is the SI unit of the stored value; ``shown_unit`` and ``shown_factor`` say how people
    read it (value in SI times factor).
    """

    name: str
    label: str
    symbol: str
    unit: str
    definition: str
    source: str = "common practice, no source"
    shown_unit: str = ""
    shown_factor: float = 1.0

    def __post_init__(self) -> None:
        if not self.shown_unit:
            object.__setattr__(self, "shown_unit", self.unit)


_MECHANICS = "elementary mechanics"

GLOSSARY: dict[str, Quantity] = {
    q.name: q
    for q in [
        Quantity("start", "Start of contact", "t₀", "s",
                 "First instant of contact, on the clock of the recording."),
        Quantity("contact_time", "Contact time", "T", "s",
                 "Time for which the force on the cell stays above 1 % of its peak, or above three times its "
                 "usual standard uncertainty if that is more; the toes below are left out, a millisecond or "
                 "two on soft pads. For several contacts from the first start to the last end.",
                 shown_unit="ms", shown_factor=1e3),
        Quantity("impulse", "Impulse, whole event", "J", "N s",
                 "Integral of the force from the start of contact until the rig's ringing has died away. "
                 "Ringing does not change it: a linear cell has unit gain at zero frequency.", _MECHANICS),
        Quantity("impulse_to_stop", "Impulse to the stop of the limb", "J_z", "N s",
                 "Integral of the force on the cell from the start of contact to the stated end: the "
                 "instant at which the limb's speed along the target's normal reaches zero, or the time "
                 "after the start of contact that the method states.", _MECHANICS),
        Quantity("impulse_to_peak", "Impulse to the peak force", "J_p", "N s",
                 "Integral of the corrected force from the start of contact to its peak.", _MECHANICS),
        Quantity("peak_force", "Peak force on the cell", "F", "N",
                 "Largest force on the cell, corrected for the rig's ringing and taken between samples. It "
                 "is the force that arrives at the cell behind pad and plate, not the force at the glove."),
        Quantity("peak_contact_force", "Peak force at the glove", "F_c", "N",
                 "Largest force between limb and pad, recovered through the plate and its pad that the rig "
                 "file states. Another force than the one on the cell, and less certain."),
        Quantity("peak_force_raw", "Peak of the raw trace", "F_raw", "N",
                 "Largest sample less the zero. It holds the rig's ringing and steps over the true peak."),
        Quantity("peak_force_cfc", "Peak after the CFC filter", "F_CFC", "N",
                 "Largest value after the stated channel frequency class filter; shown for comparison "
                 "with older work, not a correction of ringing.", "SAE J211-1; ISO 6487"),
        Quantity("time_to_peak", "Time to peak force", "t_p", "s",
                 "From the start of contact to the peak of the corrected force.",
                 shown_unit="ms", shown_factor=1e3),
        Quantity("rate_of_force_development", "Rate of force development", "RFD", "N/s",
                 "Mean slope of the corrected force between its first rise through 20 % and through 80 % "
                 "of its peak.", shown_unit="kN/s", shown_factor=1e-3),
        Quantity("expected_peak", "Peak to expect of the impulse", "F_x", "N",
                 "Peak of a pulse with this impulse and contact time; its uncertainty holds the range over "
                 "the usual pulse shapes.", "pulse shape coefficients, IEC 60068-2-27 and calculus"),
        Quantity("sampling_loss", "Worst loss by sampling", "δ_s", "1",
                 "Greatest share of the peak that samples alone can miss, for a half-sine of this contact "
                 "time: 1 - cos(π/2N), N samples in the pulse.", "derived; see documentation",
                 shown_unit="%", shown_factor=100.0),
        Quantity("approach_speed", "Approach speed", "v₁", "m/s",
                 "Speed of the striking point along the target's normal just before contact.", _MECHANICS),
        Quantity("rebound_speed", "Rebound speed", "v₂", "m/s",
                 "Speed away from the pad when the body is back at the height of first contact.", _MECHANICS),
        Quantity("restitution", "Restitution", "e", "1",
                 "Rebound speed over approach speed, both at the height of first contact.", _MECHANICS),
        Quantity("effective_mass", "Effective mass", "m", "kg",
                 "J(t_z)/(v₁ + a₀ t_z): impulse to the stop of the limb over the speed it would have "
                 "reached by then, a₀ its acceleration just before contact."),
        Quantity("effective_mass_low", "Effective mass, lower bound", "m_low", "kg",
                 "Impulse to the peak force over approach speed; given where the stop of the limb is not "
                 "seen."),
        Quantity("effective_mass_high", "Effective mass, upper bound", "m_high", "kg",
                 "Impulse of the whole contact over approach speed; given where the stop of the limb is not "
                 "seen."),
        Quantity("time_to_stop", "Time to the stop of the limb", "t_z", "s",
                 "From the touch to the instant at which the speed of the limb along the target's normal "
                 "passes zero: the window of effective mass.", shown_unit="ms", shown_factor=1e3),
        Quantity("energy", "Energy into the pad", "E", "J",
                 "Integral of force times speed from the start of contact to the stop of the limb.",
                 _MECHANICS),
        Quantity("kinetic_energy", "Kinetic energy", "E_k", "J", "Half effective mass times speed squared.",
                 _MECHANICS),
        Quantity("mean_power", "Mean power to the stop", "P", "W",
                 "Energy into the pad over the time to the stop of the limb.", _MECHANICS,
                 shown_unit="kW", shown_factor=1e-3),
        Quantity("peak_power", "Peak power", "P_max", "W", "Largest product of force and speed.", _MECHANICS,
                 shown_unit="kW", shown_factor=1e-3),
        Quantity("translated_peak", "Peak of the same blow elsewhere", "F_B", "N",
                 "Peak force on the cell that the same blow would have given on another pad: simulated there "
                 "and scaled by measured over simulated peak on the pad that was hit.",
                 "derived; see documentation"),
        Quantity("natural_frequency", "Natural frequency", "f_n", "Hz",
                 "Undamped natural frequency of a mode of the rig.", "Rao, Mechanical Vibrations"),
        Quantity("damping_ratio", "Damping ratio", "ζ", "1", "Damping of a mode over critical damping.",
                 "Rao, Mechanical Vibrations", shown_unit="%", shown_factor=100.0),
        Quantity("gain", "Gain of the chain", "G", "1",
                 "Force the chain should have shown over the force it showed; 1 when calibration holds."),
        Quantity("height", "Height of fall", "h", "m",
                 "From the striking face at release to the pad at rest, as stated by the user."),
        Quantity("speed_by_height", "Speed by height", "v_h", "m/s",
                 "Speed after a free fall from the stated height, √(2 g h).", _MECHANICS),
        Quantity("speed_until_rest", "Speed by momentum until rest", "v_r", "m/s",
                 "Everything the cell felt from first touch until the mass lies still, over the mass, less "
                 "gravity times that time; a plausibility check.", _MECHANICS),
        Quantity("friction_excess", "Height against force", "v_h/v₁ - 1", "1",
                 "Speed by height over speed by closure, minus 1; above 0 where a guide rubs.",
                 "derived; see documentation", shown_unit="%", shown_factor=100.0),
        Quantity("gain_without_height", "Gain of the chain, from bounces alone", "G₀", "1",
                 "Force the chain should have shown over the force it showed, from the times and impulses of "
                 "successive bounces of a known mass.", "derived; see documentation"),
        Quantity("pad_compression", "Largest compression of the pad", "x_max", "m",
                 "Largest compression of the pad, the cell's own taken off.",
                 shown_unit="mm", shown_factor=1e3),
        Quantity("pad_energy_in", "Energy into the pad", "E_in", "J",
                 "Work on the pad up to its largest compression.", _MECHANICS),
        Quantity("pad_energy_lost", "Energy the pad kept", "E_lost", "J",
                 "Work on the pad over the whole contact: what it did not give back.", _MECHANICS),
        Quantity("pad_loss_fraction", "Loss of the pad", "η", "1", "Energy kept over energy put in.",
                 _MECHANICS, shown_unit="%", shown_factor=100.0),
        Quantity("pad_stiffness", "Secant stiffness of the pad", "k_s", "N/m",
                 "Force over compression at half the largest compression, while loading.",
                 shown_unit="kN/m", shown_factor=1e-3),
        Quantity("pad_exponent", "Exponent of the pad", "n", "1",
                 "n of F = k xⁿ (1 + (x/x_d)⁸)(1 + b ẋ), fitted to the loading."),
        Quantity("pad_bottoming_at", "Depth at which the pad bottoms out", "x_d", "m",
                 "Compression at which bottoming out has doubled the force, by the fitted law.",
                 shown_unit="mm", shown_factor=1e3),
        Quantity("pad_bottoming_index", "Bottoming index", "Δn", "1",
                 "Local exponent of force over compression at 80-97 % of the largest compression less that "
                 "at 30-60 %."),
        Quantity("moving_mass", "Moving mass", "m_r", "kg",
                 "Mass that moves with the rig's main mode, from the fall of its natural frequency under a "
                 "known added mass.", "elementary vibration"),
        Quantity("moving_stiffness", "Stiffness below the moving mass", "k_r", "N/m",
                 "Moving mass times the square of its angular natural frequency.", "elementary vibration",
                 shown_unit="MN/m", shown_factor=1e-6),
        Quantity("zero", "Zero", "F₀", "N", "What the chain reads when nothing touches the target."),
        Quantity("zero_drift", "Drift of the zero", "Ḟ₀", "N/s", "Change of the zero with time."),
        Quantity("noise", "Noise", "σ", "N", "Standard deviation of the quiet signal before the event."),
    ]
}  # fmt: skip
