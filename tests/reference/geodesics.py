"""Shortest paths on surfaces: closed forms, and exact paths on meshes by the library pygeodesic.

Usage: python geodesics.py MESH_FOLDER > geodesics.json

- closed forms (any textbook of differential geometry; from memory): arcs of great circles on a
  sphere; straight lines on the unrolled cylinder and cone. Angles are in radians, lengths in mm. A
  loop round a cone from a point at the slant s back to it is 2 s sin(pi sin b), b being half the
  apex angle, as long as pi sin b < pi / 2.
- lumps: a small closed mesh made here, coordinates with six digits, with the exact shortest paths
  along its faces between pairs of vertices (pygeodesic: the method of Mitchell, Mount and
  Papadimitriou, SIAM J. Comput. 16, 1987, from memory).
- open meshes: the same on meshes of the mesh folder, in the file's own unit.
"""

import json
import math
import random
import sys
from importlib.metadata import version
from pathlib import Path

import numpy
from pygeodesic.geodesic import PyGeodesicAlgorithmExact

from tools.off import read_off


def sphere_distance(radius, polar_a, around_a, polar_b, around_b):
    def unit(polar, around):
        return numpy.array(
            [
                math.sin(polar) * math.cos(around),
                math.sin(polar) * math.sin(around),
                math.cos(polar),
            ]
        )

    a, b = unit(polar_a, around_a), unit(polar_b, around_b)
    return radius * math.atan2(numpy.linalg.norm(numpy.cross(a, b)), a @ b)


def turn_between(around_a, around_b):
    turn = abs(around_a - around_b) % (2 * math.pi)
    return min(turn, 2 * math.pi - turn)


def cylinder_distance(radius, around_a, z_a, around_b, z_b):
    return math.hypot(radius * turn_between(around_a, around_b), z_a - z_b)


def cone_distance(half_angle, slant_a, around_a, slant_b, around_b):
    unrolled = turn_between(around_a, around_b) * math.sin(half_angle)
    # With half a turn at most, the unrolled angle is below pi: the line never meets the apex.
    return math.sqrt(slant_a**2 + slant_b**2 - 2 * slant_a * slant_b * math.cos(unrolled))


def closed_forms():
    rng = random.Random(21)
    sphere, cylinder, cone, loops = [], [], [], []
    for _ in range(12):
        radius = round(rng.uniform(10, 60), 3)
        a = [round(rng.uniform(0.2, 2.9), 4), round(rng.uniform(0, 6.28), 4)]
        b = [round(rng.uniform(0.2, 2.9), 4), round(rng.uniform(0, 6.28), 4)]
        case = {"radius": radius, "polar_around_a": a, "polar_around_b": b}
        sphere.append(case | {"distance": digits(sphere_distance(radius, *a, *b))})
        a = [round(rng.uniform(0, 6.28), 4), round(rng.uniform(5, 95), 3)]
        b = [round(rng.uniform(0, 6.28), 4), round(rng.uniform(5, 95), 3)]
        case = {"radius": radius, "around_z_a": a, "around_z_b": b}
        cylinder.append(case | {"distance": digits(cylinder_distance(radius, *a, *b))})
        half_angle = round(math.radians(rng.uniform(8, 60)), 5)
        a = [round(rng.uniform(20, 80), 3), round(rng.uniform(0, 6.28), 4)]
        b = [round(rng.uniform(20, 80), 3), round(rng.uniform(0, 6.28), 4)]
        case = {"half_angle": half_angle, "slant_around_a": a, "slant_around_b": b}
        cone.append(case | {"distance": digits(cone_distance(half_angle, *a, *b))})
    for degrees in (5, 10, 15, 20, 25):
        length = 2 * math.sin(math.pi * math.sin(math.radians(degrees)))
        loops.append({"half_angle_degrees": degrees, "loop_over_slant": digits(length)})
    return {"sphere": sphere, "cylinder": cylinder, "cone": cone, "cone_loops": loops}


def lumpy_sphere():
    """A sphere with lumps: an octahedron divided three times, radii by a smooth function."""
    points = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    points = [numpy.array(p, dtype=float) for p in points]
    faces = [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)]
    for _ in range(3):
        middles, finer = {}, []

        def middle(a, b):
            key = (min(a, b), max(a, b))
            if key not in middles:
                p = points[a] + points[b]
                points.append(p / numpy.linalg.norm(p))
                middles[key] = len(points) - 1
            return middles[key]

        for a, b, c in faces:
            ab, bc, ca = middle(a, b), middle(b, c), middle(c, a)
            finer += [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        faces = finer
    lumps = [
        p * (30 + 6 * math.sin(3 * p[0] + 1) * math.cos(4 * p[1]) + 4 * math.sin(5 * p[2]))
        for p in points
    ]
    return [[round(float(x), 6) for x in p] for p in lumps], [list(face) for face in faces]


def exact_paths(positions, faces, seed, sources, targets):
    rng = random.Random(seed)
    solver = PyGeodesicAlgorithmExact(
        numpy.array(positions, dtype=float), numpy.array(faces, dtype=numpy.int32)
    )
    used = sorted({v for face in faces for v in face})
    pairs = []
    for source in rng.sample(used, sources):
        ends = rng.sample(used, targets)
        distances, _ = solver.geodesicDistances([source], ends)
        pairs += [[source, end, digits(distance)] for end, distance in zip(ends, distances)]
    return pairs


def digits(value):
    """Ten digits: more would differ between machines."""
    return float(f"{float(value):.10g}")


def main():
    folder = Path(sys.argv[1])
    positions, faces = lumpy_sphere()
    lumps = {"positions": positions, "faces": faces}
    lumps["paths"] = exact_paths(positions, faces, 31, 6, 8)
    open_meshes = {}
    for name in ("eight", "hand", "elephant"):
        open_meshes[name] = {"paths": exact_paths(*read_off(folder / f"{name}.off"), 32, 4, 8)}
    result = {
        "libraries": {"pygeodesic": version("pygeodesic"), "numpy": numpy.__version__},
        "closed_forms": closed_forms(),
        "lumps": lumps,
        "open_meshes": open_meshes,
    }
    lines = [f'"{key}": {json.dumps(value, separators=(",", ":"))}' for key, value in result.items()]
    sys.stdout.write("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
