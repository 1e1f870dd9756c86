"""The door: size of a request, who is asking, from which page. Plain ASGI, in front of the app."""

from collections.abc import Mapping
from functools import lru_cache
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from secrets import compare_digest
from socket import gethostname
from urllib.parse import parse_qs, quote, urlencode, urlsplit

from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.store.devices import Device
from server.web.desk import Desk, is_here
from server.web.doors import A_YEAR_S, COOKIE, HERE
from server.web.permission import refusal_for
from server.web.templating import html

LARGEST_BODY = 2 * 1024 * 1024
LARGEST = {
    "/photographs/frame": 120 * 1024 * 1024,
    "/library/files/look-book": 8 * 1024 * 1024,
    "/rooms/import": 32 * 1024 * 1024,
}
"""Files that may be larger than what a form sends: a photograph, a book of looks, a studio."""
SAFE = ("GET", "HEAD")
OPEN_TO_ALL = ("/pair", "/trust", "/trust/authority.crt")
SECURITY_HEADERS = (
    (b"content-security-policy",
     b"default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none';"
     b" form-action 'self'; frame-ancestors 'none'"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
)  # fmt: skip


class TooLarge(Exception):
    """The body passed the limit while it was being read."""


class Guard:
    """Lets in the machine itself and paired devices, each to what it may do; refuses the rest."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app = app
        self._desk = desk
        desk.perform = app  # a granted wish goes in behind the door, in the asker's name

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        read, started = 0, False

        async def bounded() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > _largest(scope):
                raise TooLarge
            return message

        async def secured(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                lines = list(message.get("headers", ()))
                known = {name.lower() for name, _ in lines}
                lines += [line for line in SECURITY_HEADERS if line[0] not in known]
                message["headers"] = lines
            await send(message)

        # of a line that is sent twice the first counts
        headers = {n.decode("latin-1"): v.decode("latin-1") for n, v in scope["headers"][::-1]}
        try:
            answer = self._strange(scope, headers)
            if answer is None:
                device = self._device(scope, headers)
                scope.setdefault("state", {})["device"] = device
                if device is None:
                    answer = self._unpaired(scope, headers)
                elif scope["method"] not in SAFE:
                    answer = await refusal_for(self._desk, device, scope, headers, bounded)
            await (answer or self._app)(scope, bounded, secured)
        except TooLarge:
            if started:
                raise
            await _too_large(scope)(scope, receive, send)

    def _strange(self, scope: Scope, headers: Mapping[str, str]) -> Response | None:
        """Refuse what no page of ours sends: too large, by another name, from another site."""
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > _largest(scope):
            return _too_large(scope)
        host = _host_only(headers.get("host", ""))
        if not _is_ours(host):
            return _refused(421, f"this server is not {host[:60]!r}: open it by its own address")
        if scope["method"] not in SAFE and (
            not _same_origin(headers.get("origin"), headers.get("host"))
            or headers.get("sec-fetch-site") == "cross-site"
        ):
            return _refused(403, "this request comes from another site's page: refused")
        return None

    def _device(self, scope: Scope, headers: Mapping[str, str]) -> Device | None:
        client = scope["client"][0] if scope.get("client") else ""
        if is_here(client):
            return HERE
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return None
        return self._desk.doors.device_of(cookie.value) if cookie else None

    def _unpaired(self, scope: Scope, headers: Mapping[str, str]) -> Response | None:
        """A visit with the token of the printed address pairs; everything else may only pair."""
        path = "/" + scope["path"].lstrip("/")  # never //elsewhere
        query = parse_qs(scope["query_string"].decode("latin-1"))
        token = query.pop("token", [""])[0]
        if scope["method"] == "GET" and compare_digest(
            token.encode(), self._desk.doors.token.encode()
        ):
            rest = urlencode(query, doseq=True)
            to = path + (f"?{rest}" if rest else "")
            if not path.startswith("/api/"):
                to = f"/pair/name?back={quote(to)}"
            return admitted(self._desk, self._desk.doors.let_in_by_token(), to, _is_secure(scope))
        if path.startswith("/static/") or path in OPEN_TO_ALL:
            return None
        sentence = "this device is not paired: scan the code that the server printed at its start"
        if "text/html" in headers.get("accept", ""):
            return html("pages/pair.html", 401, notice=sentence, back="/")
        return _refused(401, sentence)


def admitted(desk: Desk, device: Device, to: str, secure: bool) -> Response:
    """Give a device its cookie and send it on."""
    answer = RedirectResponse(to, 303)
    answer.set_cookie(
        COOKIE, desk.doors.cookie(device), max_age=A_YEAR_S, httponly=True, samesite="strict",
        secure=secure,
    )  # fmt: skip
    return answer


def _same_origin(origin: str | None, host: str | None) -> bool:
    if not origin:
        return True
    try:
        return urlsplit(origin).netloc == host
    except ValueError:  # no address at all
        return False


def _is_secure(scope: Scope) -> bool:
    return scope.get("scheme") == "https"


def _host_only(host: str) -> str:
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    return name.strip("[]").lower()


def _is_ours(host: str) -> bool:
    """Numbers, this machine's own names: a name made up elsewhere could be rebound to us."""
    if _is_number(host) or host in ("localhost", "testserver"):
        return True
    own = gethostname().lower()
    return host in (own, f"{own}.local")


@lru_cache(64)
def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def _largest(scope: Scope) -> int:
    return LARGEST.get(scope["path"], LARGEST_BODY)


def _too_large(scope: Scope) -> Response:
    return _refused(413, f"the request is too large: at most {_largest(scope) // 2**20} MB")


def _refused(status: int, sentence: str) -> Response:
    return JSONResponse({"detail": sentence}, status)
