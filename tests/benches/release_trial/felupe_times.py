"""felupe on the cube of the bench release_trial, given as JSON on standard input.

Displacements on linear tetrahedra, compressible neo-Hookean rubber of the same two moduli: the time of one assembly of all forces, and
that of Newton's method with SciPy's sparse direct solver from no stretch to rest in a few steps: from even stretch, where the bench
starts, it fails.
"""

import json
import sys
import time

import felupe as fem
import numpy as np

STEPS = 3


def main():
    given = json.load(sys.stdin)
    nodes, elements = np.array(given["nodes"]), np.array(given["elements"])
    side, drawn = given["side"], given["drawn"]
    mesh = fem.Mesh(nodes, elements, "tetra")
    field = fem.FieldContainer([fem.Field(fem.RegionTetra(mesh), dim=3)])
    body = fem.SolidBody(fem.NeoHooke(mu=given["shear"], bulk=given["bulk"]), field)
    field[0].values[:, 2] = drawn * nodes[:, 2]
    body.assemble.vector(field)
    sums = 5
    started = time.perf_counter()
    for _ in range(sums):
        body.assemble.vector(field)
    each = (time.perf_counter() - started) / sums

    low, high = np.isclose(nodes[:, 2], 0), np.isclose(nodes[:, 2], side)
    bounds = {
        "low": fem.Boundary(field[0], mask=low),
        "rise": fem.Boundary(field[0], mask=high, skip=(1, 1, 0), value=drawn * side),
        "still": fem.Boundary(field[0], mask=high, skip=(0, 0, 1)),
    }
    field[0].values[:] = 0
    started = time.perf_counter()
    iterations = 0
    for step in range(1, STEPS + 1):
        bounds["rise"].update(drawn * side * step / STEPS)
        dof0, dof1 = fem.dof.partition(field, bounds)
        ext0 = fem.dof.apply(field, bounds, dof0)
        result = fem.newtonraphson(
            items=[body], dof0=dof0, dof1=dof1, ext0=ext0, tol=given["at_rest"], verbose=False
        )
        iterations += result.iterations
    rest = time.perf_counter() - started
    force = body.results.force.toarray()[: 3 * len(nodes)].reshape(-1, 3)[high, 2].sum()
    print(
        f"{'felupe ' + fem.__version__:<14} {len(elements):>8} {len(nodes):>8} "
        f"{len(elements) / each / 1e6:>9.2f} {rest:>9.2f} {force:>9.2f}   {iterations} iterations",
        flush=True,
    )


if __name__ == "__main__":
    main()
