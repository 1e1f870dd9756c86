"""Drawing in the background: what comes first, what is told, and what is done when it fails."""

import json
import os
import queue
import shutil
import signal
import threading
import time
from dataclasses import replace

import pytest

from server.paths import DEMO_DATA
from server.preview.develop import composite
from server.preview.drawing import Drawing, rendered
from server.preview.frames import one_light_frame
from server.preview.subject import AMBIENT, keys_of, subject_of
from server.studio.document import rig_from_document

LIT = ("Key", "Fill")


@pytest.fixture(scope="module")
def rig():
    return rig_from_document(json.loads((DEMO_DATA / "rig.json").read_text("utf-8")))


@pytest.fixture
def folder(baked, tmp_path):
    """A folder that holds the sampled sitter already, and no frame."""
    for grid in baked.glob("grid-*.npy"):
        shutil.copy(grid, tmp_path)
    return tmp_path


@pytest.fixture
def news():
    return queue.SimpleQueue()


@pytest.fixture
def drawing(folder, news):
    drawing = Drawing(folder, lambda: news.put(time.monotonic()), lambda *told: news.put(told))
    yield drawing
    drawing.close()


def until(ask, seconds=30.0):
    end = time.monotonic() + seconds
    while not (found := ask()):
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.01)
    return found


def fineness(offer):
    return offer.version.rpartition("-")[2] if offer else ""


def test_a_face_comes_roughly_then_finely_and_is_told(drawing, news, rig):
    assert drawing.offer(rig, 0.0, LIT) is None
    assert drawing.progress() == (0, 1)
    rough = until(lambda: drawing.offer(rig, 0.0, LIT))
    assert (rough.kind, fineness(rough)) == ("drawn", "1")
    assert drawing.progress() == (1, 1)
    until(lambda: fineness(drawing.offer(rig, 0.0, LIT)) == "2")
    assert news.qsize() >= 2


def test_the_portrait_is_the_sum_of_its_frames(drawing, rig, baked):
    offer = until(lambda: drawing.offer(rig, 0.0, LIT))
    portrait = offer.load()
    assert list(portrait.frames) == ["Key", "Fill", AMBIENT]
    subject = subject_of(rig, 0.0, LIT)
    scene = rendered(subject.scene, int(fineness(offer)))
    frames = [one_light_frame(scene, light, baked) for _, light in subject.lights]
    wanted = composite(frames, [0.5, 0.25, 1.0])
    # half precision keeps 11 bits (IEEE 754)
    assert portrait.lit({"Key": 0.5, "Fill": 0.25}) == pytest.approx(wanted, rel=2e-3, abs=0.05)


def test_all_can_be_seen_before_one_is_made_fine(drawing, rig):
    turns = (0.0, 15.0, 30.0)
    ready = until(lambda: all(offers := [drawing.offer(rig, yaw, LIT) for yaw in turns]) and offers)
    assert {fineness(offer) for offer in ready} == {"1"}


def test_the_light_now_goes_before_what_was_asked_earlier(drawing, rig):
    waiting = [20.0, 25.0, 30.0, 35.0]
    for yaw in waiting:
        drawing.offer(rig, yaw, LIT)
    until(lambda: drawing.offer(rig, 5.0, ("Key",), urgent=True))
    assert sum(drawing.offer(rig, yaw, LIT) is not None for yaw in waiting) < len(waiting)


def test_a_moved_head_is_a_new_face(drawing, rig):
    before = until(lambda: drawing.offer(rig, 0.0, LIT))
    moved = rig.standing({"Key": replace(rig.head("Key").placement, azimuth_deg=60)})
    after = until(lambda: drawing.offer(moved, 0.0, LIT))
    assert after.version != before.version
    old, new = before.load(), after.load()
    assert (old.frames["Fill"] == new.frames["Fill"]).all()
    assert (old.frames["Key"] != new.frames["Key"]).any()


def test_a_face_whose_frames_were_cleared_away_is_drawn_again(folder, rig):
    first = Drawing(folder, lambda: None, lambda *_: None)
    offer = until(lambda: first.offer(rig, 0.0, LIT))
    first._cache._frames.clear()
    for file in folder.glob("frame-*"):
        file.unlink()
    assert offer.load() is None
    assert until(lambda: first.offer(rig, 0.0, LIT)).load() is not None
    first.close()


def test_frames_outlive_the_process(drawing, folder, rig):
    until(lambda: fineness(drawing.offer(rig, 0.0, LIT)) == "2")
    drawing.close()
    again = Drawing(folder, lambda: None, lambda *_: None)
    until(lambda: fineness(again.offer(rig, 0.0, LIT)) == "2", 2.0)
    assert again._pool is None  # read from the folder: no process was needed
    again.close()


def test_a_pattern_is_read_and_told(drawing, news, rig):
    keys = keys_of(rig, 0.0, {"Key": 1.0})
    drawing.ask_pattern(keys)
    told = until(lambda: (got := news.get(timeout=30)) and isinstance(got, tuple) and got)
    assert told[0] == keys
    assert told[1].name == "Rembrandt"  # 45 degrees to the side and high, as taught


def test_a_worker_that_dies_again_and_again_is_given_up_for_a_while(drawing, rig):
    stop = threading.Event()

    def kill_every_worker():
        while not stop.wait(0.01):
            for pid in drawing._pool.worker_pids() if drawing._pool else ():
                os.kill(pid, signal.SIGKILL)

    killer = threading.Thread(target=kill_every_worker)
    killer.start()
    try:
        drawing.offer(rig, 40.0, LIT)
        problem = until(lambda: drawing.problem(rig, 40.0, LIT))
    finally:
        stop.set()
        killer.join()
    assert "process that draws ended" in problem
    assert drawing.offer(rig, 40.0, LIT) is None
    assert drawing.progress() == (0, 0)  # it is not waited for
    assert until(lambda: drawing.offer(rig, 41.0, LIT))  # the next one is drawn


def test_it_closes_in_the_middle_of_a_frame(drawing, rig):
    for yaw in (1.0, 2.0, 3.0, 4.0):
        drawing.offer(rig, yaw, LIT)
    until(lambda: drawing._pool and drawing._pool.worker_pids())
    began = time.monotonic()
    drawing.close()
    assert time.monotonic() - began < 5


def test_the_process_is_given_back_when_nobody_looks(drawing, rig, monkeypatch):
    monkeypatch.setattr("server.preview.drawing._IDLE_S", 0.2)
    drawing.offer(rig, 0.0, ("Key",))
    until(lambda: fineness(drawing.offer(rig, 0.0, ("Key",))) == "2")
    until(lambda: drawing._pool is None)
    assert until(lambda: drawing.offer(rig, 3.0, ("Key",)))  # and started again for the next
