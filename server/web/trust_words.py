"""Where a figure comes from, in words."""

from math import log2

from server.studio.anchor import Anchored, Anchors
from server.studio.head import Head
from server.studio.lamps import unread
from server.studio.look import differs
from server.studio.readings import Metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair, holds
from server.web.words import lux_words, point_words

MARKS = {"metered": "◆", "camera": "◈", "moved": "◇", "predicted": "○"}
SOURCES = {
    "metered": "metered",
    "camera": "told by the camera",
    "moved": "changed since metering",
    "predicted": "reckoned",
}


def pair_words(pair: Pair) -> str:
    """`Key at cheek right`."""
    point, head, shaded = pair
    if not head:
        return f"the room’s own light at {point_words(point)}"
    return f"{head} at {point_words(point)}" + (", the meter shaded from it" if shaded else "")


def detail_words(
    known: Anchors, anchored: Anchored, head: Head, point: Point, setting: Setting
) -> str:
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
        return f"{told} {why_moved(known.rig, read, head, point, setting)}"
    if anchored.shaded:
        bounce = lux_words(anchored.bounce)
        return f"{told} Of it {bounce} at full comes off the walls, as read with the meter shaded."
    return told


def read_words(known: Anchors, read: Metered) -> str:
    """`Read 812 lux on 01 May 14:32, with it alone at 25 % of full.`"""
    newest = read.newest
    at = f"{newest.at.astimezone():%d %b %H:%M}"
    if newest.by == "camera":
        return (
            f"Told by the camera on {at}, not read: {lux_words(read.lux_full)} at full, by what the"
            " meter read on the same surface; as far off as that, and by what the two spots differ."
        )
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


def why_moved(rig: Rig, read: Metered, head: Head, point: Point, setting: Setting) -> str:
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
