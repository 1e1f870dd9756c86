"""Errors as answers: JSON for the contract, a notice for the pages. Never silent, never a 5xx."""

from urllib.parse import urlsplit

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException

from server.errors import NotFound, OutOfRange, Refused, StudioError
from server.store.journal import trouble
from server.web.labels import in_words
from server.web.templating import html, is_htmx

STATUS: tuple[tuple[type[StudioError], int], ...] = (
    (NotFound, 404),
    (Refused, 409),
    (OutOfRange, 422),
    (StudioError, 422),
)


def install(app: FastAPI) -> None:
    """Answer every expected error of the app with a sentence."""

    @app.exception_handler(StudioError)
    async def studio_error(request: Request, error: StudioError) -> Response:
        return answer(request, next(s for kind, s in STATUS if isinstance(error, kind)), str(error))

    @app.exception_handler(RequestValidationError)
    async def validation_error(request: Request, error: RequestValidationError) -> Response:
        return answer(request, 422, sentences(error.errors()))

    @app.exception_handler(SQLAlchemyError)
    async def database_error(request: Request, error: SQLAlchemyError) -> Response:
        sentence = (
            f"this could not be stored or read ({trouble(error)}). The Board shows how the light"
            " is. Make room on the disk or check its folder, then try again"
        )
        return answer(request, 503, sentence)

    @app.exception_handler(Exception)
    async def mistake_of_ours(request: Request, error: Exception) -> Response:
        sentence = (
            "this is a mistake in Thirdstop itself, told in its log. The Board shows how the light"
            " is; go back and go on"
        )
        return answer(request, 500, sentence)

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        unknown = error.status_code == 404 and error.detail == "Not Found"
        sentence = "there is no page at this address" if unknown else str(error.detail)
        return answer(request, error.status_code, sentence)


def sentences(errors: object) -> str:
    """Validation errors as one line that names field, value and what is allowed."""
    told = []
    for error in list(errors)[:5]:  # type: ignore[call-overload]
        where = ".".join(str(p) for p in error["loc"] if p not in ("body", "query", "path"))
        value = repr(error.get("input"))
        told.append(f"{where or 'body'}: {error['msg']}, got {value:.80}")
    return "; ".join(told)


def answer(request: Request, code: int, sentence: str) -> Response:
    """The error in the form the caller reads."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": sentence}, code)
    if not request.headers.get("content-type", "").startswith("multipart/"):
        sentence = in_words(sentence)  # but what is wrong in a file is called as it is there
    if is_htmx(request):
        return html("parts/notice.html", code, notice=sentence, oob=True)
    return html("pages/error.html", code, sentence=sentence, back=page_before(request))


def page_before(request: Request) -> str:
    """The page of ours that the request came from, else the Looks."""
    came = urlsplit(request.headers.get("referer", ""))
    if came.netloc != request.headers.get("host") or not came.path.startswith("/"):
        return "/"
    return "/" + came.path.lstrip("/") + (f"?{came.query}" if came.query else "")
