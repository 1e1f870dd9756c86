"""Another room opened under the light: outputs by name, on the new room's channels."""

from dataclasses import replace

import pytest

from server.errors import NotFound, Refused
from server.live.engine import Engine
from server.live.now import Now
from server.studio.document import rig_from_document
from server.studio.history import Change, RoomAsLeft
from server.studio.rig import Rig
from tests.live.test_engine_fades import Clock, Recorder


def room(name: str, **channels: int) -> Rig:
    """A room whose heads stand on these channels."""
    heads = [{"name": n, "role": "key", "address": a} for n, a in channels.items()]
    return rig_from_document({"room": {"name": name}, "heads": heads})


HERE, THERE = room("Boathouse", Key=1, Fill=2), room("Old mill", Lamp=1, Key=7)


@pytest.fixture
def changes() -> list[Change]:
    return []


@pytest.fixture
def output() -> Recorder:
    return Recorder()


@pytest.fixture
def engine(output: Recorder, changes: list[Change]) -> Engine:
    clock = Clock()
    made = Engine(HERE, output, changes.append, clock=clock, room_id=3)
    made.set_levels({"Key": 100, "Fill": 100})
    clock.now += 10
    return made


def slots(output: Recorder) -> list[tuple[int, ...]]:
    """The first seven slots of each frame of what was played last."""
    return [tuple(frame[1][:7]) for _, frame in output.played[-1].frames]


def test_a_head_of_the_same_name_keeps_its_light_on_its_new_channel(
    engine: Engine, output: Recorder, changes: list[Change]
) -> None:
    now = engine.open_room(lambda: RoomAsLeft(5, THERE), "Ana")
    assert {h.head.name: h.output for h in now.figures.heads} == {"Lamp": 0.0, "Key": 1.0}
    assert (now.record.room_id, now.text) == (5, "Old mill opened")
    frames = slots(output)
    assert frames[-1] == (0, 0, 0, 0, 0, 0, 255)
    assert [f[1] for f in frames] == sorted((f[1] for f in frames), reverse=True)  # no jump up
    last = changes[-1]
    assert (last.kind, last.rig, last.record.room_id) == ("room", THERE, 5)
    assert last.left is not None
    assert (last.left.room_id, last.left.rig.heads) == (3, HERE.heads)


def test_what_was_open_comes_back_and_undo_stays_in_the_room(engine: Engine) -> None:
    engine.open_room(lambda: RoomAsLeft(5, THERE))
    engine.set_levels({"Lamp": 50})
    undone = engine.undo()
    assert undone.record.room_id == 5
    assert {h.head.name: h.output for h in undone.figures.heads} == {"Lamp": 0.0, "Key": 1.0}
    back = engine.open_room(lambda: RoomAsLeft(3, HERE))
    assert {h.head.name: h.output for h in back.figures.heads} == {"Key": 1.0, "Fill": 0.0}


def test_a_room_that_cannot_be_opened_changes_nothing(
    engine: Engine, changes: list[Change]
) -> None:
    before, told = engine.now(), len(changes)

    def gone() -> RoomAsLeft:
        raise NotFound("there is no room 9")

    with pytest.raises(NotFound):
        engine.open_room(gone)
    with pytest.raises(Refused, match="open already"):
        engine.open_room(lambda: RoomAsLeft(3, HERE))
    assert engine.now().record == before.record
    assert len(changes) == told


def test_steps_and_the_good_frame_wait_with_their_room(
    engine: Engine, changes: list[Change]
) -> None:
    def outputs(now: Now) -> dict[str, float]:
        return {h.head.name: h.output for h in now.figures.heads}

    engine.mark_good()
    there = engine.open_room(lambda: RoomAsLeft(5, THERE))
    assert (there.record.good, there.record.history.can_undo) == (None, 0)
    engine.set_levels({"Lamp": 50})
    renamed = replace(THERE, heads=(THERE.heads[0], replace(THERE.heads[1], name="Second")))
    engine.replace_rig(renamed, renamed={"Key": "Second"})
    here = changes[-3].left
    assert here is not None
    back = engine.open_room(lambda: here)
    assert outputs(back) == {"Key": 0.0, "Fill": 0.0}  # none of these is lit there
    assert back.record.good == here.light.good
    undone = engine.undo()
    assert outputs(undone) == {"Key": 1.0, "Fill": 1.0}  # as this room was left
    assert undone.text == "undo: the light of Old mill brought along"
    left = changes[-2].left
    assert left is not None
    assert [s.setting.stops.keys() for s in left.light.history.steps] == [{"Lamp", "Second"}] * 2
    engine.redo()
    assert engine.open_room(lambda: left).record.history.can_undo == 2


def test_no_room_is_opened_from_a_store_that_is_behind(output: Recorder) -> None:
    full = [True]

    def journal(change: Change) -> None:
        if full[0]:
            raise OSError("the disk is full")

    engine = Engine(HERE, output, journal, clock=Clock())
    engine.set_levels({"Key": 100})
    with pytest.raises(Refused, match="the disk is full"):
        engine.open_room(lambda: RoomAsLeft(5, THERE))
    full[0] = False
    assert engine.open_room(lambda: RoomAsLeft(5, THERE)).record.room_id == 5


def test_what_was_worked_out_for_another_rig_is_not_put_in_its_place(engine: Engine) -> None:
    began_with = engine.now().rig_now
    engine.open_room(lambda: RoomAsLeft(5, THERE))
    with pytest.raises(Refused, match="changed meanwhile"):
        engine.replace_rig(HERE, instead_of=began_with)
    assert engine.now().rig.room.name == "Old mill"
    engine.replace_rig(THERE, instead_of=engine.now().rig_now)
