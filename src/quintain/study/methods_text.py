"""The methods paragraph of a paper, from what was really done and nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from string import Formatter
from typing import Any, NamedTuple

from quintain.domain.method import Method
from quintain.errors import StudyError
from quintain.version import __version__

__all__ = ["SENTENCES", "DoneStep", "steps_of_method", "write_methods"]


class DoneStep(NamedTuple):
    """One thing that was done, with the facts its sentence needs."""

    kind: str
    """One of ``SENTENCES``."""
    facts: Mapping[str, Any]
    """Named as in the sentence; numbers in the unit printed there, several names as a list."""


SENTENCES: dict[str, str] = {
    "people": "{n_people} people gave {n_strikes} strikes in {n_sessions} sessions.",
    "randomised order": "The order of conditions was randomised (seed {seed}).",
    "fixed order": "The order of conditions was not randomised ({order}).",
    "recording": "Force was recorded at {rate:g} Hz on the rig {rig} (version {rig_version} of its file).",
    "detection": (
        "A strike began where the force left the zero by {threshold_sigmas:g} times the noise, after "
        "{quiet_time:g} s of rest from which zero and noise were taken; peaks below {minimum_force:g} N "
        "were not counted, and contacts closer than {merge_gap:g} ms were one strike."
    ),
    "ringing undone": (
        "The rig's ringing was undone by a smoother on the exact model of its modes{refined}, and the "
        "uncertainty of the correction is part of every peak."
    ),
    "ringing left": "The rig's ringing was left in the force: peaks hold it.",
    "channel class": "A filter of channel frequency class {cfc} was applied for comparison only.",
    "rise": (
        "The rate of force development is the mean slope from {from_percent:g} to {to_percent:g} % of the "
        "peak."
    ),
    "uncertainty": "Measurement uncertainty was propagated to every result (JCGM 100:2008).",
    "common part": (
        "Of it, what strikes share (gain of the cell, sensor of the speed, what the method does alike to "
        "strikes of one type) was kept apart by the budget of every strike: it does not shrink with the "
        "number of strikes or people, cancels in differences as far as both sides share it, and is stated "
        "beside the standard error (JCGM 100:2008, 5.2)."
    ),
    "common part unknown": (
        "What strikes share of the measurement uncertainty of {quantity} was not known: its mean and its "
        "differences between rigs are less certain than stated."
    ),
    "nothing left out": "No strike was left out ({n_kept} analysed).",
    "left out": "{n_left_out} of {n_all} strikes were left out: {reasons}.",
    "description": (
        "Means and standard deviations (SD) between people are those of the people's means; the SD within "
        "people is pooled over their trials; intervals of {percent:g} % are Student's t over people."
    ),
    "reliability": (
        "Reliability across {across} was judged by {forms} with intervals of {percent:g} % from the F "
        "distribution (Shrout and Fleiss, 1979), the standard error of measurement by the root of the "
        "residual mean square, and the minimal detectable change by 1.96 times root 2 of it."
    ),
    "agreement": (
        "Agreement of {first} and {second} was judged by limits of agreement of {multiple:g} SD (Bland and "
        "Altman, 1986)."
    ),
    "margin beforehand": (
        "The smallest worthwhile change, {value} {unit} ({origin}), was fixed before the data were seen."
    ),
    "margin from data": (
        "The smallest worthwhile change, {value} {unit} ({origin}), was taken from the same data."
    ),
    "paired comparison": (
        "{what} were compared by paired t tests of the people's means; effect sizes are dz with Hedges' "
        "correction and intervals from the noncentral t distribution."
    ),
    "unpaired comparison": (
        "{what} were compared by Welch's t tests of the people's means; effect sizes are g with Hedges' "
        "correction and intervals from the noncentral t distribution of the pooled SD."
    ),
    "permutation": "Permutation tests of the people's means were run as a check.",
    "holm": "P values of {n_comparisons} comparisons were adjusted by Holm's method.",
    "no adjustment": "P values of {n_comparisons} comparisons were not adjusted for their number.",
    "equivalence": (
        "Equivalence was judged by two one-sided tests at 5 % against the smallest worthwhile change."
    ),
    "mixed model": (
        "A linear mixed model with {fixed} as fixed and {random} as random parts was fitted by restricted "
        "maximum likelihood; tests use Satterthwaite's degrees of freedom, contrasts Holm's adjustment, "
        "intervals of the SDs the profile of the likelihood."
    ),
    "boundary fit": "The variance of {at_zero} was estimated as 0.",
    "asymmetry": (
        "Asymmetry is the logarithm of the ratio of geometric means of {first} over {second}: positive "
        "where {first} is the larger."
    ),
    "fatigue": (
        "Fatigue is each person's slope over {order} within a series; the people's slopes were tested by "
        "Student's t."
    ),
    "progress": (
        "A person's change from the mean of the first {n_baseline} session(s) was called real beyond the "
        "minimal detectable change (error of measurement from {sem_from}), widened where cell or sensor were "
        "calibrated anew in between, and worthwhile where its whole interval lay beyond the smallest "
        "worthwhile change."
    ),
    "mean curves": (
        "Force curves were aligned at the start of contact and averaged within and then over {n_people} "
        "people, time not stretched, force zero after the end of contact; bands of {percent:g} % are "
        "pointwise (Student's t) and simultaneous (Gaussian bootstrap)."
    ),
    "curves gone": (
        "Mean curves are without {n_gone} of {n_all} strikes, whose recordings were no longer at hand."
    ),
    "sample size": (
        "The study was planned for an effect of {effect:g} SD at a power of {power:g} and a level of "
        "{alpha:g}: {n_people} people."
    ),
    "seed": "Random draws began from seed {seed}.",
    "software": "Everything was computed with Quintain {version}{method}.",
}
"""The sentence of every kind of step, in the order in which a paper tells them."""

UNTOLD = (
    ({"randomised order", "fixed order"}, "Whether the order of conditions was randomised was not recorded."),
    ({"nothing left out", "left out"}, "Whether strikes were left out was not recorded."),
)
"""What a reviewer asks for; said to be unknown where no step tells it."""

TESTS = {"paired comparison", "unpaired comparison", "mixed model"}


def steps_of_method(method: Method) -> tuple[DoneStep, ...]:
    """
    Steps of the analysis that gave the values: detection, correction, rise, software.

    Parameters
    ----------
    method : Method
        The settings that were used.

    Returns
    -------
    tuple of DoneStep
        For :func:`write_methods`.

    Examples
    --------
    >>> [step.kind for step in steps_of_method(Method())]
    ['detection', 'ringing undone', 'rise', 'uncertainty', 'software']
    """
    d, c, p = method.detection, method.correction, method.pulse
    found = {
        "threshold_sigmas": d.threshold_sigmas,
        "quiet_time": d.quiet_time,
        "minimum_force": d.minimum_force,
        "merge_gap": 1e3 * d.merge_gap,
    }
    steps = [DoneStep("detection", found)]
    if c.kind == "none":
        steps.append(DoneStep("ringing left", {}))
    else:
        refined = ", natural frequency and damping found again on every strike" if c.refine else ""
        steps.append(DoneStep("ringing undone", {"refined": refined}))
    if c.cfc:
        steps.append(DoneStep("channel class", {"cfc": c.cfc}))
    rise = {"from_percent": 100 * p.rise_from, "to_percent": 100 * p.rise_to}
    name = f" (method {method.name}, version {method.version}, {method.sha256[:12]})"
    software = {"version": __version__, "method": name}
    return (*steps, DoneStep("rise", rise), DoneStep("uncertainty", {}), DoneStep("software", software))


def _listed(fact: Any) -> Any:
    """Several names as people write them; everything else as it is."""
    if not isinstance(fact, list | tuple):
        return fact
    words = [str(f) for f in fact]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def write_methods(steps: Sequence[DoneStep]) -> str:
    """
    Write the methods paragraph.

    Parameters
    ----------
    steps : sequence of DoneStep
        What was done; told in the order of ``SENTENCES``. A kind may stand several times.

    Returns
    -------
    str
        One paragraph. What is not in the list is not claimed; where a reviewer would ask, the paragraph
        says that it was not recorded.

    Raises
    ------
    StudyError
        If a kind is unknown, a fact is missing or empty, or the software is not among the steps.

    Notes
    -----
    The sentences are plain English to be edited, not a judgement that the study was sound.

    Examples
    --------
    >>> print(write_methods([
    ...     DoneStep("people", {"n_people": 8, "n_strikes": 160, "n_sessions": 2}),
    ...     DoneStep("left out", {"n_left_out": 2, "n_all": 160, "reasons": ["2 clipped"]}),
    ...     DoneStep("software", {"version": "0.1", "method": ""})]))
    8 people gave 160 strikes in 2 sessions. 2 of 160 strikes were left out: 2 clipped. Everything was
    computed with Quintain 0.1. Whether the order of conditions was randomised was not recorded.
    """
    for step in steps:
        if step.kind not in SENTENCES:
            raise StudyError(f"no sentence for a step {step.kind!r}; choose from {', '.join(SENTENCES)}")
        needs = [name for _, name, _, _ in Formatter().parse(SENTENCES[step.kind]) if name]
        missing = [
            n for n in needs if n not in step.facts or step.facts[n] is None or step.facts[n] in ([], ())
        ]
        if missing:
            raise StudyError(f"the step {step.kind!r} does not say {', '.join(missing)}; nothing is guessed")
    there = {step.kind for step in steps}
    if "software" not in there:
        raise StudyError("the methods must name the software and its version: add the step 'software'")
    told = [
        sentence.format(**{name: _listed(fact) for name, fact in step.facts.items()})
        for kind, sentence in SENTENCES.items()
        for step in steps
        if step.kind == kind
    ]
    told += [words for kinds, words in UNTOLD if not kinds & there]
    if there & TESTS and "sample size" not in there:
        told.append("No sample size was planned beforehand, or none was recorded.")
    return " ".join(sentence[0].upper() + sentence[1:] for sentence in told)
