"""What of a surface cannot be drawn off along a direction, by trimesh's ray caster.

Usage: python undercuts.py MESH_FOLDER > undercuts.json

Shapes: a tube with a bore (`annulus`, its corners written out with six digits), and an open mesh of the mesh folder in
the file's own unit, turned outside out. Directions: along x, y and z both ways, and two slanted ones both ways. A face
is held along a direction where its normal looks away from it by more than the sine `gives`, or where a ray from its
middle, `lift` times the longest side off the surface, meets the surface. `area` is the share of the surface that is held, `faces`
the count of faces.
"""

import json
import sys
from importlib.metadata import version
from pathlib import Path

import numpy
import trimesh

from tools.off import read_off

MESHES = ("eight",)
GIVES = 0.035
LIFT = 1e-4
SLANTED = [(0.6, 0.48, 0.64), (-0.28, 0.96, 0.0)]


def held(mesh, direction):
    direction = numpy.asarray(direction, dtype=float)
    away = mesh.face_normals @ direction < -GIVES
    size = mesh.extents.max()
    starts = mesh.triangles_center + mesh.face_normals * (LIFT * size)
    hidden = mesh.ray.intersects_any(starts, numpy.tile(direction, (len(starts), 1)))
    return away | hidden


def case(mesh):
    directions = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    directions += [tuple(sign * c for c in d) for d in SLANTED for sign in (1, -1)]
    found = []
    for direction in directions:
        own = held(mesh, direction)
        share = float(mesh.area_faces[own].sum() / mesh.area_faces.sum())
        found.append({"direction": list(direction), "area": round(share, 6), "faces": int(own.sum())})
    return found


def main():
    folder = Path(sys.argv[1])
    tube = trimesh.creation.annulus(r_min=12.0, r_max=20.0, height=30.0, sections=48)
    # Small faces, so that middles tell of all of them.
    tube = tube.subdivide()
    corners = [[round(float(x), 6) + 0.0 for x in p] for p in tube.vertices]
    tube = trimesh.Trimesh(corners, tube.faces, process=False)
    bodies = {
        "tube": {
            "vertices": corners,
            "faces": [[int(v) for v in f] for f in tube.faces],
            "held": case(tube),
        }
    }
    for name in MESHES:
        vertices, faces = read_off(folder / f"{name}.off")
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        if mesh.volume < 0:
            mesh.invert()
        bodies[name] = {"held": case(mesh)}
    libraries = {name: version(name) for name in ("trimesh", "rtree", "numpy")}
    lines = [f"{json.dumps(name)}: {json.dumps(body)}" for name, body in bodies.items()]
    head = f'"libraries": {json.dumps(libraries)},\n"gives": {GIVES},\n"lift": {LIFT},\n'
    print("{\n" + head + ",\n".join(lines) + "\n}")


if __name__ == "__main__":
    main()
