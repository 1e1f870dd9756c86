"""The door: size of a request, who is asking, from which page. Plain ASGI, in front of the app."""

import secrets
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from socket import gethostname
from urllib.parse import parse_qs, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.desk import is_here

LARGEST_BODY = 2 * 1024 * 1024
COOKIE = "thirdstop"
A_YEAR_S = 365 * 24 * 3600
SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none';"
        " form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


class TooLarge(Exception):
    """The body passed the limit while it was being read."""


class Guard:
    """Lets in the machine itself and devices that carry the token; refuses the rest."""

    def __init__(self, app: ASGIApp, token: str) -> None:
        self._app = app
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        read = 0
        started = False

        async def bounded() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > LARGEST_BODY:
                raise TooLarge
            return message

        async def secured(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                out = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    out.setdefault(name, value)
            await send(message)

        try:
            await self._app(scope, bounded, secured)
        except TooLarge:
            if started:
                raise
            await _too_large()(scope, receive, send)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_BODY:
            return _too_large()
        host = _host_only(headers.get("host", ""))
        if not _is_ours(host):
            return _refused(421, f"this server is not {host[:60]!r}: open it by its own address")
        origin = headers.get("origin")
        if scope["method"] not in ("GET", "HEAD") and (
            (origin and urlsplit(origin).netloc != headers.get("host"))
            or headers.get("sec-fetch-site") == "cross-site"
        ):
            return _refused(403, "this request comes from another site's page: refused")
        client = scope["client"][0] if scope.get("client") else ""
        if is_here(client) or self._paired(headers):
            return None
        return self._let_in(scope) or _refused(
            401, "this device is not paired: scan the code that the server printed at its start"
        )

    def _paired(self, headers: Headers) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and self._same(cookie.value)

    def _same(self, value: str) -> bool:
        return secrets.compare_digest(value.encode(), self._token.encode())

    def _let_in(self, scope: Scope) -> Response | None:
        """A visit with the token in its address: give the cookie, take the token off."""
        query = parse_qs(scope["query_string"].decode("latin-1"))
        if scope["method"] != "GET" or not self._same(query.pop("token", [""])[0]):
            return None
        rest = urlencode(query, doseq=True)
        path = "/" + scope["path"].lstrip("/")  # never //elsewhere
        answer = RedirectResponse(path + (f"?{rest}" if rest else ""), 303)
        answer.set_cookie(COOKIE, self._token, max_age=A_YEAR_S, httponly=True, samesite="strict")
        return answer


def _host_only(host: str) -> str:
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    return name.strip("[]").lower()


def _is_ours(host: str) -> bool:
    """Numbers, this machine's own names: a name made up elsewhere could be rebound to us."""
    if host in ("localhost", "testserver", gethostname().lower()) or host.endswith(".local"):
        return True
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def _too_large() -> Response:
    return _refused(413, f"the request is too large: at most {LARGEST_BODY // 2**20} MB")


def _refused(status: int, sentence: str) -> Response:
    return JSONResponse({"detail": sentence}, status)
