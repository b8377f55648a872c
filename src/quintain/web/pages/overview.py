"""Overview of the lab."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from quintain.web.current import CurrentLab
from quintain.web.navigation import Nav
from quintain.web.rendering import page

__all__ = ["NAV", "router"]

NAV = Nav("Overview", "/", 0)

router = APIRouter(include_in_schema=False)


@router.get("/")
def overview(request: Request, lab: CurrentLab) -> Response:
    """What the lab holds."""
    return page(request, "overview.html", folder=str(lab.folder))
