"""Betti numbers of the open test meshes by the library gudhi, over two fields.

Usage: python homology.py MESH_FOLDER > homology.json

The numbers are the reference that the genus found by the solver is compared with: a closed
orientable surface of genus g has Betti numbers 1, 2 g, 1 over every field, so a difference between
the fields would give away a surface that is not orientable.
"""

import json
import sys
from pathlib import Path

import gudhi

MESHES = ["bunny00", "bull", "eight", "elephant", "hand", "knot1", "refined_elephant"]
FIELDS = [2, 11]


def read_off(path):
    """Faces of an OFF file, polygons cut into fans, and the number of vertices."""
    words = " ".join(
        line.split("#")[0] for line in path.read_text().splitlines()
    ).split()
    if words[0] != "OFF":
        raise SystemExit(f"{path}: not an OFF file")
    vertices, faces = int(words[1]), int(words[2])
    at = 4 + 3 * vertices
    out = []
    for _ in range(faces):
        count = int(words[at])
        corners = [int(w) for w in words[at + 1 : at + 1 + count]]
        at += 1 + count
        out += [(corners[0], corners[i], corners[i + 1]) for i in range(1, count - 1)]
    return vertices, out


def betti(faces, field):
    tree = gudhi.SimplexTree()
    for face in faces:
        tree.insert(face)
    tree.compute_persistence(homology_coeff_field=field, persistence_dim_max=True)
    return tree.betti_numbers()


def main():
    folder = Path(sys.argv[1])
    meshes = {}
    for name in MESHES:
        vertices, faces = read_off(folder / f"{name}.off")
        used = len({v for face in faces for v in face})
        meshes[name] = {
            "vertices": vertices,
            "vertices_used": used,
            "faces": len(faces),
            "betti": {str(field): betti(faces, field) for field in FIELDS},
        }
    result = {"library": "gudhi", "version": gudhi.__version__, "meshes": meshes}
    json.dump(result, sys.stdout, indent=1)
    print()


if __name__ == "__main__":
    main()
