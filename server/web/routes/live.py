"""The live pages: Looks and Board, and every key on them. All forms work without JavaScript."""

from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Cookie, Form, Query, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import OutOfRange, Refused, WouldTrip
from server.store import looks as store
from server.studio.rig import Lens
from server.studio.ways import ways
from server.web.board_rows import board_view, each_head, group_heads, group_name
from server.web.desk import ActorDep, DeskDep, EngineDep, SessionDep
from server.web.doors import A_YEAR_S
from server.web.face_views import board_url, compare_view, drawing_words, face_now
from server.web.keeping import keep_look, kept_already
from server.web.left_off import left_off_words
from server.web.routes.between import stroll
from server.web.templating import html, is_htmx
from server.web.views import looks_view, next_look, strip_view
from server.web.words import seconds_of

router = APIRouter(include_in_schema=False)
Back = Annotated[str, Form(alias="back")]
MISSING_SHOWN = 0.02
HOLDS_LENS = "thirdstop-hold-lens"
"""The cookie that keeps the switch of a device until it is switched off."""


def answer(request: Request, back: str, notice: str = "", ways_url: str = "") -> Response:
    """After a write: htmx hears the change from the stream and needs a notice at most; a plain
    form goes back to its page."""
    if is_htmx(request):
        return html("parts/notice.html", notice=notice, ways_url=ways_url, oob=True)
    path = back if back.startswith("/") and not back.startswith("//") else "/"
    return RedirectResponse(path, 303)


@router.get("/", name="looks")
async def looks(
    desk: DeskDep, session: SessionDep, page: Annotated[int, Query(ge=1, le=1000)] = 1
) -> Response:
    """The running order as big tiles, six a page."""
    now = desk.engine.now()
    view = looks_view(now, store.running_order(session), page - 1, desk.faces)
    return _page(
        "looks", strip=strip_view(now), looks=view, drawing=drawing_words(desk.faces),
        back=f"/?page={page}",
    )  # fmt: skip


@router.get("/board", name="board")
async def board(
    desk: DeskDep, hold: str = "", zones: str = "",
    held: Annotated[str, Cookie(alias=HOLDS_LENS)] = "",
) -> Response:  # fmt: skip
    """The nudge board, and the face as it is lit now."""
    now = desk.engine.now()
    holding, in_zones = (hold or held) == "lens", zones == "on"
    page = _page(
        "board", strip=strip_view(now), board=board_view(now), holding=holding, zones=in_zones,
        face=face_now(desk.faces, now), left_off=left_off_words(now),
        back=board_url(holding, in_zones),
        hold_url=board_url(not holding, in_zones), zones_url=board_url(holding, not in_zones),
    )  # fmt: skip
    return _switched(page, hold)


@router.get("/board/heads", name="heads")
async def heads(
    desk: DeskDep, hold: str = "", held: Annotated[str, Cookie(alias=HOLDS_LENS)] = ""
) -> Response:
    """Every head with keys of its own, dark ones too."""
    now = desk.engine.now()
    holding = (hold or held) == "lens"
    page = _page(
        "heads", strip=strip_view(now), rows=each_head(now), holding=holding,
        back="/board/heads",
    )  # fmt: skip
    return _switched(page, hold)


def _switched(page: Response, hold: str) -> Response:
    """Remembers on this device whether the lens is held, when the switch was touched."""
    if hold:
        page.set_cookie(
            HOLDS_LENS, "lens" if hold == "lens" else "off", max_age=A_YEAR_S, httponly=True,
            samesite="strict",
        )  # fmt: skip
    return page


@router.get("/board/compare", name="compare")
async def compare_page(desk: DeskDep) -> Response:
    """The good frame's light and the light now, side by side and as one split face."""
    now = desk.engine.now()
    view = compare_view(desk.faces, now)
    return _page("compare", strip=strip_view(now), compare=view, back="/board/compare")


def _page(name: str, **context: Any) -> Response:
    return html(f"pages/{name}.html", view=name, oob=False, notice="", **context)


@router.post("/live/recall")
async def recall(
    request: Request, desk: DeskDep, actor: ActorDep, session: SessionDep,
    look: Annotated[int, Form()], back: Back = "/", anyway: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Recall a look; one that would pass a breaker's rating only when asked for all the same."""
    try:
        desk.engine.recall(store.get_look(session, look), actor=actor, anyway=anyway)
    except WouldTrip as error:
        if not is_htmx(request):
            return html("pages/would_trip.html", 409, sentence=str(error), look=look, back=back)
        return html("parts/notice.html", 409, notice=str(error), look=look, back=back, oob=True)
    desk.strolling.end()
    return answer(request, back)


@router.post("/live/step")
async def step(
    request: Request, desk: DeskDep, actor: ActorDep, session: SessionDep,
    by: Annotated[int, Form(ge=-1, le=1)], back: Back = "/",
) -> Response:  # fmt: skip
    """The next look of the running order, or the one before; on a walk its next step, or the one
    before: what a pedal does."""
    if desk.strolling.under_way(desk.engine.now()) is not None:
        stroll(desk, by, actor)
        return answer(request, back)
    engine = desk.engine
    look = next_look(engine.now(), store.running_order(session), by)
    if look is None:
        raise Refused("no look there: the running order ends here")
    engine.recall(look, actor=actor)
    return answer(request, back)


@router.post("/live/nudge")
async def nudge(
    request: Request, engine: EngineDep, actor: ActorDep,
    thirds: Annotated[int, Form(ge=-9, le=9)], group: Annotated[str, Form()] = "",
    head: Annotated[str, Form()] = "", keep: Annotated[str, Form()] = "nothing",
    back: Back = "/board",
) -> Response:  # fmt: skip
    """Nudge a row of the board, or one head by its name."""
    rig = engine.now().rig
    heads = (rig.head(head),) if head and not group else group_heads(rig, group)
    if not heads:
        raise Refused("no head plays this part in the rig")
    _, result = engine.nudge_heads(heads, head or group_name(group), thirds, keep, actor)
    notice, ways_url = "", ""
    if result is not None and result.limited and abs(result.missing_stops) > MISSING_SHOWN:
        where = "at the top" if thirds > 0 else "at its lowest"
        ended = quote(result.limited_by)
        ways_url = f"/board/ways?head={ended}&thirds={1 if thirds > 0 else -1}"
        offers = [
            w for w in ways(rig, result.before, rig.head(result.limited_by), thirds) if not w.hands
        ]
        offer = f" Or {offers[0].text}." if offers else ""
        notice = (
            f"{result.limited_by} is {where}: {abs(result.missing_stops):.2f} stop missing.{offer}"
        )
    return answer(request, back, notice, ways_url)


@router.post("/live/ratio")
async def ratio(
    request: Request, engine: EngineDep, actor: ActorDep, target: Annotated[float, Form()],
    back: Back = "/board",
) -> Response:  # fmt: skip
    """Reach a ratio with the lens held."""
    now, result = engine.ratio(target, actor=actor)
    notice = ""
    if result.limited:
        got = now.figures.ratio.told if result.got else "no ratio"
        notice = f"{target:g}:1 is out of reach, {result.why}: got {got}."
    return answer(request, back, notice)


@router.post("/live/keep")
async def keep(
    request: Request, desk: DeskDep, actor: ActorDep, session: SessionDep, back: Back = "/"
) -> Response:
    """Keep what is lit now as a look, with a name of its own; once, however often it is tapped."""
    already = kept_already(desk.engine.now(), session)
    if already is not None:
        return answer(request, back, f"Kept already as “{already.name}”.")
    look = keep_look(desk, session, None, [], "", actor)
    return answer(request, back, f"Kept as “{look.name}”. Rename it in the Library.")


@router.post("/live/lens")
async def lens(
    request: Request, engine: EngineDep, actor: ActorDep, f_number: Annotated[float, Form()],
    iso: Annotated[float | None, Form()] = None, shutter: Annotated[str, Form()] = "",
    back: Back = "/board",
) -> Response:  # fmt: skip
    """Tell what the camera is set to."""
    now = engine.now().setting.lens
    engine.set_lens(
        Lens(
            iso=now.iso if iso is None else iso,
            shutter_s=seconds_of(shutter) if shutter else now.shutter_s,
            f_number=f_number,
        ),
        actor,
    )
    return answer(request, back)


@router.post("/live/as-advised")
async def as_advised(
    request: Request, engine: EngineDep, actor: ActorDep, back: Back = "/board"
) -> Response:
    """The camera was set to the f-number that the board advises."""
    now = engine.now()
    told = now.figures.lens
    if now.comparing or told.advice is None or told.nearest is None:
        raise Refused("there is no advice now: the set lens is right for the lit side")
    engine.set_lens(replace(now.setting.lens, f_number=float(told.nearest.mark)), actor)
    return answer(request, back, f"The camera is at {told.nearest.label}.")


@router.post("/live/compare")
async def compare(
    request: Request, engine: EngineDep, actor: ActorDep, hold: Annotated[bool, Form()],
    back: Back = "/board",
) -> Response:  # fmt: skip
    """Hold to see the good frame's light, release for now."""
    engine.compare(hold, actor)
    return answer(request, back)


@router.post("/live/{act}")
async def act(
    request: Request, engine: EngineDep, actor: ActorDep, act: str, back: Back = "/"
) -> Response:
    """Undo, redo, good, back to good, dark, restore."""
    acts = {
        "undo": engine.undo,
        "redo": engine.redo,
        "good": engine.mark_good,
        "back-to-good": engine.back_to_good,
        "dark": engine.dark,
        "restore": engine.restore,
    }
    if act not in acts:
        raise OutOfRange(f"there is no key {act!r:.40}; there are {', '.join(acts)}")
    acts[act](actor=actor)  # type: ignore[operator]
    return answer(request, back)
