"""kill -9 under nudges, in small; tests/bench/bench_survival.py does it 100 and 20 times."""

import os
import signal
import time
from pathlib import Path

import pytest

from tests.live.survival import Studio
from tests.web.test_light_on_the_network import free_port

pytestmark = pytest.mark.alone


def test_six_kills_of_the_web_server_and_three_of_the_keeper(tmp_path: Path) -> None:
    studio = Studio(tmp_path, free_port(), seed=4)
    try:
        for which in ("web", "keeper", "web") * 3:
            studio.kill(which)
    finally:
        studio.end()
    assert studio.faults == []
    assert len(studio.answers.revisions) > 30
    assert len(studio.back_after_s["web"]) == 6


def test_a_web_server_that_hangs_in_a_fade(tmp_path: Path) -> None:
    """Stopped in the middle (SIGSTOP): the fade goes on to its end, then the keep-alives."""
    studio = Studio(tmp_path, free_port(), seed=1)
    try:
        told = studio.ask("/api/recall", {"look": 5, "fade_s": 1.5})
        time.sleep(0.3)
        web = studio.pid("web")
        os.kill(web, signal.SIGSTOP)
        count = len(studio.listener.sent)
        time.sleep(3.2)
        after = studio.listener.sent[count:]
        assert len({packet.slots for packet in after}) > 20, "the fade went on"
        key = next(head for head in told["heads"] if head["name"] == "Key")
        assert list(after[-1].slots[:2]) == key["signal"]
        os.kill(web, signal.SIGCONT)
        studio.answers.state = studio.ask("/api/nudge", {"head": "Fill", "thirds": -1})
        studio.compare("web that hung")
        assert studio.pid("web") == web
    finally:
        studio.end()
    assert studio.faults == []
