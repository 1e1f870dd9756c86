"""Worker processes: order, progress, and a worker that is killed."""

import os
import pickle
import queue
import signal
import time
from dataclasses import replace

import pytest

from server.preview.frames import FrameCache
from server.preview.pool import PreviewPool
from server.preview.scene import Scene, Source

SCENE = Scene("one", 0.0, width=32, height=40, supersample=1)
SOURCE = Source((0.8, 0.7, 1.1), (0.0, 0.0, 0.0), 0.2, 8000.0, 40.0, 60.0)


@pytest.fixture
def pool(baked):
    with PreviewPool(FrameCache(folder=baked)) as pool:
        yield pool


def wait_for(condition, seconds=20.0):
    end = time.monotonic() + seconds
    while not (value := condition()):
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.005)
    return value


def test_scene_and_source_travel():
    assert pickle.loads(pickle.dumps((SCENE, SOURCE))) == (SCENE, SOURCE)


def test_frames_come_back_in_order_and_are_kept(pool):
    arrived = queue.Queue()
    sources = [SOURCE, replace(SOURCE, diameter_m=0.4)]
    pool.submit(SCENE, sources, arrived.put)
    finished = arrived.get(timeout=30)
    assert finished.problem == ""
    for frame, source in zip(finished.frames, sources, strict=True):
        assert (frame == pool.cache.peek(SCENE, source)).all()
    progress = pool.progress()
    assert (progress.waiting, progress.rendering, progress.done) == (0, 0, 2)


def test_a_killed_worker_loses_nothing(baked):
    """The frame is big enough that the worker is in the middle of it when it is killed."""
    scene = replace(SCENE, width=640, height=800, yaw_deg=5.0)
    arrived = queue.Queue()
    with PreviewPool(FrameCache(folder=baked)) as pool:
        pool.submit(scene, [SOURCE], arrived.put)
        (first,) = wait_for(pool.worker_pids)
        os.kill(first, signal.SIGKILL)
        finished = arrived.get(timeout=40)
        assert finished.problem == ""
        assert finished.frames[0].shape == (800, 640)
        (second,) = pool.worker_pids()
        assert second != first


def test_workers_stand_back_for_the_web_server(pool):
    arrived = queue.Queue()
    pool.submit(SCENE, [SOURCE, replace(SOURCE, diameter_m=0.31)], arrived.put)
    arrived.get(timeout=30)
    (pid,) = pool.worker_pids()
    assert os.getpriority(os.PRIO_PROCESS, pid) >= min(19, os.getpriority(os.PRIO_PROCESS, 0) + 10)


def test_newest_request_first(pool):
    order = queue.Queue()
    slow = [replace(SOURCE, diameter_m=0.05 + 0.01 * i) for i in range(3)]
    pool.submit(SCENE, slow, lambda f: order.put("slow"))
    wait_for(lambda: pool.progress().rendering or pool.progress().done)
    pool.submit(SCENE, [replace(SOURCE, diameter_m=0.9)], lambda f: order.put("older"))
    pool.submit(SCENE, [replace(SOURCE, diameter_m=0.8)], lambda f: order.put("newest"))
    assert [order.get(timeout=30) for _ in range(3)] == ["newest", "older", "slow"]


def test_closing_tells_what_was_not_finished(baked):
    told = queue.Queue()
    pool = PreviewPool(FrameCache(folder=baked))
    big = replace(SCENE, width=640, height=800, supersample=2)
    pool.submit(big, [replace(SOURCE, diameter_m=0.11)] * 2, told.put)
    pool.close()
    finished = told.get(timeout=10)
    assert finished.frames == ()
    assert "closed" in finished.problem
    assert told.empty()
    with pytest.raises(RuntimeError, match="closed"):
        pool.submit(SCENE, [SOURCE], told.put)


def test_a_listener_that_fails_does_not_stop_the_pool(pool, caplog):
    def fail(_):
        raise ZeroDivisionError

    arrived = queue.Queue()
    pool.submit(SCENE, [SOURCE], fail)
    pool.submit(SCENE, [replace(SOURCE, diameter_m=0.22)], arrived.put)
    assert arrived.get(timeout=30).problem == ""
    wait_for(lambda: "after a preview failed" in caplog.text)
