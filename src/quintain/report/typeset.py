"""PDF from typst templates, with fonts that come with the installation and no network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import as_file, files
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from quintain.report.figures.style import LIGHT, MARKS, standalone

__all__ = ["typeset"]

_Standard = Literal["a-2a", "ua-1"]
_ACCESSIBLE: _Standard = "ua-1"
_ARCHIVAL: _Standard = "a-2a"


def typeset(template: str, content: Mapping[str, Any]) -> bytes:
    """
    Fill a typst template of the package and compile it.

    Words reach the template as data, never as markup, so nothing in them is carried out. The file is
    PDF/UA-1, and PDF/A-2a too when the content tells its date.

    Parameters
    ----------
    template : str
        Name of a template beside this module.
    content : mapping
        Plain mappings, lists, strings and numbers; each mapping with ``svg`` is a figure.
    """
    import typst

    date = _date(content.get("date", ""))
    data = {**_figures_alone(content), "colours": dict(LIGHT), "date_parts": date}
    data["marks"] = {name: _mark(shape) for name, shape in MARKS.items()}
    with as_file(files("quintain.report").joinpath("templates")) as folder:
        pdf = typst.compile(
            str(Path(folder) / template),
            root=str(folder),
            format="pdf",
            font_paths=_fonts(),
            ignore_system_fonts=True,
            sys_inputs={"content": json.dumps(data, ensure_ascii=False)},
            pdf_standards=[_ARCHIVAL, _ACCESSIBLE] if date else [_ACCESSIBLE],
        )
    assert isinstance(pdf, bytes)
    return pdf


@cache
def _fonts() -> list[str]:
    """The DejaVu fonts inside matplotlib: there on every machine, so a PDF is the same on all."""
    spec = find_spec("matplotlib")
    places = spec.submodule_search_locations if spec else None
    return [str(Path(place) / "mpl-data" / "fonts" / "ttf") for place in places or ()]


def _date(utc: str) -> list[int]:
    try:
        moment = datetime.fromisoformat(utc)
    except ValueError:
        return []
    return [moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second]


def _figures_alone(value: Any) -> Any:
    if isinstance(value, Mapping):
        changed = {key: _figures_alone(item) for key, item in value.items()}
        if "svg" in changed:
            changed["svg"] = standalone(changed["svg"])
        return changed
    if isinstance(value, (list, tuple)):
        return [_figures_alone(item) for item in value]
    return value


def _mark(shape: str) -> str:
    return standalone(f'<svg class="chart" viewBox="0 0 12 12" width="12" height="12">{shape}</svg>')
