"""
Doubts about a result, each with a stable code and a documented meaning.

A flag never stops an analysis: it travels with the result, into JSON, screen and report. The list
below is the only place where codes are defined; the documentation's page of flags is made from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["FLAGS", "Flag", "FlagMeaning", "flag"]


@dataclass(frozen=True, slots=True)
class FlagMeaning:
    """What a flag code means and what to do about it."""

    code: str
    meaning: str
    remedy: str
    withholds: tuple[str, ...] = ()
    """Quantities (glossary names) that are not stated when the flag is raised."""
    doubts: tuple[str, ...] = ()
    """Quantities that are still stated but less certain; readers see them marked."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A doubt raised on one result: stable code, sentence, and the place it is about."""

    code: str
    message: str
    where: str = ""


def _table(rows: Iterable[FlagMeaning]) -> dict[str, FlagMeaning]:
    return {row.code: row for row in rows}


FLAGS: dict[str, FlagMeaning] = _table(
    [
        # -- the samples themselves
        FlagMeaning(
            "clipped",
            "Samples sit at a limit of the measuring range, so the force was cut off there.",
            "Raise the amplifier range and repeat the strike.",
            ("peak_force", "rate_of_force_development", "impulse"),
            doubts=("contact_time", "peak_force_raw", "time_to_peak"),
        ),
        FlagMeaning(
            "missing-samples",
            "Samples inside the event are missing or not a number.",
            "Check the cable and the acquisition buffer, then repeat the strike.",
            ("peak_force", "rate_of_force_development", "impulse"),
            doubts=("contact_time", "peak_force_raw", "time_to_peak"),
        ),
        FlagMeaning(
            "gap",
            "The time stamps jump inside or next to the event.",
            "Record without dropped samples; the parts beside the gap are not joined.",
            doubts=("contact_time", "impulse"),
        ),
        FlagMeaning(
            "time-repeated",
            "A time stamp stands twice in the recording.",
            "Check the export settings of the acquisition program.",
        ),
        FlagMeaning(
            "time-backward",
            "Time runs backward in the recording.",
            "Split the file where the clock was reset and analyse the parts.",
        ),
        FlagMeaning(
            "held-samples",
            "The same value stands in a long row where noise should show: the channel was frozen.",
            "Check the acquisition; repeat the strike.",
            ("peak_force", "rate_of_force_development", "impulse"),
            doubts=("contact_time", "peak_force_raw", "time_to_peak"),
        ),
        FlagMeaning(
            "coarse-steps",
            "The resolution is coarse: the noise is smaller than one step of the converter.",
            "Use more of the converter's range; the noise is taken from the step instead.",
            doubts=("contact_time",),
        ),
        # -- zero and surroundings of an event
        FlagMeaning(
            "short-quiet",
            "Too little quiet before the event to know the zero and the noise well.",
            "Leave at least half a second of rest before each strike.",
            doubts=("impulse", "peak_force", "peak_force_raw"),
        ),
        FlagMeaning(
            "loaded-before",
            "There was a force on the pad before the blow: leaning, pushing, or a rig still moving.",
            "Step back from the pad and let it come to rest between strikes.",
            doubts=("contact_time", "impulse", "peak_force"),
        ),
        FlagMeaning(
            "no-return-to-zero",
            "The force does not come back to zero after the event.",
            "Leave the pad after the strike; otherwise impulse depends on where it is ended.",
            doubts=("contact_time", "impulse"),
        ),
        FlagMeaning(
            "overlapping",
            "The next event begins before this one has died away.",
            "Leave at least a second between strikes.",
            doubts=("contact_time", "impulse"),
        ),
        FlagMeaning(
            "ring-cut",
            "The recording ends while the rig still rings; what the rest adds to the impulse is estimated.",
            "Record a second longer after the strike.",
        ),
        FlagMeaning(
            "cut-off",
            "The recording begins or ends inside the event.",
            "Record longer before and after the strike.",
            ("impulse", "peak_force", "rate_of_force_development"),
            doubts=("contact_time",),
        ),
        # -- the correction for ringing
        FlagMeaning(
            "few-samples",
            "Fewer than eight samples span the pulse; its peak is less certain.",
            "Sample faster.",
            doubts=("peak_force", "rate_of_force_development", "time_to_peak"),
        ),
        FlagMeaning(
            "too-few-samples",
            "Fewer than four samples span the pulse; no correction of the peak is honest.",
            "Sample faster; impulse still stands.",
            ("peak_force", "rate_of_force_development"),
        ),
        FlagMeaning(
            "pulse-short-for-rig",
            "The pulse is shorter than three quarters of the rig's own period.",
            "A stiffer or lighter rig, or a softer pad; impulse still stands.",
            ("peak_force", "rate_of_force_development"),
        ),
        FlagMeaning(
            "pulse-near-rig-period",
            "The pulse lasts less than one and a half periods of the rig; its peak is less certain.",
            "A stiffer or lighter rig, or a softer pad.",
            doubts=("peak_force", "rate_of_force_development", "time_to_peak"),
        ),
        FlagMeaning(
            "rate-too-low",
            "The rig's natural frequency lies above 0.45 of the sampling rate; ringing is not corrected.",
            "Sample at least 2.3 times faster than the rig rings.",
            ("peak_force", "rate_of_force_development"),
        ),
        FlagMeaning(
            "mode-from-recording",
            "No rig file gave the natural frequency; it was estimated from this recording's ring-downs.",
            "Make a tap test and give its result in the rig file.",
            doubts=("peak_force", "rate_of_force_development", "time_to_peak"),
        ),
        FlagMeaning(
            "no-mode",
            "The rig's ringing is not known and no free ringing was found: the force is not corrected.",
            "Make a tap test and give its result in the rig file.",
            doubts=("peak_force", "rate_of_force_development", "time_to_peak"),
        ),
        FlagMeaning(
            "mode-drift",
            "The natural frequency found on this strike disagrees with the one of the rig.",
            "Look for a loose bolt, a changed pad or an added mass, then repeat the tap test.",
            doubts=("peak_force", "rate_of_force_development", "time_to_peak"),
        ),
        FlagMeaning(
            "ringing-unexplained",
            "Outside the contact the rig does not ring as its modes say: something still pushes, a mode is "
            "wrong or one is missing. The correction did without a contact and is less certain.",
            "Leave the pad after the strike; repeat the tap test with every mode it shows.",
        ),
        FlagMeaning(
            "methods-disagree",
            "The plain inverse filter gives another peak than the smoother, beyond their uncertainty.",
            "Look at the traces; take the impulse rather than the peak.",
            doubts=("peak_force", "rate_of_force_development"),
        ),
        # -- the event as a strike
        FlagMeaning(
            "several-contacts",
            "The strike holds more than one contact.",
            "Look at the trace: a plate that runs ahead and is caught again, or a double blow.",
            doubts=("contact_time",),
        ),
        FlagMeaning(
            "overload",
            "The force went beyond the safe limit of the cell that the rig file states.",
            "Stop. Check the zero and the calibration of the cell before the next strike.",
            doubts=("impulse", "peak_force"),
        ),
        FlagMeaning(
            "beyond-calibration",
            "The peak lies outside the range of forces over which the cell was calibrated or proved.",
            "Calibrate over a wider range.",
            doubts=("peak_force",),
        ),
        FlagMeaning(
            "weak",
            "The event stands little above the noise.",
            "Check that it was a strike at all.",
            doubts=("contact_time", "impulse", "peak_force"),
        ),
        FlagMeaning(
            "no-plate",
            "The force at the glove was asked for, but it cannot be recovered.",
            "Identify the plate by taps on it and state [plate] and one mode in the rig file.",
            ("peak_contact_force",),
        ),
        FlagMeaning(
            "wrong-direction",
            "The force points away from the cell's stated direction.",
            "Check the wiring and cell.direction in the rig file.",
        ),
        FlagMeaning(
            "not-readable",
            "The corrected force does not hold a place that a quantity is read at.",
            "Look at the trace; a strike that is pushed rather than hit may have no clear edge.",
        ),
        FlagMeaning(
            "cfc-shown",
            "A channel frequency class filter was applied for comparison; it can cut a peak by half and "
            "leaves ringing in.",
            "Quote the corrected peak, and the filtered one only beside older work.",
        ),
        FlagMeaning(
            "cfc-rate",
            "The sampling rate is too low for the channel frequency class that was asked for.",
            "Sample at ten times the class number or faster, or ask for a lower class.",
        ),
        FlagMeaning(
            "gain-unknown",
            "No calibration states how uncertain the gain of the chain is; it is not in the uncertainty.",
            "Calibrate the cell and prove the chain with drop tests; state u_gain in the rig file.",
            doubts=("impulse", "peak_force"),
        ),
        # -- taps, ring-downs and calibration
        FlagMeaning(
            "steady-tone",
            "A tone that does not die away lies in the ring-down; it was fitted and left out of the modes.",
            "Look for mains hum or a running motor near the cell and its cable.",
        ),
        FlagMeaning(
            "ring-down-misfit",
            "The fitted modes leave more behind than the noise of the quiet stretch.",
            "Look at the residual: more modes, a loose joint, or foam that stiffens with amplitude.",
        ),
        FlagMeaning(
            "mode-drifts",
            "The natural frequency drifts as the ringing dies away: something yields more with more force.",
            "Tighten bolts and joints; tap as hard as the strikes ring the rig.",
        ),
        FlagMeaning(
            "order-at-limit",
            "As many modes were found as were allowed; there may be more.",
            "Allow more modes, or tap where fewer are excited.",
        ),
        FlagMeaning(
            "taps-disagree",
            "The taps give modes that differ by more than their own uncertainties.",
            "Tap the same spot equally hard; if it stays so, look for a loose bolt. The spread is stated.",
        ),
        FlagMeaning(
            "mode-may-be-folded",
            "From one sampling rate alone a mode above half the rate cannot be told from one below.",
            "Tap again at another rate, or with a known mass added, and give both recordings.",
        ),
        FlagMeaning(
            "few-loads",
            "The calibration rests on so few loads that its fit can hardly be tested.",
            "Use at least five loads spread over the range, and three series.",
        ),
        FlagMeaning(
            "static-only",
            "A static calibration says nothing about how the cell reads an impact.",
            "Prove the rig with taps and drop tests.",
        ),
        # -- drops
        FlagMeaning(
            "no-contact",
            "No contact was found where a drop was expected.",
            "Check that the mass hit the pad and that mass and unit are right.",
        ),
        FlagMeaning(
            "starts-on-pad",
            "There is a force on the pad where the quiet before the drop should be.",
            "Start the recording with nothing on the pad, at least half a second before the drop.",
        ),
        FlagMeaning(
            "gravity-assumed",
            "No place was stated: standard gravity was taken, with a doubt that holds for the whole Earth.",
            "State latitude and altitude, on the command line or in the rig file.",
        ),
        FlagMeaning(
            "one-contact",
            "The mass did not come back after its first contact, so the balance cannot be closed.",
            "Use a pad from which it bounces, or a greater height.",
        ),
        FlagMeaning(
            "hit-twice",
            "Between the contacts the mass was not in free flight: it hit twice at once, or was held.",
            "Drop the mass flat and let it bounce freely.",
        ),
        FlagMeaning(
            "restitution-implausible",
            "No pad gives back this share of the speed.",
            "Check mass, sign and zero, and that nobody touched the mass.",
        ),
        FlagMeaning(
            "mass-or-height-implausible",
            "With the stated mass and height the chain's gain would be far from 1.",
            "Weigh the mass and measure the height again; see that it hits the middle of the pad.",
        ),
        FlagMeaning(
            "height-and-bounces-disagree",
            "The gain by height and the gain from the bounces alone differ by more than their doubt.",
            "Measure the height again, see that the guide does not rub and that nothing touches pad or mass.",
        ),
        FlagMeaning(
            "mass-not-at-rest",
            "The mass is not seen lying still under its own weight after the drop.",
            "Record until it lies still; only the balance until rest is missing without that.",
        ),
        FlagMeaning(
            "start-uncertain",
            "The first touch does not follow the law of one clean touch; its start is less certain.",
            "Drop the mass flat; name the plate and its modes in the rig file.",
        ),
        FlagMeaning(
            "plate-delays-start",
            "A plate on the pad delays what the cell feels; the touch was fitted through it.",
            "Nothing is wrong; starts are less certain than without a plate.",
        ),
        FlagMeaning(
            "plate-swings",
            "A plate goes on swinging on its pad while the mass is in the air.",
            "Nothing is wrong; the swinging was fitted beside the ringing.",
        ),
        FlagMeaning(
            "flight-not-free",
            "In a flight the cell shows more than ringing and swinging; its samples were summed as they are.",
            "Look for something that touches the rig, or for a mode that is missing in the rig file.",
        ),
        FlagMeaning(
            "irregular-zero",
            "The zero does not drift along a line during the drop.",
            "Let the amplifier warm up; check the cable.",
        ),
        FlagMeaning(
            "cell-compliance-unknown",
            "The cell's own compression is not known and was taken for the pad's.",
            "State the cell's stiffness, or its moving mass and natural frequency; else compression reads "
            "some per cent too large.",
        ),
        FlagMeaning(
            "bottoming",
            "The pad stiffens towards the end of its travel: it begins to bottom out.",
            "Use a thicker or harder pad for such blows.",
        ),
        # -- speed of the limb
        FlagMeaning(
            "still-not-g",
            "At rest the accelerometer does not show the acceleration of free fall, about 9.8 m/s².",
            "Check its unit and scale; a device that takes gravity out of its readings cannot be used.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "gyro-limit",
            "The gyro stood at the end of its range before contact, so the limb turned more than it shows.",
            "Choose a wider range of the gyro; 2000 degrees a second suits most strikes.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "imu-clipped",
            "The accelerometer was cut off before contact.",
            "Choose a wider range of the accelerometer.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "no-stillness",
            "The limb was not held still before the strike, so its speed has nothing to start from.",
            "Hold still in guard for half a second before each strike.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "off-normal",
            "The limb moved more than 45 degrees off the stated normal of the target.",
            "Check the direction of the normal in the sensor's axes, and how the sensor is strapped on.",
            doubts=("approach_speed",),
        ),
        FlagMeaning(
            "moves-away",
            "By the stated normal the limb moved away from the target.",
            "The sensor is mounted the other way round, or the normal has the wrong sign.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "no-motion",
            "There is no motion for this strike.",
            "Start the motion recording before the first strike and stop it after the last.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "clocks-apart",
            "The motion could not be tied to this strike, as its clock could not be tied to the force's.",
            "See what is said of the clocks of this recording.",
            ("approach_speed",),
        ),
        FlagMeaning(
            "no-common-impacts",
            "Force and motion do not both show an impact.",
            "Check that both recordings are of the same session and that the motion's unit is right.",
        ),
        FlagMeaning(
            "clock-ambiguous",
            "The impacts do not tell how the two clocks belong together: too few agree, or several ways fit.",
            "State the offset between the clocks, or give a few strikes in an uneven rhythm at the start.",
        ),
        FlagMeaning(
            "clock-assumed",
            "Nothing ties the clock of the track to that of the force: both were taken to be the same.",
            "State the offset between the clocks, or record both in one file.",
            doubts=("approach_speed",),
        ),
        FlagMeaning(
            "clock-jumped",
            "One of the clocks jumped: some strikes agree on another offset than the rest.",
            "Split the motion recording at the jump and join the parts one by one.",
        ),
        FlagMeaning(
            "few-pairs",
            "Fewer than three strikes tie the two clocks, so the drift between them is not known.",
            "Record at least three strikes, better twenty.",
        ),
        FlagMeaning(
            "motion-rate",
            "The motion was sampled at another rate than stated, so its speeds would be wrong as well.",
            "State the true rate of the motion recording, as in rate=1000.",
        ),
        FlagMeaning(
            "motion-only-impacts",
            "The motion shows impacts that the force does not.",
            "Blows beside the pad or claps do so; otherwise look whether the force missed a strike.",
        ),
        FlagMeaning(
            "speed-without-doubt",
            "A speed was stated without an uncertainty; what rests on it has none either.",
            "State the speed with its standard uncertainty.",
            doubts=("approach_speed",),
        ),
        FlagMeaning(
            "long-integration",
            "Between the rest and the strike lies so much time that errors of the sensor have grown.",
            "Strike from guard, within two seconds of holding still.",
            doubts=("approach_speed",),
        ),
        FlagMeaning(
            "no-gyro",
            "The speed comes from an accelerometer alone; it holds for straight strikes only, within 5-20 %.",
            "Use a sensor with a gyro.",
            doubts=("approach_speed",),
        ),
        FlagMeaning(
            "resultant-speed",
            "The direction into the target at contact is not known (without a gyro it never is): the speed "
            "of the striking point in its own direction is stated, which is more than its part along the "
            "normal.",
            "State which direction of the sensor points into the target at contact.",
            doubts=("approach_speed",),
        ),
        # -- the limb
        FlagMeaning(
            "late-push",
            "The effective mass of the whole contact lies far above that to the stop of the limb: a push, or "
            "a second mass behind a joint, came in during contact; the mass to the stop holds part of it.",
            "Quote the mass with its window, and compare only strikes on the same pad.",
            doubts=("effective_mass", "kinetic_energy"),
        ),
        FlagMeaning(
            "bounds-only",
            "The speed during contact is not known, so the limb's stop is not seen: effective mass is given "
            "as bounds, and no energy or power is stated.",
            "Record the limb's motion through the contact with a sensor that is not cut off there.",
            ("effective_mass", "kinetic_energy", "energy", "mean_power", "peak_power"),
        ),
        FlagMeaning(
            "implausible",
            "A value lies outside what has been published of human strikes.",
            "Check units, the sensor's place and the match of both recordings.",
        ),
        FlagMeaning(
            "no-stop",
            "The limb does not stop within the contact that was recorded: it leant on or pushed on.",
            "Leave the pad after the strike; impulse and peak still stand.",
            ("effective_mass", "kinetic_energy", "energy", "mean_power", "peak_power"),
        ),
        FlagMeaning(
            "clocks-disagree",
            "The strike's own momentum asks for another alignment of force and speed than the clocks give.",
            "Check the match of both recordings; record a sync pulse on both.",
            doubts=("effective_mass", "energy", "kinetic_energy", "mean_power", "peak_power"),
        ),
        FlagMeaning(
            "lopsided",
            "The doubt about the speed is so large that first order does not hold; the uncertainty is that "
            "of random draws, and the true interval reaches further up than down.",
            "Measure the speed better.",
            doubts=("effective_mass",),
        ),
        FlagMeaning(
            "no-force-curve",
            "The force could not be corrected, so that nothing which needs its course is stated of the limb.",
            "See the other doubts of the strike; impulse and approach speed still stand.",
            ("effective_mass", "kinetic_energy", "energy", "mean_power", "peak_power"),
        ),
        # -- the same blow elsewhere
        FlagMeaning(
            "translation-refused",
            "On one of the pads the blow goes beyond the depth at which bottoming out doubles the force.",
            "Choose a thicker pad; nothing is stated there.",
        ),
        FlagMeaning(
            "translation-near-bottoming",
            "On one of the pads the blow goes beyond 80 % of its bottoming depth; errors grow to 5-10 %.",
            "Take the number as an indication.",
            doubts=("translated_peak",),
        ),
        FlagMeaning(
            "translation-beyond-proof",
            "On one of the pads the blow goes deeper than drops have proved its law.",
            "Drop from higher on that pad.",
            doubts=("translated_peak",),
        ),
        FlagMeaning(
            "translation-ratio",
            "The measured peak differs by more than 15 % from a simulated blow of this mass and speed.",
            "Check the pad's law, the mass and the speed before trusting the translation.",
            doubts=("translated_peak",),
        ),
    ]
)


def flag(code: str, detail: str = "", *, where: str = "") -> Flag:
    """
    Raise a doubt by its code.

    Parameters
    ----------
    code : str
        One of the codes in :data:`FLAGS`.
    detail : str
        What is particular to this case, added after the code's meaning.
    where : str
        Channel, time or row the doubt is about.

    Returns
    -------
    Flag
        The doubt, ready to be attached to a result.

    Raises
    ------
    KeyError
        If the code is not documented in :data:`FLAGS`.

    Examples
    --------
    >>> flag("clipped", "14 samples at 8000 N", where="Fz, 0.4137 s").message
    'Samples sit at a limit of the measuring range, so the force was cut off there. 14 samples at 8000 N.'
    """
    meaning = FLAGS[code].meaning
    return Flag(code, f"{meaning} {detail.rstrip('.')}." if detail else meaning, where)
