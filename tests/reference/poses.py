"""Poses in which bodies come to rest, by trimesh.

Usage: python poses.py MESH_FOLDER > poses.json

Bodies: some of the open meshes of the mesh folder in the file's own unit, and hulls of random points, written out with
their corners and faces. Poses by `compute_stable_poses` about the centre of mass, which is exact there (`sigma` 0): the
direction away from the board, of length 1, and the likelihood; those above a thousandth, likeliest first.
"""

import json
import random
import sys
from importlib.metadata import version
from pathlib import Path

import numpy
import trimesh

from tools.off import read_off

MESHES = ("bull", "bunny00")
HULLS = 3
LEAST = 1e-3


def poses(mesh):
    transforms, likelihoods = trimesh.poses.compute_stable_poses(mesh, sigma=0.0, n_samples=1)
    # The third row of a turn is what it takes to z.
    told = [
        {"up": [round(float(x), 9) + 0.0 for x in transform[2, :3]], "likelihood": float(f"{p:.9g}")}
        for transform, p in zip(transforms, likelihoods)
        if p > LEAST
    ]
    return sorted(told, key=lambda pose: (-round(pose["likelihood"], 7), pose["up"]))


def main():
    folder = Path(sys.argv[1])
    rng = random.Random(11)
    numpy.random.seed(0)
    bodies = {}
    for name in MESHES:
        vertices, faces = read_off(folder / f"{name}.off")
        mesh = trimesh.Trimesh(vertices, faces)
        bodies[name] = {
            "centre_of_mass": [float(f"{x:.9g}") for x in mesh.center_mass],
            "poses": poses(mesh),
        }
    for k in range(HULLS):
        points = [[round(rng.uniform(-1, 1) * size, 3) for size in (40, 25, 15)] for _ in range(14)]
        hull = trimesh.convex.convex_hull(points)
        bodies[f"hull {k + 1}"] = {
            "vertices": [[round(float(x), 3) for x in v] for v in hull.vertices],
            "faces": [[int(v) for v in f] for f in hull.faces],
            "centre_of_mass": [float(f"{x:.9g}") for x in hull.center_mass],
            "poses": poses(hull),
        }
    libraries = {name: version(name) for name in ("trimesh", "numpy", "scipy", "networkx")}
    lines = []
    for name, body in bodies.items():
        inner = ",\n".join(f" {json.dumps(k)}: {json.dumps(v)}" for k, v in body.items())
        lines.append(f"{json.dumps(name)}: {{\n{inner}\n}}")
    print('{\n"libraries": ' + json.dumps(libraries) + ",\n" + ",\n".join(lines) + "\n}")


if __name__ == "__main__":
    main()
