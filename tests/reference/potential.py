"""The potential round a lumpy body of revolution in a round block, by scikit-fem.

Usage: python potential.py MESH_FOLDER > potential.json   (the folder is not used)

Laplace's equation between a model at 0 and a closed cylinder at 1, both of revolution about z, so
that it is solved in the half-plane (r, z) with weight r, by finite elements: curved quadrilaterals
of second order on a mesh that follows both curves. The model's profile in polar coordinates (angle
from the z axis) is a sum of cosines that keeps it smooth at the poles. The flux is the energy of
the solution, which converges with twice the order of the slope. Two meshes; their difference is
written as the error.
"""

import json
import math
import sys
from importlib.metadata import version

import numpy as np
import skfem
from skfem import Basis, BilinearForm, ElementQuad2, MeshQuad2, condense, solve

RADII = [10.0, 1.2, -1.8, 0.9, 1.1]
SIDE = 8.0


def profile(angle):
    return sum(c * np.cos(n * angle) for n, c in enumerate(RADII))


def outline():
    """Extent of the model: lowest, highest, greatest distance from the axis."""
    angle = np.linspace(0, math.pi, 2_000_001)
    r, z = profile(angle) * np.sin(angle), profile(angle) * np.cos(angle)
    return float(z.min()), float(z.max()), float(r.max())


def outer(angle, low, high, radius):
    """Distance along a ray from the origin to the cylinder."""
    s, c = np.sin(angle), np.cos(angle)
    with np.errstate(divide="ignore"):
        wall = np.where(s > 0, radius / np.maximum(s, 1e-300), np.inf)
        cap = np.where(c > 0, high / np.maximum(c, 1e-300), np.inf)
        floor = np.where(c < 0, low / np.minimum(c, -1e-300), np.inf)
    return np.minimum(wall, np.minimum(cap, floor))


def solved(fine):
    low, high, reach = outline()
    low, high, radius = low - SIDE, high + SIDE, reach + SIDE
    # The cylinder's corners are mesh lines.
    corners = [0, math.atan2(radius, high), math.atan2(radius, low), math.pi]
    angles = np.concatenate(
        [np.linspace(a, b, 1 + round(fine * (b - a)))[:-1] for a, b in zip(corners, corners[1:])]
        + [[math.pi]]
    )
    # Closer together near the model, where the potential bends.
    shares = np.linspace(0, 1, 1 + fine // 2) ** 1.3
    straight = skfem.MeshQuad.init_tensor(angles, shares)
    mesh = MeshQuad2.from_mesh(straight)

    def place(points):
        angle, share = points
        inner = profile(angle)
        distance = inner + share * (outer(angle, low, high, radius) - inner)
        return np.array([distance * np.sin(angle), distance * np.cos(angle)])

    flat = mesh.doflocs
    on_axis = (flat[0] < 1e-12) | (flat[0] > math.pi - 1e-12)
    moved = place(flat)
    moved[0, on_axis] = 0
    curved = MeshQuad2(moved, mesh.t)
    basis = Basis(curved, ElementQuad2(), intorder=6)

    @BilinearForm
    def stiffness(u, v, w):
        return w.x[0] * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1])

    matrix = stiffness.assemble(basis)
    flat_basis = Basis(straight, ElementQuad2())
    share = flat_basis.doflocs[1]
    fixed = np.flatnonzero((share < 1e-12) | (share > 1 - 1e-12))
    values = np.where(share > 0.5, 1.0, 0.0)
    u = solve(*condense(matrix, x=values, D=fixed))
    flux = 2 * math.pi * float(u @ (matrix @ u))

    # Points are named by angle and share, in the mesh before it was bent; where they came to lie is
    # interpolated as the bent elements are.
    turns, parts = np.meshgrid(math.pi * np.arange(1, 24, 2) / 24, [0.1, 0.35, 0.65, 0.9])
    probes = flat_basis.probes(np.array([turns.ravel(), parts.ravel()]))
    points = (probes @ basis.doflocs.T).tolist()
    return flux, points, (probes @ u).tolist(), {"low": low, "high": high, "radius": radius}


def digits(value):
    """Eight digits: more would differ between machines."""
    return float(f"{float(value):.8g}")


def main():
    coarse = solved(48)
    flux, points, values, body = solved(96)
    error = max(abs(a - b) for a, b in zip(coarse[2], values))
    result = {
        "libraries": {"scikit-fem": version("scikit-fem"), "numpy": np.__version__},
        "radii": RADII,
        "side": SIDE,
        "body": {key: digits(value) for key, value in body.items()},
        "flux": digits(flux),
        "flux_error_below": 10 ** math.ceil(math.log10(abs(flux - coarse[0]))),
        "value_error_below": 10 ** math.ceil(math.log10(error)),
        "points_r_z": [[digits(x) for x in p] for p in points],
        "values": [digits(v) for v in values],
    }
    lines = [f'"{key}": {json.dumps(value, separators=(",", ":"))}' for key, value in result.items()]
    sys.stdout.write("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
