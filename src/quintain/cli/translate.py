"""``quintain translate``: the same blow on another pad."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import TableAsJson
from quintain.cli.failure import explained, say
from quintain.version import __version__

__all__ = ["translate"]


def translate(
    answer: Annotated[
        Path,
        typer.Argument(help="What 'analyse --json' printed, with the limb's motion.", show_default=False),
    ],
    rig: Annotated[Path, typer.Option(help="Rig file with its pads; pad = ... names the one that was hit.")],
    to: Annotated[str, typer.Option(help="Name of the other pad in the rig file.")],
    moving_mass: Annotated[
        float | None, typer.Option(help="Mass in front of the cell's gauge, in kg.")
    ] = None,
    as_frequency: Annotated[
        float | None, typer.Option(help="Natural frequency in Hz of another cell, shown uncorrected.")
    ] = None,
    as_damping: Annotated[float, typer.Option(help="Its damping ratio.")] = 0.02,
    as_cutoff: Annotated[float | None, typer.Option(help="Its low-pass filter, in Hz.")] = None,
    as_rate: Annotated[float | None, typer.Option(help="Its sampling rate, in Hz.")] = None,
    json: TableAsJson = False,
) -> None:
    """
    Say which peak the same blows would have given on another pad, or shown on another chain.

    Example: quintain translate session.json --rig rig.toml --to thin --moving-mass 2.6
    """
    from quintain.domain.as_json import text
    from quintain.domain.rig import Rig
    from quintain.domain.translation import ASSUMPTIONS, Chain, translations_as_json
    from quintain.report.rounding import shown
    from quintain.tasks.translate import blows_of_answer, translate_blows

    with explained():
        blows, left, sha256 = blows_of_answer(answer)
        chain = Chain(as_frequency, as_damping, as_cutoff, as_rate)
        wanted = any(x is not None for x in (as_frequency, as_cutoff, as_rate))
        done = translate_blows(
            blows, rig=Rig.load(rig), to=to, moving_mass=moving_mass, chain=chain if wanted else None
        )
        if left:
            numbers = ", ".join(map(str, left))
            say(f"quintain: left out strikes {numbers}: effective mass, speed or peak is not stated")
        if json:
            settings = {
                "to": to,
                "moving_mass": moving_mass,
                "as_natural_frequency": as_frequency,
                "as_damping_ratio": as_damping if as_frequency is not None else None,
                "as_cutoff": as_cutoff,
                "as_rate": as_rate,
            }
            print(
                text(
                    translations_as_json(
                        done, version=__version__, inputs=[(str(answer), sha256)], settings=settings
                    )
                )
            )
        else:
            for one in done:
                peak = "not stated" if one.translated_peak is None else shown(one.translated_peak).text
                seen = (
                    "" if one.shown is None else f", another chain {one.shown[0]:.0f} to {one.shown[2]:.0f} N"
                )
                doubts = "".join(f"  ◇ {f.code}" for f in one.flags)
                print(f"strike {one.number} on {one.pad}: {peak}{seen}{doubts}")
            print(*ASSUMPTIONS, sep="\n")
        if not any(one.translated_peak for one in done):
            say("quintain: no strike could be translated")
            raise typer.Exit(1)
