"""The reference libraries' side of a pair: reads one question, times the library's own work (best of several), gives the result too."""

import json
import sys
import time


def best(tries, work):
    taken = []
    for _ in range(tries):
        begun = time.process_time()
        result = work()
        taken.append(time.process_time() - begun)
    return min(taken) * 1e6, result


def coverage(ways, strip_m):
    """GEOS: each step buffered, because it simplifies a line before buffering it; two fineness of the round ends, extrapolated to
    round (Richardson). The time is that of the finer alone."""
    import shapely
    from shapely import LineString, box

    steps = [LineString(pair) for way in ways for pair in zip(way, way[1:])]
    field = box(0, 0, 300, 400)

    def area(quad_segs):
        return shapely.union_all(shapely.buffer(steps, strip_m / 2, quad_segs=quad_segs)).intersection(field).area

    coarse = area(16)
    us, fine = best(1, lambda: area(32))
    return {"us": us, "covered_m2": fine + (fine - coarse) / 3}


def curve(runs):
    from lifelines import KaplanMeierFitter

    durations, reached = zip(*runs)
    us, _ = best(3, lambda: KaplanMeierFitter().fit(durations, reached))
    return {"us": us}


question = json.load(sys.stdin)
print(json.dumps(globals()[question.pop("what")](**question)))
