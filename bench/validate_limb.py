"""
Accuracy of effective mass, energy, power, translation and contact force on simulated strikes.

``python -m bench.validate_limb`` writes ``docs/validation/limb.md`` and ``limb.csv``.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Motion, Plate, Push, Striker, Target, simulate_strike
from quintain.numerics.contact_alignment import align_on_contact
from quintain.numerics.contact_force import PlateOnPad, recover_contact_force
from quintain.numerics.effective_mass import DEFINITIONS, join_speed, mass_growth, touch_before_start
from quintain.numerics.limb_numbers import QUANTITIES, LimbDoubts, measure_limb
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.numerics.pulse import find_contact
from quintain.numerics.ringing import remove_ringing
from quintain.numerics.translate import Blow, translate_blow
from quintain.version import __version__

KINDS = ("no push", "push from before contact", "push that begins with contact", "two masses")
PADS = ("firm", "soft", "thin", "slow")
CELL = Cell(3.0, 220.0, 0.02)
FINE = 50e3
RATE = 2000.0
SPEED_RATE = 1000.0
NOISE = 3.0
U_SCALE = 0.005
U_OFFSET = 0.02
U_CLOCKS = 0.0002
U_PAD = 0.03
"""Standard deviations of the errors put in: speed [1], [m/s], clocks [s], stiffness of pads [1]."""


@dataclass
class Tally:
    """Errors in per cent and, where an uncertainty is stated, whether it held the truth."""

    errors: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)

    def add(self, value: float, truth: float, u: float | None = None) -> None:
        """Add one strike."""
        self.errors.append(100 * (value / truth - 1))
        if u is not None:
            self.held.append(abs(value - truth) <= 1.96 * u)

    def row(self) -> list[str]:
        """Count, median and 95th percentile of the absolute error, mean error, coverage."""
        e = np.array(self.errors)
        median, high = np.quantile(np.abs(e), [0.5, 0.95])
        covered = f"{np.mean(self.held):.3f}" if self.held else ""
        return [str(e.size), f"{median:.2f}", f"{high:.2f}", f"{e.mean():+.2f}", covered]


Tallies = dict[tuple[str, str, str], Tally]


@dataclass(frozen=True)
class Blows:
    """One invented limb, ready to be thrown at any target."""

    striker: Striker
    kind: str
    mass: float
    """What the effective mass should be: all of it, or the front one of two."""

    def at(self, target: Target, duration: float = 0.16) -> Motion:
        """Simulate."""
        return simulate_strike(self.striker, target, duration=duration, rate=FINE, tolerance=1e-7)


def invent(rng: np.random.Generator, kind: str) -> Blows:
    """Draw a limb of 1.5-6 kg at 4-12 m/s, at most 140 J, with a push of up to 850 N."""
    while True:
        mass, speed = rng.uniform(1.5, 6), rng.uniform(4, 12)
        if 0.5 * mass * speed**2 <= 140:
            break
    height, lasts = rng.uniform(0, 600) * np.sqrt(mass / 3), rng.uniform(0.03, 0.08)
    gap = 0.012 * speed
    push = {
        "no push": None,
        "push that begins with contact": Push(height, 0.012, lasts, min(0.015, lasts / 2.5)),
    }.get(kind, Push(height, -0.02, lasts + 0.032, 0.001))
    if kind != "two masses":
        return Blows(Striker(mass, speed, gap, push), kind, mass)
    front = mass * rng.uniform(0.25, 0.6)
    joint = rng.uniform(15, 45)
    return Blows(Striker(front, speed, gap, push, mass - front, joint), kind, front)


def study_strikes(rng: np.random.Generator, n: int, tallies: Tallies) -> None:
    """Measure ``n`` strikes of every kind on every pad, from samples to numbers."""
    for kind in KINDS:
        for pad in PADS:
            for _ in range(n):
                study_one(rng, invent(rng, kind), pad, tallies)


def study_one(rng: np.random.Generator, blow: Blows, pad: str, tallies: Tallies) -> None:
    """Record one strike with force and speed, measure it, and hold it against the simulated truth."""
    motion = blow.at(Target(INVENTED_PADS[pad], cell=CELL))
    touch = float(motion.touch_times[0])
    since = motion.time - touch
    acquired = acquire(motion.cell_output, FINE, rate=RATE, rng=rng, noise=NOISE, quiet_before=0.05)
    inside = np.flatnonzero(np.abs(acquired.force) > 0.05 * acquired.force.max())
    found = remove_ringing(
        acquired.force,
        RATE,
        natural_frequency=[CELL.natural_frequency],
        damping_ratio=[CELL.damping_ratio],
        noise=NOISE,
        u_natural_frequency=[0.5],
        u_damping_ratio=[0.001],
        contact=(int(inside[0]) - 2, int(inside[-1]) + 2),
        grid=4,
    )
    try:
        contact = find_contact(found.force, found.time, found.u_force)
    except ValueError:
        # a pulse that is too short for the rate: its corrected force is as doubtful as it is high
        tallies.setdefault(("too short", blow.kind, pad), Tally()).add(1.0, 1.0)
        return
    lead = touch_before_start(found.time - contact.start, found.force)
    begin = contact.start - lead.value
    time = found.time - begin
    clock_error = rng.normal(0, U_CLOCKS)
    start_error = begin + acquired.time[0] - touch
    speed_time = np.arange(-0.02, since[-1], 1 / SPEED_RATE)
    true_speed = np.interp(speed_time, since, motion.striker_speed)
    speed = true_speed * (1 + rng.normal(0, U_SCALE)) + rng.normal(0, U_OFFSET)
    before = (speed_time < -0.001) & (speed_time > -0.009)
    a0 = np.polyfit(speed_time[before], speed[before], 1)[0]
    at_zero = np.interp(-0.001, speed_time, speed) + 0.001 * a0
    shown = speed_time - start_error + clock_error
    part = time >= 0
    inside = found.force[part]
    impulse = np.concatenate([[0.0], np.cumsum(0.5 * (inside[1:] + inside[:-1]))]) / RATE / 4
    try:
        aligned = align_on_contact(time[part], impulse, shown, speed, acceleration=a0, u_alignment=U_CLOCKS)
        trace = join_speed(time, found.force, shown + aligned.shift, speed, end=contact.end - begin)
        tz = int(np.argmax((motion.striker_speed <= 0) & (since > 0)))
        u_force = float(np.trapezoid(found.u_force[part], time[part]) / impulse[-1])
        doubts = LimbDoubts(
            0.0, u_force, U_SCALE, U_OFFSET, 2.0, aligned.u, float(np.hypot(contact.u_start, lead.u))
        )
        numbers = measure_limb(trace, approach_speed=float(at_zero), acceleration=float(a0), doubts=doubts)
    except ValueError:
        tallies.setdefault(("not stated", blow.kind, pad), Tally()).add(1.0, 1.0)
        return

    def tally(what: str) -> Tally:
        return tallies.setdefault((what, blow.kind, pad), Tally())

    first = int(np.searchsorted(since, 0.0))
    work = np.cumsum(motion.contact_force * motion.striker_speed) / FINE
    v1 = float(np.interp(0.0, since, motion.striker_speed))
    truth = {
        "effective_mass": blow.mass,
        "energy": work[tz] - work[first],
        "peak_power": (motion.contact_force * motion.striker_speed).max(),
        "mean_power": (work[tz] - work[first]) / since[tz],
        "impulse_to_stop": motion.contact_impulse[tz],
        "approach_speed": v1,
    }
    for name, value in truth.items():
        estimate = numbers.estimates[name]
        tally(name).add(estimate.value, float(value), estimate.u)
    growth = mass_growth(trace, numbers.stop, acceleration=a0, u_alignment=aligned.u, u_acceleration=2.0)
    tally("alignment").errors.append(1e3 * (aligned.shift + clock_error))
    tally("growth").errors.append(100 * growth.ratio)
    tally("growth").held.append(growth.ratio > max(3 * growth.u_ratio, 0.1))
    whole = float(trace.impulse[-1])
    to_peak = float(np.interp(found.time_of_peak - begin, trace.time, trace.impulse))
    v2 = -float(np.interp(contact.end - begin, trace.time, trace.speed))
    others = {
        "to_stop_with_push": numbers.estimates["effective_mass"].value,
        "to_stop": numbers.estimates["impulse_to_stop"].value / v1,
        "to_peak": to_peak / v1,
        "half_impulse": whole / (2 * v1),
        "with_rebound": whole / (v1 + v2),
    }
    for name, mass in others.items():
        u = DEFINITIONS[name].u_method * mass
        tally(f"mass by {name}").add(mass, blow.mass, u)
    low, high = to_peak / v1, whole / v1
    tally("bounds hold the mass").held.append(low * 0.99 <= blow.mass <= high * 1.01)
    tally("bounds hold the mass").errors.append(100 * (high - low) / blow.mass)


def study_translation(rng: np.random.Generator, n: int, tallies: Tallies) -> None:
    """Carry ``n`` strikes of every kind from the firm pad to every other, with wrong pads' constants."""
    from dataclasses import replace

    hit = Target(INVENTED_PADS["firm"], cell=CELL)
    for kind in KINDS:
        for _ in range(n):
            blow = invent(rng, kind)
            motion = blow.at(hit, 0.1)
            since = motion.time - motion.touch_times[0]
            before = (since < -0.001) & (since > -0.009)
            a0, v1 = np.polyfit(since[before], motion.striker_speed[before], 1)
            tz = int(np.argmax((motion.striker_speed <= 0) & (since > 0)))
            mass = motion.contact_impulse[tz] / (v1 + a0 * since[tz])
            end = float(motion.leave_times[0] - motion.touch_times[0]) if motion.leave_times.size else 0.08
            thin = (since[::5], motion.force_on_cell[::5], since[::5], motion.striker_speed[::5])
            trace = join_speed(*thin, end=end)
            grows = mass_growth(trace, float(since[tz]), acceleration=a0).ratio > 0.1
            errors = (rng.normal(1, 0.02), rng.normal(1, 0.01))
            found = Blow(mass * errors[0], v1 * errors[1], a0, 0.02 * mass, 0.01 * v1, 2.0, grows)
            peak = motion.force_on_cell.max() * rng.normal(1, 0.003)
            for name, pad in INVENTED_PADS.items():
                if name == "firm":
                    continue

                def wrong(target: Target) -> Target:
                    law = target.pad
                    return replace(target, pad=replace(law, stiffness=law.stiffness * rng.normal(1, U_PAD)))

                to = Target(pad, cell=CELL)
                there = translate_blow(
                    found, measured_peak=peak, u_measured_peak=0.003 * peak, hit=wrong(hit), to=wrong(to),
                    u_stiffness_hit=U_PAD, u_stiffness_to=U_PAD,
                )  # fmt: skip
                where = "near bottoming" if "translation-near-bottoming" in there.flags else "within range"
                if "translation-refused" in there.flags:
                    where = "refused"
                tally = tallies.setdefault(("translated peak", kind, where), Tally())
                if where == "refused":
                    tally.errors.append(np.nan)
                    continue
                truth = blow.at(to, 0.1).force_on_cell.max()
                tally.add(there.peak_force.value, float(truth), there.peak_force.u)


def study_contact_force(rng: np.random.Generator, n: int, tallies: Tallies) -> None:
    """Recover the force at the glove through three plates, with wrong constants."""
    for mass in (0.3, 1.0, 3.0):
        frequency = np.sqrt(1.2e6 / mass) / 2 / np.pi
        for i in range(n):
            target = Target(INVENTED_PADS[PADS[i % 4]], Plate(mass, 1.2e6, 0.1), CELL)
            striker = Striker(rng.uniform(1.5, 4), rng.uniform(4, 9), gap=0.01)
            motion = simulate_strike(striker, target, duration=0.3, rate=FINE, tolerance=1e-7)
            acquired = acquire(motion.cell_output, FINE, rate=RATE, rng=rng, noise=NOISE, quiet_before=0.05)
            plate = PlateOnPad(
                mass * rng.normal(1, 0.02), 3.0, frequency * rng.normal(1, 0.02), 0.1 * rng.normal(1, 0.25)
            )
            found = recover_contact_force(
                acquired.force, RATE, natural_frequency=220.0 * rng.normal(1, 0.002),
                damping_ratio=0.02 * rng.normal(1, 0.05), plate=plate, noise=NOISE,
            )  # fmt: skip
            truth = float(motion.contact_force.max())
            where = f"plate {mass:g} kg"
            tallies.setdefault(("contact force, peak", where, "all"), Tally()).add(
                found.peak_force, truth, found.u_peak_force
            )
            tallies.setdefault(("cell taken for glove, peak", where, "all"), Tally()).add(
                float(motion.force_on_cell.max()), truth
            )


def gathered(tallies: Tallies, what: str, keep: Callable[[str, str], bool] = lambda *_: True) -> Tally:
    """All errors of one quantity over the kinds and pads to keep."""
    total = Tally()
    for (name, kind, pad), tally in tallies.items():
        if name == what and keep(kind, pad):
            total.errors += tally.errors
            total.held += tally.held
    return total


def table(head: list[str], rows: Iterable[list[str]]) -> str:
    """A table in Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


COLUMNS = ["strikes", "median %", "95 % below", "mean %", "95 % interval holds"]


def _of(kinds: Iterable[str]) -> Callable[[str, str], bool]:
    chosen = tuple(kinds)
    return lambda kind, _: kind in chosen


def _definition_rows(tallies: Tallies) -> list[list[str]]:
    groups = {"one mass": KINDS[:3], "two masses, against the front one": KINDS[3:]}
    return [
        [f"`{name}`", definition.formula, group, *gathered(tallies, f"mass by {name}", _of(kinds)).row()]
        for name, definition in DEFINITIONS.items()
        for group, kinds in groups.items()
    ]


def _growth_rows(tallies: Tallies) -> list[list[str]]:
    rows = []
    for kind in KINDS:
        tally = gathered(tallies, "growth", _of([kind]))
        spread = [f"{x:.1f}" for x in np.quantile(tally.errors, [0.05, 0.5, 0.95])]
        rows.append([kind, *spread, f"{100 * np.mean(tally.held):.0f} %"])
    return rows


def _shift_rows(tallies: Tallies) -> list[list[str]]:
    rows = []
    for kind in KINDS:
        errors = np.abs(gathered(tallies, "alignment", _of([kind])).errors)
        rows.append([kind, *(f"{x:.3f}" for x in np.quantile(errors, [0.5, 0.95]))])
    return rows


def _moved_rows(tallies: Tallies) -> list[list[str]]:
    return [
        [kind, where, *tallies["translated peak", kind, where].row()]
        for where in ("within range", "near bottoming")
        for kind in KINDS
        if ("translated peak", kind, where) in tallies
    ]


def page(tallies: Tallies, n: int) -> str:
    """The page of the study."""
    steady = KINDS[:2]
    definitions = _definition_rows(tallies)
    kinds = [[kind, *gathered(tallies, "effective_mass", _of([kind])).row()] for kind in KINDS]
    quantities = [
        [name, group, *gathered(tallies, name, _of(chosen)).row()]
        for name in QUANTITIES
        for group, chosen in (("steady push or none", steady), (KINDS[2], KINDS[2:3]), (KINDS[3], KINDS[3:]))
        if any(t[0] == name for t in tallies)
    ]
    bounds = gathered(tallies, "bounds hold the mass", _of(KINDS[:3]))
    moved = _moved_rows(tallies)
    glove = [
        [what, kind, *tally.row()]
        for (what, kind, _), tally in tallies.items()
        if what in ("contact force, peak", "cell taken for glove, peak")
    ]
    growth = _growth_rows(tallies)
    shift = _shift_rows(tallies)
    missing = len(gathered(tallies, "not stated").errors)
    short = len(gathered(tallies, "too short").errors)
    return f"""# The limb: effective mass, energy, power, other pads

Everything on this page is simulated; nobody was measured. quintain {__version__},
{datetime.now(UTC).date()}, `python -m bench.validate_limb`, {n} strikes of each kind on each of {len(PADS)}
invented pads: 1.5 to 6 kg, 4 to 12 m/s, at most 140 J, pushes of up to 850 N. The force is sampled {RATE:g}
times a second behind a cell of {CELL.natural_frequency:g} Hz with {NOISE:g} N of noise and corrected; the
speed is sampled {SPEED_RATE:g} times a second and is wrong by {100 * U_SCALE:g} % in scale, {U_OFFSET:g} m/s
in offset and {1e3 * U_CLOCKS:g} ms in time (one standard deviation each). Errors hold all of that. {missing}
strikes could not be stated because the limb leant on the pad and did not stop, {short} because their pulse is
too short for the rate.

## Effective mass by definition

Against the mass of the limb; of two masses against the front one.

{table(["definition", "formula", "limb", *COLUMNS], definitions)}

The intervals of the four simple definitions hold their own share alone, as `DEFINITIONS` states it.

## The default, by what the limb does

{table(["limb", *COLUMNS], kinds)}

A push that begins only with contact cannot be seen in the acceleration before it. Its impulse is then counted
as mass: that is what the window of the definition means, and the number is flagged `late-push` where the mass
grows during contact. Growth of the mass from that to the stop to that of the whole contact, in per cent:

{table(["limb", "5 % below", "median", "95 % below", "flagged"], growth)}

With force and approach speed alone, the bounds J(t_peak)/v1 to J/v1 hold the mass of one-mass limbs in
{100 * np.mean(bounds.held):.0f} % of strikes; they are {np.median(bounds.errors):.0f} % of the mass wide
(median).

## All quantities

{table(["quantity", "limb", *COLUMNS], quantities)}

Energy and power are held against those of the hand on the pad; effective mass against the mass, so that only
the first of its rows is a test of its interval. Of two masses the front one is still being speeded up by the
one behind it as it meets the pad: a straight line through the last 8 ms of speed reads its approach speed too
low, and the interval does not know that. Such strikes are flagged `late-push`.

## Alignment of force and speed on the strike itself

Error of the shift in ms after clocks good to {1e3 * U_CLOCKS:g} ms and the strike's own momentum were joined.

{table(["limb", "median", "95 % below"], shift)}

## The same blow on another pad

From the firm pad to five others; mass wrong by 2 %, speed by 1 %, both pads' stiffness by {100 * U_PAD:g} %.

{table(["limb", "where", *COLUMNS], moved)}

## Force at the glove through a plate

The plate's mass and frequency wrong by 2 %, its damping by 25 %.

{table(["what", "plate", *COLUMNS], glove)}
"""


def main() -> None:
    """Run the study and write its page and table."""
    parser = argparse.ArgumentParser(prog="python -m bench.validate_limb", description=__doc__)
    parser.add_argument("--strikes", type=int, default=12, help="of each kind on each pad")
    parser.add_argument("--out", type=Path, default=Path(__file__).parents[1] / "docs" / "validation")
    options = parser.parse_args()
    rng = np.random.default_rng(20261125)
    tallies: Tallies = {}
    study_strikes(rng, options.strikes, tallies)
    study_translation(rng, options.strikes, tallies)
    study_contact_force(rng, 2 * options.strikes, tallies)
    options.out.mkdir(parents=True, exist_ok=True)
    with (options.out / "limb.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["what", "limb", "pad", *COLUMNS])
        rows.writerows([*key, *tally.row()] for key, tally in tallies.items())
    (options.out / "limb.md").write_text(page(tallies, options.strikes), encoding="utf-8")


if __name__ == "__main__":
    main()
