"""All commands, gathered."""

from __future__ import annotations

from typing import Annotated

import typer

from quintain.cli.analyse import analyse
from quintain.cli.audit import audit
from quintain.cli.calibrate import calibrate
from quintain.cli.demo import demo
from quintain.cli.doctor import doctor
from quintain.cli.drops import drops
from quintain.cli.export import export
from quintain.cli.formats import formats
from quintain.cli.history import history
from quintain.cli.import_package import import_package
from quintain.cli.import_recordings import import_recordings
from quintain.cli.new import new
from quintain.cli.passphrase import passphrase
from quintain.cli.peek import peek
from quintain.cli.person import person
from quintain.cli.report import report
from quintain.cli.review import review
from quintain.cli.rig import rig
from quintain.cli.serve import serve
from quintain.cli.session import session
from quintain.cli.show import show
from quintain.cli.state import state
from quintain.cli.strike_type import strike_type
from quintain.cli.study import study
from quintain.cli.tap import tap
from quintain.cli.translate import translate
from quintain.cli.zero import zero
from quintain.version import __version__

__all__ = ["app"]

app = typer.Typer(
    name="quintain",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit


@app.callback()
def about(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """
    From recordings of a padded load cell to strikes whose numbers are true, with their uncertainty.

    Exit codes: 0 fine, 1 the data say no, 2 usage or a settings file, 3 trouble with a recording.
    """


app.command()(demo)
app.command()(analyse)
app.command()(drops)
app.command()(rig)
app.command()(tap)
app.command()(calibrate)
app.command()(translate)
app.command()(peek)
app.command()(formats)
app.command()(zero)
app.command()(serve)
app.command()(passphrase)
app.command()(new)
app.command("import")(import_recordings)
app.command()(state)
app.command()(doctor)
app.command()(history)
app.add_typer(study, name="study")
app.add_typer(person, name="person")
app.add_typer(strike_type, name="type")
app.add_typer(session, name="session")
app.add_typer(review, name="review")
app.command()(audit)
app.command()(export)
app.command()(import_package)
app.add_typer(show, name="show")
app.add_typer(report, name="report")
