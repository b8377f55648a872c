"""The server's parts put together."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from quintain.errors import QuintainError
from quintain.tasks.user_name import user_name
from quintain.version import __version__
from quintain.web import failures, pages, static_files, theme
from quintain.web.current import OpenLab
from quintain.web.security.body_limit import BodyLimit
from quintain.web.security.gate import Door, Gate
from quintain.web.security.headers import StrictHeaders
from quintain.web.security.origin import Hosts
from quintain.web.security.passphrases import Access

__all__ = ["create_app"]


def create_app(
    lab_folder: Path, access: Access | None = None, *, names: Iterable[str] = (), network: bool = False
) -> FastAPI:
    """
    Make the app for one lab.

    Parameters
    ----------
    lab_folder : Path
        The lab; opened when a page first needs it.
    access : Access, optional
        Passphrases by role. Without them everybody is an engineer: only ever for this computer alone.
    names : iterable of str
        Names, besides localhost, that the server answers to.
    network : bool
        Answer to bare addresses too, as a server on a network is often reached.
    """
    if network and access is None:
        raise ValueError("a server on a network needs passphrases")

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        yield
        app.state.open_lab.close()

    app = FastAPI(
        title="Quintain",
        version=__version__,
        lifespan=life,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        # nothing of a lab leaves the machine, whatever the environment says
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},
    )
    app.state.open_lab = OpenLab(lab_folder)
    app.state.door = Door(Hosts(names, network=network), access, user_name())
    app.include_router(static_files.router)
    app.include_router(theme.router)
    navigation = []
    for found in sorted(pkgutil.iter_modules(pages.__path__), key=lambda m: m.name):
        module = importlib.import_module(f"{pages.__name__}.{found.name}")
        if found.name.startswith("_"):
            continue
        app.include_router(module.router)
        if hasattr(module, "NAV"):
            navigation.append(module.NAV)
    app.state.navigation = sorted(navigation, key=lambda entry: entry.order)
    app.add_exception_handler(HTTPException, failures.on_http)
    app.add_exception_handler(RequestValidationError, failures.on_invalid)
    app.add_exception_handler(QuintainError, failures.on_quintain)
    # the last added is the outermost
    app.add_middleware(Gate, door=app.state.door)
    app.add_middleware(BodyLimit)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(StrictHeaders)
    return app
