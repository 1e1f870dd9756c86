"""What comes of a carried look, in words: its figures, what is missing, what would get it."""

from collections.abc import Mapping, Sequence

from server.physics.exposure import nearest_f_stop
from server.studio.carry import SIXTH, Carried, Carry, Short
from server.studio.figures import about
from server.studio.missing import instead_of_the_lens, remedies, stood_as_there
from server.studio.sure import Figure
from server.web.words import point_words

TOLD_FROM_STOPS = 0.05
NOT_TOLD = "cannot be told yet"
STOOD_AT_MOST = 8
"""For so many looks the one head that would help most is looked for: it takes a moment each."""


def figures_words(done: Carried, figures: Mapping[str, Figure], *, metered: bool) -> str:
    """`3:1 → 2.8:1 lit : shadow · f/10 stays · give or take 0.2 stop`; about, what was not all
    metered. Of a room where nothing was the page says so once, and the ratio is enough."""
    was = nearest_f_stop(done.look.lens.f_number).label
    now = nearest_f_stop(done.setting.lens.f_number).label
    if was == now:
        lens = f"{was} stays"
    else:
        lens = f"{was} → {about(now, done.lens.source) if metered else now}"
    give = max((f.give_or_take_stops for f in figures.values()), default=0.0)
    return (
        f"{done.before.told} → {done.ratio.told} lit : shadow · {lens}"
        f" · give or take {give_words(give)} stop"
    )


def verdict_words(done: Carried, figures: Mapping[str, Figure]) -> str:
    """The verdict; where all that is missing may as well be doubt, that it cannot be told yet."""
    if done.verdict != "not reached" or done.short or done.absent:
        return done.verdict
    over = {p: abs(s) for p, s in done.off if abs(s) > SIXTH}
    doubt = all(
        p in figures and s - figures[p].give_or_take_stops <= SIXTH for p, s in over.items()
    )
    return NOT_TOLD if doubt else done.verdict


def give_words(stops: float) -> str:
    """`0.2`; what is more than three stops is not told in tenths."""
    return f"{max(stops, 0.1):.1f}" if stops <= 3 else "more than 3"


def told_words(done: Carried, figures: Mapping[str, Figure], gone: Sequence[str] = ()) -> list[str]:
    """Every thing that is missing, a sentence each without its full stop."""
    told, said = [f"{n} is no longer in that room: its light is missing" for n in gone], set()
    down = [s for s in done.short if s.carried and s.stops > TOLD_FROM_STOPS]
    if done.down_stops > TOLD_FROM_STOPS and down:
        names = ", ".join(s.head for s in down)
        follows = done.setting.lens.f_number != done.look.lens.f_number
        lens = "follows" if follows else "stays"
        told.append(
            f"{names} {'has' if len(down) == 1 else 'have'} too little:"
            f" all come down {done.down_stops:.1f} stop, the lens {lens}"
        )
    off = dict(done.off)

    def off_words(point: str) -> str:
        give = f" ± {give_words(figures[point].give_or_take_stops)}" if point in figures else ""
        return f"{point_words(point)} {signed(off.get(point, 0.0))}{give}"

    for short in done.short:
        if not short.carried:
            where = point_words(short.point)
            told.append(f"{short.head} is {short.stops:.1f} stops short at {where}")
            said.add(short.point)
    for away in done.absent:
        said.add(away.point)
        told.append(f"nobody stands for {away.head}: {off_words(away.point)} stop")
    rest = [p for p, s in done.off if abs(s) > SIXTH and p not in said]
    if rest:
        told.append("off: " + ", ".join(off_words(p) for p in rest) + " stop")
    return [sentence(each) for each in told]


class Ways:
    """The ways to what is missing, each worked out once."""

    def __init__(self, carry: Carry) -> None:
        self._carry = carry
        self._known: dict[tuple[str, str, float], tuple[str, ...]] = {}
        self._stood = STOOD_AT_MOST

    def of(self, done: Carried) -> tuple[str, ...]:
        """In words, without doubles."""
        told = [r.text for r in instead_of_the_lens(done)]
        if any(not s.carried for s in done.short):
            told += self._all_down(done)
        for short in done.short:
            if short.stops > TOLD_FROM_STOPS:
                told += self._of_head(short, done.look.yaw_deg)
        told += [f"a head that gives {a.lux:.0f} lx at {point_words(a.point)}" for a in done.absent]
        alone = not done.short and not done.absent
        if done.verdict == "not reached" and alone and self._stood > 0:
            self._stood -= 1
            if (found := stood_as_there(self._carry, done)) is not None:
                told.append(f"{found[0].text}: then within {max(found[1], 0.05):.2g} stop")
        return tuple(dict.fromkeys(sentence(each) for each in told))

    def _all_down(self, done: Carried) -> list[str]:
        """The whole picture down to the head that has too little, whatever the lens must do."""
        carry = self._carry
        down = Carry(carry.source, carry.target, carry.pairs, "always").carried(done.look)
        if down.worst_stops > done.worst_stops - SIXTH:
            return []
        lens = nearest_f_stop(down.setting.lens.f_number).label
        return [
            f"all come down {down.down_stops:.1f} stop, the lens to {lens}:"
            f" {down.ratio.told} lit : shadow (the lens always follows, above)"
        ]

    def _of_head(self, short: Short, yaw_deg: float) -> tuple[str, ...]:
        key = (short.head, short.point, round(short.stops, 2) + 100 * yaw_deg)
        if key not in self._known:
            found = remedies(short, self._carry.target, yaw_deg)
            self._known[key] = tuple(r.text for r in found)
        return self._known[key]


def signed(stops: float) -> str:
    """`+0.3`, `−1.2`."""
    return f"{stops:+.1f}".replace("-", "−")


def sentence(text: str) -> str:
    """With a capital letter."""
    return f"{text[:1].upper()}{text[1:]}"
