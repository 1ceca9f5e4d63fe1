"""pyamg on the equations that the bench field_solve solves, assembled here with NumPy.

Usage: python pyamg_times.py NODES TOLERANCE

A torus (20, 6) at potential 0 in a ball (40) at potential 1; seven-point star with legs cut at the
skins (Shortley & Weller 1938). Both of pyamg's common hierarchies, with BiCGSTAB round them.
Prints one line each, in the columns of field_solve.
"""

import resource
import sys
import time

import numpy as np
import pyamg
import scipy.sparse as sparse

MAJOR, MINOR, BALL = 20.0, 6.0, 40.0
# Share of the slack round the ball on its low side (solver/src/field/grid.rs).
LOW_SHARE = [0.4641, 0.4330, 0.4495]


def level(p):
    model = MINOR - np.hypot(np.hypot(p[0], p[1]) - MAJOR, p[2])
    outside = np.sqrt((p**2).sum(axis=0)) - BALL
    return model, outside


def assemble(nodes):
    # The same nodes as the bench's.
    spacing = 2 * BALL / (nodes - 3.5)
    cells = 2 * BALL / spacing
    whole = np.ceil(cells) + 2
    axes = [
        -BALL - share * (whole - cells) * spacing + spacing * np.arange(int(whole) + 1)
        for share in LOW_SHARE
    ]
    p = np.stack(np.meshgrid(*axes, indexing="ij"))
    inside = np.maximum(*level(p)) < 0
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    at = np.argwhere(inside)
    count = len(at)
    legs, others, ends = np.ones((6, count)), np.empty((6, count), int), np.zeros((6, count))
    here = p[:, inside]
    for way in range(6):
        step = np.zeros(3, int)
        step[way // 2] = 2 * (way % 2) - 1
        beside = at + step
        others[way] = number[beside[:, 0], beside[:, 1], beside[:, 2]]
        cut = np.flatnonzero(others[way] < 0)
        low, high = np.zeros(len(cut)), np.ones(len(cut))
        for _ in range(40):
            middle = 0.5 * (low + high)
            q = here[:, cut] + step[:, None] * spacing * middle
            is_in = np.maximum(*level(q)) < 0
            low, high = np.where(is_in, middle, low), np.where(is_in, high, middle)
        legs[way, cut] = np.maximum(0.5 * (low + high), 1e-6)
        model, outside = level(here[:, cut] + step[:, None] * spacing * high)
        ends[way, cut] = outside > model
    rows, columns, values = [], [], []
    diagonal, right = np.zeros(count), np.zeros(count)
    for way in range(6):
        weight = 2 / (legs[way] + legs[way ^ 1]) / legs[way]
        diagonal += weight
        right += np.where(others[way] < 0, weight * ends[way], 0)
        full = others[way] >= 0
        rows.append(np.flatnonzero(full))
        columns.append(others[way][full])
        values.append(-weight[full])
    rows.append(np.arange(count))
    columns.append(np.arange(count))
    values.append(diagonal)
    matrix = sparse.csr_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    )
    # Rows of nodes next to a skin scaled like the others.
    scale = sparse.diags(6 / diagonal)
    return (scale @ matrix).tocsr(), scale @ right, len(axes[0])


def main():
    nodes, tolerance = int(sys.argv[1]), float(sys.argv[2])
    matrix, right, side = assemble(nodes)
    hierarchies = {
        "pyamg RS": lambda: pyamg.ruge_stuben_solver(matrix),
        "pyamg SA": lambda: pyamg.smoothed_aggregation_solver(matrix),
    }
    for name, build in hierarchies.items():
        started = time.perf_counter()
        solver = build()
        built = time.perf_counter()
        residuals = []
        x = solver.solve(right, tol=tolerance, accel="bicgstab", maxiter=100, residuals=residuals)
        done = time.perf_counter()
        left = np.linalg.norm(right - matrix @ x) / np.linalg.norm(right)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 // 1_000_000
        print(
            f"{name:<12} {side:>6} {len(right):>10} {built - started:>9.2f} {done - built:>9.2f} "
            f"{len(residuals) - 1:>6} {left:>9.1e} {'-':>9} {peak:>9} {'-':>9}",
            flush=True,
        )


if __name__ == "__main__":
    main()
