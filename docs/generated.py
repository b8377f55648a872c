"""Pages made from the code: glossary, flags, errors, modules of the numerical floor."""

from __future__ import annotations

import inspect
import pkgutil
from pathlib import Path

from typer.models import ArgumentInfo

import quintain.errors
import quintain.numerics
from quintain.cli.app import app
from quintain.domain.flags import FLAGS
from quintain.quantities import GLOSSARY
from quintain.readers.registry import list_readers

__all__ = ["write_pages"]


def write_pages(folder: Path) -> None:
    """Write every generated page below ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    pages = {
        "glossary": _glossary(),
        "flags": _flags(),
        "errors": _errors(),
        "numerics": _numerics(),
        "commands": _commands(),
        "formats": _formats(),
    }
    for name, text in pages.items():
        path = folder / f"{name}.md"
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def _glossary() -> str:
    lines = [
        "# Glossary of quantities",
        "",
        "The same words and definitions everywhere: on screen, in JSON, in reports.",
        "",
        "| name | quantity | symbol | unit | definition | source |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| `{q.name}` | {q.label} | {q.symbol} | {q.unit} | {q.definition} | {q.source} |"
        for q in GLOSSARY.values()
    ]
    return "\n".join(lines) + "\n"


def _flags() -> str:
    lines = ["# Flags", "", "A flag is a doubt with a stable code. It travels with the result.", ""]
    for meaning in FLAGS.values():
        lines += [f"## {meaning.code}", "", meaning.meaning, "", f"*What to do:* {meaning.remedy}", ""]
        if meaning.withholds:
            names = ", ".join(f"`{name}`" for name in meaning.withholds)
            lines += [f"*Not stated then:* {names}", ""]
    return "\n".join(lines)


def _formats() -> str:
    lines = [
        "# File formats",
        "",
        "The first bytes of a file decide which reader takes it, not its ending. `quintain peek FILE` shows",
        "what is inside. Units are never guessed, and no format runs code. Samples are read in pieces when",
        "they are asked for; only MATLAB files before version 7.3 and archives of NumPy are read whole.",
        "",
        "What a file does not say is stated with `--setting name=value`, in every command that reads one.",
        "Calibrations that a file holds are shown by `quintain peek` and used as the last column says; `when",
        "asked` means with `--setting calibration=file`.",
        "",
        "| reader | files | usual endings | settings | calibrations in files |",
        "|---|---|---|---|---|",
    ]
    for reader in list_readers():
        endings = ", ".join(f"`{suffix}`" for suffix in reader.suffixes)
        settings = ", ".join(f"`{name}`" for name in reader.settings) or "none"
        lines.append(f"| `{reader.name}` | {reader.about} | {endings} | {settings} | {reader.calibrations} |")
    return "\n".join(lines) + "\n"


def _commands() -> str:
    lines = [
        "Every command has `--json` and `--help`. Results go to standard output, messages to standard error.",
        "",
    ]
    lines += ["Exit codes: 0 fine, 1 the data say no, 2 usage or a settings file, 3 trouble with a file.", ""]
    commands = [("", command) for command in app.registered_commands]
    for group in app.registered_groups:
        commands += [(f"{group.name} ", command) for command in group.typer_instance.registered_commands]
    for group_name, command in commands:
        function = command.callback
        name = group_name + (command.name or function.__name__)
        lines += [f"## quintain {name}", "", inspect.getdoc(function) or "", ""]
        lines += ["| option | meaning |", "|---|---|"]
        for parameter in inspect.signature(function, eval_str=True).parameters.values():
            (info,) = parameter.annotation.__metadata__
            option = info.param_decls[0] if getattr(info, "param_decls", ()) else f"--{parameter.name}"
            shown = parameter.name.upper() if isinstance(info, ArgumentInfo) else option.replace("_", "-")
            lines.append(f"| `{shown}` | {info.help} |")
        lines.append("")
    return "\n".join(lines)


def _errors() -> str:
    lines = ["# Errors", "", "An error stops; it is one line that says what, where, and what to do.", ""]
    for name in quintain.errors.__all__:
        kind = getattr(quintain.errors, name)
        lines += [
            f"## {kind.code}",
            "",
            inspect.getdoc(kind) or "",
            "",
            f"`{name}`, exit code {kind.exit_code}.",
            "",
        ]
    return "\n".join(lines)


def _numerics() -> str:
    names = sorted(
        m.name
        for m in pkgutil.walk_packages(quintain.numerics.__path__, "quintain.numerics.")
        if not m.ispkg and not m.name.rpartition(".")[2].startswith("_")
    )
    lines = [
        "# The numerical floor",
        "",
        "Arrays and floats in SI units in and out; one concept a file.",
        "",
    ]
    for name in names:
        lines += [
            f"## {name.removeprefix('quintain.numerics.')}",
            "",
            "```{eval-rst}",
            f".. automodule:: {name}",
            "   :members:",
            "```",
            "",
        ]
    return "\n".join(lines)
