"""Free stretches of a course by the polygon library shapely. Reads a JSON list
of planes from standard input; prints for each a list of [from, to] in inches,
from the plane's left end at the height of the butt edge."""

import json
import math
import sys

from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

FAR = 1e5


def outline(plane):
    if "corners" in plane:
        return Polygon(plane["corners"])
    eave, top, factor = plane["eave"], plane["slope"], math.hypot(1, plane["pitch"])
    lean = {"hip": 1 / factor, "valley": -1 / factor, "rake": 0, "wall": 0}
    left, right = lean[plane["left"]], lean[plane["right"]]
    # A large triangle or trapezoid of the two side lines, cut off at the top.
    if left + right > 0:
        top = min(top, eave / (left + right))
    corners = [(0, 0), (eave, 0), (eave - right * top, top), (left * top, top)]
    return Polygon(corners).buffer(0)


def parts(geometry):
    return [] if geometry.is_empty else list(getattr(geometry, "geoms", [geometry]))


def free(plane):
    shape = outline(plane)
    assert shape.is_valid, plane
    low, high = plane["low"], plane["high"]
    strip = box(-FAR, low, FAR, high)
    blocks = []
    for part in parts(shape.exterior.intersection(strip)):
        left, _, right, _ = part.bounds
        back = plane["stay_back"]
        blocks.append(box(left - back, low - 1, right + back, high + 1))
    for left, right, bottom, top in plane["obstructions"]:
        back = plane["obstruction_stay_back"]
        if box(left, bottom - back, right, top + back).intersects(strip):
            blocks.append(box(left - back, low - 1, right + back, high + 1))
    at_butt = shape.intersection(LineString([(-FAR, plane["butt"]), (FAR, plane["butt"])]))
    left, _, right, _ = at_butt.bounds
    blocks += [box(-FAR, low - 1, left, high + 1), box(right, low - 1, FAR, high + 1)]
    rest = shape.intersection(strip).difference(unary_union(blocks))
    found = []
    for part in parts(rest):
        a, bottom, b, top = part.bounds
        if part.area > 1e-6:
            assert abs(part.area - (b - a) * (high - low)) < 1e-5, "a rectangle"
            found.append([a - left, b - left])
    return sorted(found)


print(json.dumps([free(plane) for plane in json.load(sys.stdin)]))
