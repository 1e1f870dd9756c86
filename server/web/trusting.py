"""What the figures rest on, in words: every figure's source, and what to read again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from server.live.now import Now
from server.studio.anchor import Anchored, Anchors
from server.studio.drift import NO_DRIFT
from server.studio.figures import Figures, figures, outputs_of
from server.studio.head import Head
from server.studio.light import LightMatrix, anchors, light_matrix
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair, holds
from server.studio.trust import BUDGET_STOPS, Trust, trust_of
from server.web.metering import METERING
from server.web.trust_figures import ToldFigure, known_words, told_figures
from server.web.trust_words import MARKS, SOURCES, detail_words, pair_words
from server.web.warming import head_words, ratio_to_come, read_cold, warming
from server.web.words import ago_words, lux_words, point_words

SHOWN_SHARE = 0.005


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
    told: tuple[ToldFigure, ...]
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
        told=told_figures(now.rig, matrix, setting, told, trust) if trust else (),
        figures=_figures(now.rig, matrix, setting, told, now.at),
        heads=tuple(head_view(now, h) for h in now.rig.heads),
    )  # fmt: skip


def _summary(trust: Trust | None, told: Figures) -> str:
    if trust is None:
        return "No light: recall a look to see what its figures rest on."
    ratio, lit = known_words(trust.ratio_stops), known_words(trust.lit_stops)
    figure = told.ratio.told
    return f"{figure[0].upper()}{figure[1:]} lit : shadow, known to {ratio}; the lit side to {lit}."


def _limits(trust: Trust) -> tuple[str, ...]:
    """The three that limit most."""
    heavy = sorted(trust.terms, key=lambda t: -max(t.lit, abs(t.ratio)))[:3]
    return tuple(
        f"{pair_words(t.pair)}, {SOURCES[t.source]}: {max(t.lit, abs(t.ratio)):.2f} stop"
        for t in heavy if max(t.lit, abs(t.ratio)) > BUDGET_STOPS / 4
    )  # fmt: skip


def _after(trust: Trust) -> str:
    if trust.after_stops <= BUDGET_STOPS:
        return "Then both are good to a sixth of a stop again."
    return f"Then both are known to {known_words(trust.after_stops)}; no reading takes off more."


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
        detail=detail_words(known, anchored, head, point, setting),
    )


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


def head_view(now: Now, head: Head) -> HeadView:
    """When a head was read, and whether it was touched since."""
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
