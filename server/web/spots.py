"""A tapped spot in words: its reading, who makes it, and what darker or lighter would do."""

from dataclasses import dataclass

from server.errors import NotFound, StudioError
from server.live.now import Now
from server.studio.figures import outputs_of
from server.studio.mix import thirds_text
from server.studio.spot import Spot, SpotChange, SpotReading, spot_change, spot_reading
from server.web.faces import Faces
from server.web.lights import light_now
from server.web.words import point_words, sixths_words, stops_words

ZONES = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")


@dataclass(frozen=True)
class Wish:
    """A third darker or lighter: what it would do, before it is done."""

    thirds: int
    name: str
    heads: str
    elsewhere: str
    why: str
    possible: bool


@dataclass(frozen=True)
class SpotView:
    """A spot of the face."""

    x: str
    y: str
    percent_x: str
    percent_y: str
    zone: str
    grey: str
    luminance: str
    lux: str
    from_lit: str
    makers: tuple[str, ...]
    wishes: tuple[Wish, ...]


def spot_of(faces: Faces, now: Now, x: float, y: float) -> Spot:
    """Every head's light at a place of the picture; NotFound while there is no picture."""
    spot = faces.spot(light_now(now), x, y)
    if spot is None:
        raise NotFound("the face is not drawn yet: a spot can be read as soon as it is")
    return spot


def reading_of(faces: Faces, now: Now, x: float, y: float) -> SpotReading:
    """What the spot reads as it is lit now."""
    light = light_now(now)
    spot = spot_of(faces, now, x, y)
    return spot_reading(spot, light.outputs, light.mid_grey_lux, now.figures.ratio.lit_lux)


def change_of(faces: Faces, now: Now, x: float, y: float, thirds: int) -> SpotChange:
    """The smallest change that moves the spot by thirds."""
    setting = now.record.history.now.setting
    return spot_change(now.rig, now.matrix, setting, spot_of(faces, now, x, y), thirds)


def spot_view(faces: Faces, now: Now, x: float, y: float) -> SpotView:
    """The page of a spot."""
    reading = reading_of(faces, now, x, y)
    outputs = outputs_of(now.rig, now.setting)
    return SpotView(
        x=f"{x:.4f}",
        y=f"{y:.4f}",
        percent_x=f"{100 * x:.1f}",
        percent_y=f"{125 * y:.1f}",
        zone=ZONES[reading.zone],
        grey=_grey_words(reading.over_grey_stops),
        luminance=f"{reading.luminance_cd_m2:.3g}",
        from_lit=_from_lit_words(reading.from_lit_stops),
        lux=f"{reading.grey_card_lux:,.0f}".replace(",", "\u202f"),
        makers=tuple(_maker_words(*maker) for maker in reading.makers)
        or (("no lit head reaches it",) if any(outputs.values()) else ("no head is lit",)),
        wishes=tuple(_wish(faces, now, x, y, thirds) for thirds in (-1, 1)),
    )


def _grey_words(over: float | None) -> str:
    if over is None:
        return "black"
    words = stops_words(abs(3 * over))
    if words == "0":
        return "middle grey"
    return f"{words} {'over' if over > 0 else 'under'} middle grey"


def _from_lit_words(stops: float | None) -> str:
    if stops is None:
        return "black"
    words = sixths_words(stops)
    if words == "0":
        return "as bright as a grey card on the lit side"
    unit = "stops" if abs(stops) >= 1 + 1 / 12 else "stop"
    return f"{words} {unit} {'over' if stops > 0 else 'under'} a grey card on the lit side"


def _maker_words(name: str, share: float, without: float | None) -> str:
    if without is None:
        return f"{name}: {share:.0%} · black without it"
    less = sixths_words(without)
    return f"{name}: {share:.0%} · without it ▼{'<⅙' if less == '0' else less}"


def _wish(faces: Faces, now: Now, x: float, y: float, thirds: int) -> Wish:
    name = "A third lighter here" if thirds > 0 else "A third darker here"
    try:
        change = change_of(faces, now, x, y, thirds)
    except StudioError as error:
        return Wish(thirds, name, "", "", str(error), False)
    return Wish(
        thirds=thirds,
        name=name,
        heads=heads_words(change) or "nothing moves",
        elsewhere=", ".join(f"{point_words(p)} {_signed(s)}" for p, s in change.elsewhere),
        why=change.why,
        possible=bool(change.heads),
    )


def heads_words(change: SpotChange) -> str:
    """`Hair ▼⅓, Key ▼ under ⅓`."""
    told = ((name, thirds_text(thirds)) for name, thirds in change.heads)
    return ", ".join(f"{name} {text}" for name, text in told if text)


def _signed(stops: float) -> str:
    return f"{'▲' if stops > 0 else '▼'}{sixths_words(stops)}"
