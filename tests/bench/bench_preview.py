"""Time and memory of the faces. Run by hand: `python tests/bench/bench_preview.py`.

Aims: one head at 1x in 60 ms, a look composed and encoded in 5 ms. On a running server:
`bench_faces.py`.
"""

import resource
import statistics
import time
from math import cos, radians, sin

from server.preview.chart import chart_of
from server.preview.develop import composite, develop, jpeg, resized
from server.preview.frames import FrameCache, one_light_frame
from server.preview.grid import bake
from server.preview.pattern import pattern_of
from server.preview.picture import Exposure, face
from server.preview.planes import planes_file
from server.preview.portrait import Portrait
from server.preview.render import _stage, stage_of
from server.preview.scene import STAND_INS, Scene, Source


def head(azimuth_deg: float, elevation_deg: float, distance_m: float, diameter_m: float) -> Source:
    a, e = radians(azimuth_deg), radians(elevation_deg)
    ahead = distance_m * cos(e)
    position = (ahead * sin(a), distance_m * sin(e), ahead * cos(a))
    return Source(position, (0.0, 0.0, 0.0), diameter_m, 9000.0, 50.0, 65.0)


HEADS = {
    "key": head(45, 40, 1.8, 0.25),
    "fill": head(-5, 3, 2.4, 0.9),
    "big close key": head(30, 30, 1.0, 0.9),
    "hair": head(170, 55, 1.7, 0.2),
    "kicker": head(-125, 10, 1.8, 0.2),
    "background": Source((0.6, -0.6, -0.7), (0.3, 0.0, -1.5), 0.15, 900.0, 60.0, 90.0),
}


def milliseconds(work, times: int = 7) -> str:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - start))
    return f"{statistics.median(taken):7.1f} ms   (worst {max(taken):.1f})"


def megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    print(f"memory after import        {megabytes():7.0f} MB")
    for name, who in STAND_INS.items():
        print(f"bake {name:<22}", milliseconds(lambda who=who: bake(who), 1))
    for fine in (1, 2):
        scene = Scene("one", 20.0, supersample=fine)
        stage_of(scene)

        def camera_pass(scene: Scene = scene) -> None:
            _stage.cache_clear()
            stage_of(scene)

        print(f"\n320x400 at {fine}x: camera pass", milliseconds(camera_pass, 3))
        for name, source in HEADS.items():
            work = milliseconds(lambda scene=scene, s=source: one_light_frame(scene, s))
            print(f"  {name:<24}", work)
        print(f"  peak memory              {megabytes():7.0f} MB")
    cache = FrameCache()
    frames = [cache.get(scene, source) for source in HEADS.values()]
    outputs = [0.1 * (i + 1) for i in range(len(frames))]
    print("\nsix frames to a JPEG       ", end="")
    print(milliseconds(lambda: jpeg(develop(composite(frames, outputs), 1000.0)), 50))
    small = develop(composite(frames, outputs), 1000.0)
    print("at half size               ", milliseconds(lambda: jpeg(resized(small, 160, 200)), 50))
    portrait = Portrait("drawn", 20.0, dict(zip(HEADS, frames, strict=True)))
    light = Exposure(dict(zip(HEADS, outputs, strict=True)), 1000.0)
    print("portrait to a JPEG         ", milliseconds(lambda: face(portrait, light), 50))
    print(
        "portrait in zones          ", milliseconds(lambda: face(portrait, light, zones=True), 50)
    )
    print("planes for a browser       ", milliseconds(lambda: planes_file(portrait)))
    print(f"their size                 {len(planes_file(portrait)) / 1e3:7.1f} kB")
    print("chart, once                ", milliseconds(chart_of, 1))
    print("pattern                    ", milliseconds(lambda: pattern_of(0, [HEADS["key"]], [1.0])))
    print(f"JPEG size                  {len(jpeg(small)) / 1e3:7.1f} kB")


if __name__ == "__main__":
    main()
