"""Reads drawings back with ezdxf, which knows nothing of this project.

    python check_dxf.py RUN

Every drawing of the run folder passes ezdxf's audit without an error or a repair, and every
point of every layout stands in it, at top, sag and end, within 1e-6 mm of the exported points.
"""

import csv
import json
import math
import sys
from pathlib import Path

import ezdxf

CLOSE = 1e-6
LINES = {"top": "CONTINUOUS", "sag": "DASHED", "end": "DOT"}


def holds(drawn, x, y):
    return any(math.hypot(px - x, py - y) <= CLOSE for px, py in drawn)


def check(run, number):
    path = run / "cad" / f"{number}.dxf"
    drawing = ezdxf.readfile(path)
    audit = drawing.audit()
    assert not audit.errors and not audit.fixes, (path, audit.errors, audit.fixes)
    layout = json.loads((run / "layouts" / f"{number}.json").read_text())
    with open(run / "cad" / f"{number}.points.csv", newline="") as file:
        rows = {row["place"]: row for row in csv.DictReader(file) if row["place"]}
    space = drawing.modelspace()
    points, lines = list(space.query("POINT")), list(space.query("LINE"))
    count = 0
    for body, names in layout["mechanism"]["bodies"].items():
        layer = body.upper()
        assert layer in drawing.layers, layer
        for place, kind in LINES.items():
            if body == "frame" and place != "top":
                continue
            own = [p for p in points if (p.dxf.layer, p.dxf.linetype) == (layer, kind)]
            drawn = [(p.dxf.location.x, p.dxf.location.y) for p in own]
            ends = [
                (end.x, end.y)
                for line in lines
                if (line.dxf.layer, line.dxf.linetype) == (layer, kind)
                for end in (line.dxf.start, line.dxf.end)
            ]
            assert len(drawn) == len(names), (path, layer, kind)
            for name in names:
                x, y = (float(rows[place][f"{name}_{axis}"]) for axis in "xy")
                assert holds(drawn, x, y), (path, layer, place, name)
                assert body == "frame" or holds(ends, x, y), (path, layer, place, name)
                count += 1
    for name, (x, y) in layout["mechanism"]["points"].items():
        top = rows["top"]
        assert math.hypot(float(top[f"{name}_x"]) - x, float(top[f"{name}_y"]) - y) <= CLOSE
    return count


def main():
    run = Path(sys.argv[1])
    numbers = sorted(path.stem for path in (run / "cad").glob("*.dxf"))
    assert numbers, "no drawing"
    points = sum(check(run, number) for number in numbers)
    print(f"{len(numbers)} drawings, {points} points within {CLOSE} mm, audits clean")


if __name__ == "__main__":
    main()
