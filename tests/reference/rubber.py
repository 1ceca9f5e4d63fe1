"""Rubber at rest, by felupe: a bonded cube that is pulled and sheared, and Cook's membrane.

Usage: python rubber.py MESH_FOLDER > rubber.json   (the folder is not used)

Three problems that have no closed form, each on two meshes; what they differ by is written as the
error. Forces are divided by the shear modulus, lengths are those of a unit cube or of the membrane.

cube: nearly incompressible neo-Hookean solid, its bottom held, its top held flat and moved. Hexahedra
of second order, pressure and change of volume by a field each (Simo, Taylor & Pister 1985). Force on the
top when it is raised by half the height, and when it is moved aside by half the height as well.

cook: Cook, R. D. (1974), "Improved two-dimensional finite element", Journal of the Structural Division
100: a tapered panel, 48 wide, 44 and 16 high, held on the left and sheared on the right. Published
variants differ. Here are both, named by what is asked: "linear", plane stress, E = 1, Poisson's ratio
1/3, thickness 1, load 1, vertical displacement of the right edge's middle (23.96 in the literature,
from memory); "rubber", plane strain, neo-Hookean, nearly incompressible, with an upward load on
the right edge of mu times 1/10 of its height, vertical displacement of the right edge's upper corner.
"""

import json
from importlib.metadata import version

import felupe as fem
import numpy as np

SHEAR = 1.0
BULK = 5000.0


def mesh_of_cube(fine):
    mesh = fem.Cube(n=fine + 1)
    # Closer together at the plates, where edges are singular.
    points = mesh.points
    mesh.points[:] = 0.5 - 0.5 * np.cos(np.pi * points)
    return fem.mesh.add_midpoints_volumes(
        fem.mesh.add_midpoints_faces(fem.mesh.add_midpoints_edges(mesh))
    )


def cube(fine):
    mesh = mesh_of_cube(fine)
    region = fem.RegionTriQuadraticHexahedron(mesh)
    field = fem.FieldsMixed(region, n=3)
    body = fem.SolidBody(fem.ThreeFieldVariation(fem.NeoHooke(mu=SHEAR, bulk=BULK)), field)
    low = mesh.points[:, 2] < 1e-9
    high = mesh.points[:, 2] > 1 - 1e-9
    bounds = {
        "bottom": fem.Boundary(field[0], mask=low),
        "rise": fem.Boundary(field[0], mask=high, skip=(1, 1, 0)),
        "aside": fem.Boundary(field[0], mask=high, skip=(0, 1, 1)),
        "still": fem.Boundary(field[0], mask=high, skip=(1, 0, 1)),
    }
    top = np.flatnonzero(high)
    forces = []
    ways = [(0.5, 0.0), (1.0, 0.0), (1.0, 0.5), (1.0, 1.0)]
    for rise, aside in ways:
        bounds["rise"].value = 0.5 * rise
        bounds["aside"].value = 0.5 * aside
        dof0, dof1 = fem.dof.partition(field, bounds)
        ext0 = fem.dof.apply(field, bounds, dof0)
        fem.newtonraphson(
            items=[body], dof0=dof0, dof1=dof1, ext0=ext0, tol=1e-9, verbose=False
        )
        inner = body.results.force.toarray()[: 3 * mesh.npoints].reshape(-1, 3)
        forces.append(inner[top].sum(axis=0))
    pulled, sheared = forces[1], forces[3]
    return [pulled[2] / SHEAR, sheared[2] / SHEAR, sheared[0] / SHEAR]


def panel(fine):
    mesh = fem.Rectangle(n=fine + 1)
    x, y = mesh.points.T
    low, high = 44 * x, 44 + 16 * x
    mesh.points[:] = np.column_stack([48 * x, low + y * (high - low)])
    return fem.mesh.add_midpoints_faces(fem.mesh.add_midpoints_edges(mesh))


def edge_load(mesh):
    """A force of 1 spread evenly over the right edge, for elements of second order (Simpson)."""
    right = np.flatnonzero(mesh.points[:, 0] > 48 - 1e-9)
    order = right[np.argsort(mesh.points[right, 1])]
    weights = np.zeros(len(order))
    for k in range(0, len(order) - 2, 2):
        weights[k : k + 3] += np.array([1, 4, 1]) / 6
    return order, weights / weights.sum()


def cook_linear(fine):
    mesh = panel(fine)
    field = fem.FieldContainer([fem.Field(fem.RegionBiQuadraticQuad(mesh), dim=2)])
    body = fem.SolidBody(fem.LinearElasticPlaneStress(E=1.0, nu=1 / 3), field)
    order, weights = edge_load(mesh)
    load = fem.PointLoad(field, order, values=np.column_stack([0 * weights, weights]))
    bounds = {"left": fem.Boundary(field[0], mask=mesh.points[:, 0] < 1e-9)}
    dof0, dof1 = fem.dof.partition(field, bounds)
    ext0 = fem.dof.apply(field, bounds, dof0)
    fem.newtonraphson(items=[body, load], dof0=dof0, dof1=dof1, ext0=ext0, tol=1e-9, verbose=False)
    return [field[0].values[order[len(order) // 2], 1]]


def cook_rubber(fine):
    mesh = panel(fine)
    region = fem.RegionBiQuadraticQuad(mesh)
    field = fem.FieldsMixed(region, n=3, planestrain=True)
    body = fem.SolidBody(fem.ThreeFieldVariation(fem.NeoHooke(mu=SHEAR, bulk=BULK)), field)
    order, weights = edge_load(mesh)
    bounds = {"left": fem.Boundary(field[0], mask=mesh.points[:, 0] < 1e-9)}
    dof0, dof1 = fem.dof.partition(field, bounds)
    ext0 = fem.dof.apply(field, bounds, dof0)
    for share in np.linspace(0.25, 1, 4):
        up = share * 0.1 * SHEAR * 16 * weights
        load = fem.PointLoad(field, order, values=np.column_stack([0 * up, up]))
        fem.newtonraphson(
            items=[body, load], dof0=dof0, dof1=dof1, ext0=ext0, tol=1e-9, verbose=False
        )
    return [field[0].values[order[-1], 1]]


def converged(problem, coarse, fine):
    """Five digits, as more would differ between machines, and the greatest relative change."""
    low, high = np.array(problem(coarse)), np.array(problem(fine))
    error = float(np.max(np.abs(high - low) / np.abs(high)))
    bounds = [1e-4, 1e-3, 2e-3, 5e-3, 1e-2, 2e-2]
    return [float(f"{v:.5g}") for v in high], next(b for b in bounds if error < b)


def main():
    (rise, rise_sheared, aside), cube_error = converged(cube, 3, 4)
    (linear,), linear_error = converged(cook_linear, 16, 32)
    (rubber,), rubber_error = converged(cook_rubber, 8, 16)
    libraries = {name: version(name) for name in ("felupe", "numpy")}
    result = {
        "libraries": libraries,
        "cube": {
            "raised": rise,
            "raised_and_moved": [aside, rise_sheared],
            "error_below": cube_error,
        },
        "cook": {
            "linear": linear,
            "linear_error_below": linear_error,
            "rubber": rubber,
            "rubber_error_below": rubber_error,
        },
    }
    lines = [f"{json.dumps(k)}: {json.dumps(v)}" for k, v in result.items()]
    print("{\n" + ",\n".join(lines) + "\n}")


if __name__ == "__main__":
    main()
