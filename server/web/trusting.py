"""What the figures rest on, in words: every figure's source, and what to read again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import log2

from server.live.now import Now
from server.studio.anchor import Anchored, Anchors
from server.studio.drift import NO_DRIFT
from server.studio.figures import Figures, figures, outputs_of
from server.studio.head import Head
from server.studio.lamps import unread
from server.studio.light import LightMatrix, anchors, light_matrix
from server.studio.look import differs
from server.studio.readings import Metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair, holds
from server.studio.trust import BUDGET_STOPS, Trust, trust_of
from server.web.metering import METERING
from server.web.warming import head_words, ratio_to_come, read_cold, warming
from server.web.words import ago_words, lux_words, point_words

MARKS = {"metered": "◆", "moved": "◇", "predicted": "○"}
SOURCES = {"metered": "metered", "moved": "changed since metering", "predicted": "reckoned"}
SHOWN_SHARE = 0.005
MOST_SAID_STOPS = 3.0


@dataclass(frozen=True)
class ShareView:
    """One head's part of the light at a point."""

    head: str
    part: str
    mark: str
    source: str
    age: str
    detail: str


@dataclass(frozen=True)
class FigureView:
    """A figure and where it comes from."""

    name: str
    figure: str
    mark: str
    source: str
    shares: tuple[ShareView, ...]


@dataclass(frozen=True)
class HeadView:
    """A head that somebody may have touched."""

    name: str
    told: str
    touched: bool
    can_touch: bool


@dataclass(frozen=True)
class TrustView:
    """The page."""

    summary: str
    good: bool
    limits: tuple[str, ...]
    fewest: tuple[str, ...]
    after: str
    drift: str
    figures: tuple[FigureView, ...]
    heads: tuple[HeadView, ...]


def of_interest(now: Now) -> Setting:
    """The light that is asked about: while heads are lit alone for the meter, the one before."""
    history = now.record.history
    past = history.steps[: history.at + 1]
    return next((s.setting for s in reversed(past) if not s.text.startswith(METERING)), now.setting)


def trust_now(now: Now) -> Trust | None:
    """How far the light of interest is known."""
    return trust_of(now.rig, _matrix(now), of_interest(now), drifted(now))


def _matrix(now: Now) -> LightMatrix:
    yaw_deg = of_interest(now).yaw_deg
    return now.matrix if yaw_deg == now.setting.yaw_deg else light_matrix(now.rig, yaw_deg)


def drifted(now: Now) -> dict[Pair, float]:
    """How far heads have warmed away from their readings, as their own records say. [stop]"""
    found = {}
    for reading in sorted(now.rig.readings, key=lambda r: r.at):
        drift = now.rig.drifts.get(reading.head, NO_DRIFT)
        if reading.head and reading.minutes_on is not None and len(drift.points) > 1:
            was, now_on = drift.stops(reading.minutes_on), now.minutes_on(reading.head)
            found[reading.pair] = drift.stops(now_on) - was
    return found


def pair_words(pair: Pair) -> str:
    """`Key at cheek right`."""
    point, head, shaded = pair
    if not head:
        return f"the room’s own light at {point_words(point)}"
    return f"{head} at {point_words(point)}" + (", the meter shaded from it" if shaded else "")


def trust_view(now: Now) -> TrustView:
    """Everything the page says."""
    setting, matrix = of_interest(now), _matrix(now)
    told = figures(now.rig, matrix, setting, None)
    trust = trust_now(now)
    drift = ratio_to_come(now)
    return TrustView(
        summary=_summary(trust, told),
        good=trust.good if trust else False,
        limits=_limits(trust) if trust and not trust.good else (),
        fewest=tuple(pair_words(p) for p in trust.fewest) if trust else (),
        after=_after(trust) if trust and trust.fewest else "",
        drift=f"While heads warm up the ratio drifts from {drift.now} to {drift.then}."
        if drift else "",
        figures=_figures(now.rig, matrix, setting, told, now.at),
        heads=tuple(_head(now, h) for h in now.rig.heads),
    )  # fmt: skip


def _stops(stops: float) -> str:
    return f"{stops:.2f} stop" if stops < MOST_SAID_STOPS else "more than 3 stops"


def _summary(trust: Trust | None, told: Figures) -> str:
    if trust is None:
        return "No light: recall a look to see what its figures rest on."
    ratio, lit = _stops(trust.ratio_stops), _stops(trust.lit_stops)
    return f"{told.ratio.label} lit : shadow, known to {ratio}; the lit side to {lit}."


def _limits(trust: Trust) -> tuple[str, ...]:
    """The three that limit most."""
    heavy = sorted(trust.terms, key=lambda t: -max(t.lit, t.ratio))[:3]
    return tuple(
        f"{pair_words(t.pair)}, {SOURCES[t.source]}: {max(t.lit, t.ratio):.2f} stop"
        for t in heavy if max(t.lit, t.ratio) > BUDGET_STOPS / 4
    )  # fmt: skip


def _after(trust: Trust) -> str:
    if trust.after_stops <= BUDGET_STOPS:
        return "Then both are good to a sixth of a stop again."
    return f"Then both are known to {_stops(trust.after_stops)}; no reading takes off more."


def _figures(
    rig: Rig, matrix: LightMatrix, setting: Setting, told: Figures, moment: datetime
) -> tuple[FigureView, ...]:
    known, outputs = anchors(rig), outputs_of(rig, setting)
    found = []
    for light in told.points:
        point = light.point
        shares = []
        for head in rig.heads:
            lux = matrix.at[point.name][head.name] * outputs[head.name]
            if light.lux > 0 and lux > SHOWN_SHARE * light.lux:
                anchored = known.of(point, head, setting.yaw_deg)
                shares.append((lux, _share(known, anchored, head, point, setting,
                                           lux / light.lux, moment)))  # fmt: skip
        room = matrix.ambient[point.name]
        if light.lux > 0 and room > SHOWN_SHARE * light.lux:
            shares.append((room, _room(rig, point, room / light.lux, moment)))
        side = {told.ratio.lit: ", the lit side", told.ratio.shadow: ", the shadow side"}
        shares.sort(key=lambda pair: -pair[0])
        found.append(
            FigureView(
                name=point_words(point.name) + side.get(point.name, ""),
                figure=lux_words(light.lux),
                mark=MARKS[light.source],
                source=SOURCES[light.source],
                shares=tuple(view for _, view in shares),
            )
        )
    return tuple(found)


def _share(
    known: Anchors, anchored: Anchored, head: Head, point: Point, setting: Setting,
    part: float, moment: datetime,
) -> ShareView:  # fmt: skip
    read = anchored.read
    return ShareView(
        head=head.name,
        part=f"{100 * part:.0f} %",
        mark=MARKS[anchored.source],
        source="corrected" if anchored.carried else SOURCES[anchored.source],
        age=ago_words(read.newest.at, moment) if read else "",
        detail=_detail(known, anchored, head, point, setting),
    )


def _detail(known: Anchors, anchored: Anchored, head: Head, point: Point, setting: Setting) -> str:
    read = anchored.read
    if read is None:
        figures_of = "its photometric file" if head.photometry else "its beam figures"
        return (
            f"Never read here. Reckoned from {figures_of}, {head.placement.distance_m:.2f} m away:"
            " wrong by half a stop and more where those are."
        )
    told = read_words(known, read)
    if anchored.carried:
        off = off_words(known.gains[head.name])
        return f"{told} Touched since; a reading taken afterwards reads {off}, so this follows it."
    if anchored.source == "moved":
        return f"{told} {_why_moved(known.rig, read, head, point, setting)}"
    if anchored.shaded:
        bounce = lux_words(anchored.bounce)
        return f"{told} Of it {bounce} at full comes off the walls, as read with the meter shaded."
    return told


def read_words(known: Anchors, read: Metered) -> str:
    """`Read 812 lux on 01 May 14:32, with it alone at 25 % of full.`"""
    newest = read.newest
    at = f"{newest.at.astimezone():%d %b %H:%M}"
    share = f"{100 * newest.output:.0f} %"
    told = f"Read {lux_words(newest.lux)} on {at}, with it alone at {share} of full"
    room = known.ambient.get(newest.point, known.rig.room.ambient_lux)
    if room > 0:
        told += f", {lux_words(room)} of the room’s own light taken off"
    if read.count > 1:
        told += f"; {read.count} readings, {read.spread_stops:.2f} stop apart"
    return told + "."


def off_words(gain: float) -> str:
    """How far a head reads off after a touch, `0.40 stop under`."""
    stops = log2(gain)
    if abs(stops) < 0.005:
        return "the same"
    return f"{abs(stops):.2f} stop {'over' if stops > 0 else 'under'}"


def _why_moved(rig: Rig, read: Metered, head: Head, point: Point, setting: Setting) -> str:
    newest = read.newest
    if not holds(newest, head):
        return "Touched since: one spot reading will tell what that did."
    placed = newest.placement
    if placed is not None and differs(placed, head.placement):
        was, now = placed.distance_m, head.placement.distance_m
        if abs(was - now) >= 0.01:
            return f"Moved since, from {was:.2f} to {now:.2f} m: the change is reckoned."
        return "Moved or set otherwise since: the change is reckoned."
    lamp = unread(rig.lamps, head.name)
    if lamp is not None and lamp.at > newest.at:
        return "It has a new lamp since, which was not read yet."
    if point.on == "face" and newest.yaw_deg != setting.yaw_deg:
        return "The face has turned since: the change is reckoned."
    return "Something has changed since: the change is reckoned."


def _room(rig: Rig, point: Point, part: float, moment: datetime) -> ShareView:
    read: Sequence[datetime] = [r.at for r in rig.readings if not r.head and r.point == point.name]
    return ShareView(
        head="Room",
        part=f"{100 * part:.0f} %",
        mark=MARKS["metered" if read else "predicted"],
        source=SOURCES["metered" if read else "predicted"],
        age=ago_words(max(read), moment) if read else "",
        detail="Read with all heads dark." if read else "As it was typed on the Rig page.",
    )


def _head(now: Now, head: Head) -> HeadView:
    own = [r for r in now.rig.readings if r.head == head.name]
    since = [r for r in own if holds(r, head)]
    touched = head.touched_at is not None and not since and bool(own)
    if not own:
        told = "never read"
    elif touched:
        told = "touched: its figures say “about” until one spot reading"
    else:
        told = f"read {ago_words(max(r.at for r in own), now.at)}"
    warm = head_words(now, head) if warming(now, (head,)) or read_cold(now, head.name) else ""
    return HeadView(
        name=head.name,
        told=f"{told} · {warm}" if warm else told,
        touched=touched,
        can_touch=bool(own),
    )
