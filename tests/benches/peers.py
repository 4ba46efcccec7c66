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
    """GEOS as one would use it: a buffer round each way, which it simplifies first, and their union."""
    import shapely
    from shapely import LineString, box

    lines, field = [LineString(way) for way in ways], box(0, 0, 300, 400)
    us, shape = best(1, lambda: shapely.union_all(shapely.buffer(lines, strip_m / 2)).intersection(field))
    return {"us": us, "covered_m2": shape.area}


def round_area(ways, strip_m):
    """GEOS to full exactness: each step buffered by itself, with two fineness of the round ends, extrapolated to round (Richardson)."""
    import shapely
    from shapely import LineString, box

    steps = [LineString(pair) for way in ways for pair in zip(way, way[1:])]

    def area(quad_segs):
        buffers = shapely.buffer(steps, strip_m / 2, quad_segs=quad_segs)
        return shapely.union_all(buffers).intersection(box(0, 0, 300, 400)).area

    coarse, fine = area(64), area(128)
    return {"covered_m2": fine + (fine - coarse) / 3}


def curve(runs):
    from lifelines import KaplanMeierFitter

    durations, reached = zip(*runs)
    us, _ = best(3, lambda: KaplanMeierFitter().fit(durations, reached))
    return {"us": us}


question = json.load(sys.stdin)
print(json.dumps(globals()[question.pop("what")](**question)))
