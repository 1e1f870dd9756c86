"""Ways to get there: equal-light moves for one head and a wish in stops, ranked by cost."""

from collections.abc import Iterable

from server.errors import OutOfRange, Refused
from server.physics.stops import THIRDS_PER_STOP
from server.studio.head import Head
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.way import Wanted, Way
from server.studio.ways_dimmer import at_the_dimmer, lifted
from server.studio.ways_stand import at_the_stand

MOST_THIRDS = 9


def ways(rig: Rig, setting: Setting, head: Head, thirds: int) -> tuple[Way, ...]:
    """All ways that reach the wish, the cheapest first.

    What is out of reach, pinned as never, or would pass a breaker's rating is left out.

    Raises OutOfRange for no or more than nine thirds, Refused for a dark head.
    """
    if not 0 < abs(thirds) <= MOST_THIRDS:
        raise OutOfRange(f"thirds must be a whole number from -9 to 9 and not 0, got {thirds}")
    if setting.of(head) is None:
        raise Refused(f"{head.name} gives no light now: bring it in first")
    wanted = Wanted(rig, setting, head, thirds / THIRDS_PER_STOP)
    return _ranked(rig, [*at_the_dimmer(wanted), *at_the_stand(wanted)])


def ways_out_of_banding(rig: Rig, setting: Setting, head: Head) -> tuple[Way, ...]:
    """Ways to bring a head above the light below which it was seen to band, same picture."""
    stops = setting.of(head)
    if stops is None or setting.output(head) >= head.bands_below:
        return ()
    return _ranked(rig, list(lifted(Wanted(rig, setting, head, 0.0))))


def _ranked(rig: Rig, found: Iterable[Way]) -> tuple[Way, ...]:
    allowed = [w for w in found if w.kind not in rig.sitter.never and not w.trips]
    return tuple(sorted(allowed, key=lambda way: way.cost))
