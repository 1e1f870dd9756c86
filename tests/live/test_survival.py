"""kill -9 under nudges, in small; tests/bench/bench_survival.py does it 100 and 20 times."""

from pathlib import Path

from tests.live.survival import Studio
from tests.web.test_light_on_the_network import free_port


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
