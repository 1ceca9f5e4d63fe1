"""Winding numbers of triangle soups, and distances to them, by libigl.

Usage: python winding.py MESH_FOLDER > winding.json

Soups: open meshes of the mesh folder in the file's own unit, `whole`, or `torn`, with every seventh face away and
every eleventh one turned over (of those that are left, by their place in the file from 0). Points lie in the
box round the mesh, made half as large again, with six digits. Winding numbers by the exact sum of solid angles
(`winding_number`); the fast one with a tree (`fast_winding_number`) has to be within `fast_within` of them; distances by
`point_mesh_squared_distance`.
"""

import json
import math
import random
import sys
from importlib.metadata import version
from pathlib import Path

import igl
import numpy

from tools.off import read_off

MESHES = ("bull", "eight", "knot1")
POINTS = 40
FAST_WITHIN = 0.005


def torn(faces):
    kept = [f for k, f in enumerate(faces) if k % 7 != 0]
    return [[f[0], f[2], f[1]] if k % 11 == 0 else f for k, f in enumerate(kept)]


def case(rng, vertices, faces):
    vertices = numpy.asarray(vertices, dtype=numpy.float64)
    faces = numpy.asarray(faces, dtype=numpy.int64)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    # Six digits of the size.
    scale = 10 ** (6 - math.ceil(math.log10(half.max())))
    points = [
        [
            round((middle[k] + 1.5 * half[k] * rng.uniform(-1, 1)) * scale) / scale
            for k in range(3)
        ]
        for _ in range(POINTS)
    ]
    # As many near the surface: middles of faces, moved a little.
    for _ in range(POINTS):
        corner = vertices[faces[rng.randrange(len(faces))]].mean(axis=0)
        points.append(
            [
                round((corner[k] + 0.05 * half.max() * rng.uniform(-1, 1)) * scale) / scale
                for k in range(3)
            ]
        )
    query = numpy.array(points)
    exact = igl.winding_number(vertices, faces, query)
    fast = igl.fast_winding_number(vertices, faces, query)
    squares = igl.point_mesh_squared_distance(query, vertices, faces)[0]
    off = float(numpy.abs(numpy.asarray(fast) - exact).max())
    if off > FAST_WITHIN:
        raise SystemExit(f"the fast winding number is off by {off}")
    return {
        "points": points,
        "winding": [round(float(w), 9) + 0.0 for w in exact],
        "distance": [float(f"{math.sqrt(s):.9g}") for s in squares],
    }


def main():
    folder = Path(sys.argv[1])
    rng = random.Random(5)
    soups = {}
    for name in MESHES:
        vertices, faces = read_off(folder / f"{name}.off")
        soups[name] = {
            "whole": case(rng, vertices, faces),
            "torn": case(rng, vertices, torn(faces)),
        }
    libraries = {name: version(name) for name in ("libigl", "numpy")}
    lines = []
    for name, kinds in soups.items():
        inner = ",\n".join(f" {json.dumps(k)}: {json.dumps(v)}" for k, v in kinds.items())
        lines.append(f"{json.dumps(name)}: {{\n{inner}\n}}")
    print('{\n"libraries": ' + json.dumps(libraries) + f',\n"fast_within": {FAST_WITHIN},\n' + ",\n".join(lines) + "\n}")


if __name__ == "__main__":
    main()
