"""The page of the JSON contract at /docs, drawn by the server: no script from elsewhere."""

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse

from server.paths import STATIC
from server.web.templating import html

router = APIRouter(include_in_schema=False)


@router.get("/docs")
async def docs(request: Request) -> Response:
    """Every call of the contract."""
    schema = request.app.openapi()
    calls = [
        (method.upper(), path, call.get("description", ""))
        for path, methods in schema["paths"].items()
        for method, call in methods.items()
    ]
    return html("pages/docs.html", calls=calls)


@router.get("/favicon.ico")
async def favicon() -> Response:
    """The icon, for browsers that ask before reading the page."""
    return FileResponse(STATIC / "icon.svg", media_type="image/svg+xml")
