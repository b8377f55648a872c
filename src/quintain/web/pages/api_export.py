"""Tables that leave the lab, for scripts."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path
from typing import Annotated, Literal

from fastapi import Query, Request
from pydantic import Field
from starlette.responses import Response

from quintain.tasks.export import export_tables
from quintain.web.chosen import chosen_of
from quintain.web.current import CurrentLab
from quintain.web.pages._api import api_router
from quintain.web.pages.api_strikes import StrikeQuery

__all__ = ["router"]

router = api_router("export", "/export")


class ExportQuery(StrikeQuery):
    """Which strikes, and in which form."""

    format: Literal["csv", "xlsx", "parquet"] = Field("csv", description="Form of the tables.")
    shown: Literal["", "0", "1"] = Field("", description="1: in the units people read instead of SI.")


@router.get(
    "",
    response_class=Response,
    responses={200: {"content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}}}},
)
def export(request: Request, lab: CurrentLab, asked: Annotated[ExportQuery, Query()]) -> Response:
    """
    Give tidy tables with their codebook as a zip.

    People appear by their codes; free notes and what identifies anybody are left out.
    """
    chosen = chosen_of(request.query_params).filter
    with tempfile.TemporaryDirectory() as folder:
        made = export_tables(lab, folder, format=asked.format, chosen=chosen, shown=asked.shown == "1")
        whole = io.BytesIO()
        with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as packed:
            for file in made.files:
                packed.write(file, Path(file).name)
    return Response(
        whole.getvalue(), media_type="application/zip",
        headers={"Content-Disposition": 'attachment; filename="quintain-tables.zip"'},
    )  # fmt: skip
