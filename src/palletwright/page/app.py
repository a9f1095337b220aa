"""The page's server put together: routes, faults as answers, the built page, the guard around all of it."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import AsyncIterator, Mapping
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from palletwright.errors import Fault, InputError
from palletwright.page import job_routes, plan_routes, shop_routes
from palletwright.page.changes import NotChecked
from palletwright.page.desks import DeskFailed, Desks
from palletwright.page.guard import Guard, cookie_name
from palletwright.page.here import Here
from palletwright.page.runs import Busy, Runs
from palletwright.page.store import NotThere, Store

STATUS: dict[type[Exception], int] = {
    NotThere: 404,
    job_routes.Elsewhere: 409,
    NotChecked: 409,
    Busy: 409,
    DeskFailed: 422,
}
KINDS = {
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".html": "text/html",
    ".woff2": "font/woff2",
}


class Enter(BaseModel):
    """The key that the address carries."""

    model_config = ConfigDict(extra="forbid")
    key: str = Field(max_length=200)


def static_folder() -> Path:
    """Where the built page lies."""
    return Path(str(resources.files("palletwright.page").joinpath("static")))


def make_app(store: Store, port: int = 0, examples: Mapping[str, Path] | None = None) -> Guard:
    """The guarded server. `port` 0 accepts any port of this machine (for tests); `examples` are job files."""
    folder = tempfile.TemporaryDirectory(prefix="palletwright-page-")
    here = Here(store, Runs(store), Desks(), Path(folder.name), store.key(), port, dict(examples or {}))
    store.end_runs()

    @contextlib.asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        yield
        here.runs.close()
        here.desks.close()
        store.close()
        folder.cleanup()

    api = FastAPI(
        title="Palletwright", version=metadata.version("palletwright"), lifespan=life, docs_url=None, redoc_url=None,
        openapi_url="/api/openapi.json",
    )  # fmt: skip
    api.state.here = here
    for routes in (job_routes, shop_routes, plan_routes):
        api.include_router(routes.router)
    _faults(api)
    _doors(api, here)
    return Guard(api, here.key, port)


def _faults(api: FastAPI) -> None:
    @api.exception_handler(InputError)
    async def input_error(request: Request, error: InputError) -> Response:
        return JSONResponse({"faults": [job_routes.fault(f) for f in error.faults]}, 422)

    @api.exception_handler(RequestValidationError)
    async def not_valid(request: Request, error: RequestValidationError) -> Response:
        rows = [Fault("the request", ".".join(map(str, e["loc"][1:])), "", e["msg"]) for e in error.errors()]
        return JSONResponse({"faults": [job_routes.fault(f) for f in rows]}, 422)

    async def known(request: Request, error: Exception) -> Response:
        return JSONResponse({"faults": [{"problem": str(error).strip("'\"")}]}, STATUS[type(error)])

    for kind in STATUS:
        api.add_exception_handler(kind, known)


def _doors(api: FastAPI, here: Here) -> None:
    @api.post("/api/enter", tags=["door"])
    def enter(request: Request, said: Enter) -> Response:
        """Give the key once; the answer keeps it as a cookie that no script and no other page sees."""
        if said.key != here.key:
            return JSONResponse({"faults": [{"problem": "this isn't the key"}]}, 401)
        answer = JSONResponse({"entered": True})
        port = request.headers["host"].rpartition(":")[2]
        answer.set_cookie(cookie_name(port), here.key, httponly=True, samesite="strict", max_age=400 * 86400)
        return answer

    @api.get("/api/health", tags=["door"])
    def health() -> dict[str, Any]:
        """Whether the server is up."""
        return {"up": True, "version": metadata.version("palletwright")}

    @api.get("/{path:path}", include_in_schema=False)
    def page(path: str) -> Response:
        """A file of the built page."""
        if path.startswith("api/"):
            return JSONResponse({"faults": [{"problem": "there is nothing here"}]}, 404)
        root = static_folder().resolve()
        file = (root / (path or "index.html")).resolve() if "\0" not in path else root / "nothing"
        if not file.is_relative_to(root) or not file.is_file():
            return JSONResponse({"faults": [{"problem": "there is no such file"}]}, 404)
        keep = "public, max-age=31536000, immutable" if "assets" in file.parts else "no-store"
        return FileResponse(
            file, media_type=KINDS.get(file.suffix, "application/octet-stream"), headers={"cache-control": keep}
        )
