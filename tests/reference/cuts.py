"""Minimum cuts by networkx and cover problems by SciPy's HiGHS, on instances made here.

Usage: python cuts.py MESH_FOLDER > cuts.json   (the folder is not read)

Instances:
- minimum cuts between two sets of nodes in planar graphs (triangulated grids with some diagonals
  and edges left out) with whole-number capacities, both ways along every edge. The value is found by
  two libraries. The smallest set on the source's side and the smallest one on the sink's side do
  not depend on the method, so they can be compared node by node.
- weighted cover problems: choose columns, each with a whole-number cost, so that every row has a
  chosen column, at the least cost; with the value of the linear relaxation.
- Steiner triple systems stn9, stn27, stn81 with unit costs. They are built here as the lines of the
  affine geometry AG(n, 3): three points make a line when they sum to zero (from memory). The points
  left out of a cover are a cap (no three on a line), and the largest caps of AG(n, 3) have
  4, 9, 20 points (from memory), so the optima are 5, 18, 61; the same are published for the three
  instances. stn9 and stn27 are solved here; stn81 takes too long, so only its relaxation is.
"""

import itertools
import json
import random
import sys

import networkx
import numpy
import scipy
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_flow


def planar_graph(rng, columns, rows):
    """Edges [u, v, capacity] of a connected planar graph on a grid."""
    edges = []
    for y in range(rows):
        for x in range(columns):
            node = x + columns * y
            # The first column and all rows stay whole, so the graph is connected.
            if x + 1 < columns:
                edges.append([node, node + 1, rng.randint(1, 20)])
            if y + 1 < rows and (x == 0 or rng.random() < 0.85):
                edges.append([node, node + columns, rng.randint(1, 20)])
            if x + 1 < columns and y + 1 < rows and rng.random() < 0.8:
                if rng.random() < 0.5:
                    edges.append([node, node + columns + 1, rng.randint(1, 20)])
                else:
                    edges.append([node + 1, node + columns, rng.randint(1, 20)])
    return edges


def minimum_cut(name, seed, columns, rows, set_size):
    rng = random.Random(seed)
    count = columns * rows
    edges = planar_graph(rng, columns, rows)
    chosen = rng.sample(range(count), 2 * set_size)
    sources, sinks = sorted(chosen[:set_size]), sorted(chosen[set_size:])
    huge = 1 + sum(capacity for _, _, capacity in edges)
    source, sink = count, count + 1
    graph = networkx.DiGraph()
    arcs = [(u, v, c) for u, v, c in edges] + [(v, u, c) for u, v, c in edges]
    arcs += [(source, v, huge) for v in sources] + [(v, sink, huge) for v in sinks]
    for u, v, capacity in arcs:
        graph.add_edge(u, v, capacity=capacity)
    residual = networkx.algorithms.flow.preflow_push(graph, source, sink)
    value = residual.graph["flow_value"]
    tails, heads, capacities = zip(*arcs)
    matrix = csr_matrix(
        (numpy.array(capacities, dtype=numpy.int32), (tails, heads)), shape=(count + 2,) * 2
    )
    if maximum_flow(matrix, source, sink).flow_value != value:
        raise SystemExit(f"{name}: the two libraries disagree")
    open_arcs = networkx.DiGraph()
    open_arcs.add_nodes_from(residual)
    open_arcs.add_edges_from(
        (u, v) for u, v, data in residual.edges(data=True) if data["flow"] < data["capacity"]
    )
    return {
        "name": name,
        "nodes": count,
        "edges": edges,
        "sources": sources,
        "sinks": sinks,
        "value": value,
        "smallest_source_side": sorted(networkx.descendants(open_arcs, source) - {source, sink}),
        "smallest_sink_side": sorted(networkx.ancestors(open_arcs, sink) - {source, sink}),
    }


def incidence(rows, columns):
    row_of = [row for row, members in enumerate(rows) for _ in members]
    members = [column for members in rows for column in members]
    return csr_matrix((numpy.ones(len(members)), (row_of, members)), shape=(len(rows), columns))


def relaxation(rows, costs):
    matrix = incidence(rows, len(costs))
    result = linprog(costs, A_ub=-matrix, b_ub=-numpy.ones(len(rows)), bounds=(0, 1), method="highs")
    if result.status != 0:
        raise SystemExit(result.message)
    # Nine digits: more would differ between machines.
    return float(f"{result.fun:.9g}")


def optimum(rows, costs):
    result = milp(
        costs,
        integrality=numpy.ones(len(costs)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(incidence(rows, len(costs)), 1, numpy.inf),
        options={"mip_rel_gap": 0.0},
    )
    if result.status != 0:
        raise SystemExit(result.message)
    return round(result.fun)


def random_cover(name, seed, row_count, column_count, dearest):
    rng = random.Random(seed)
    rows = [sorted(rng.sample(range(column_count), rng.randint(2, 7))) for _ in range(row_count)]
    costs = [rng.randint(1, dearest) for _ in range(column_count)]
    return {
        "name": name,
        "costs": costs,
        "rows": rows,
        "relaxation": relaxation(rows, costs),
        "optimum": optimum(rows, costs),
    }


def steiner_triples(dimension, published, solve):
    points = list(itertools.product(range(3), repeat=dimension))
    place = {point: index for index, point in enumerate(points)}
    rows = set()
    for a, b in itertools.combinations(points, 2):
        third = tuple((-x - y) % 3 for x, y in zip(a, b))
        rows.add(tuple(sorted(place[p] for p in (a, b, third))))
    rows = sorted(list(row) for row in rows)
    costs = [1] * len(points)
    name = f"stn{len(points)}"
    result = {"name": name, "costs": costs, "rows": rows, "relaxation": relaxation(rows, costs)}
    result["published_optimum"] = published
    if solve:
        result["optimum"] = optimum(rows, costs)
        if result["optimum"] != published:
            raise SystemExit(f"{name}: {result['optimum']} found, {published} published")
    return result


def main():
    result = {
        "libraries": {
            "networkx": networkx.__version__,
            "scipy": scipy.__version__,
            "numpy": numpy.__version__,
        },
        "minimum_cuts": [
            minimum_cut("grid-30", 1, 6, 5, 1),
            minimum_cut("grid-48", 2, 8, 6, 2),
            minimum_cut("grid-80", 3, 10, 8, 3),
            minimum_cut("grid-120", 4, 12, 10, 4),
            minimum_cut("grid-160", 5, 16, 10, 5),
            minimum_cut("grid-200", 6, 20, 10, 6),
            minimum_cut("grid-200-wide", 7, 20, 10, 20),
        ],
        "covers": [
            random_cover("cover-20x20", 11, 20, 20, 1),
            random_cover("cover-30x25", 12, 30, 25, 9),
            random_cover("cover-60x40", 13, 60, 40, 9),
            random_cover("cover-100x60", 14, 100, 60, 30),
            random_cover("cover-150x80", 15, 150, 80, 99),
        ],
        "steiner_triples": [
            steiner_triples(2, 5, True),
            steiner_triples(3, 18, True),
            steiner_triples(4, 61, False),
        ],
    }
    write(result)


def write(result):
    """One instance a line."""
    parts = []
    for key, value in result.items():
        if isinstance(value, list):
            lines = ",\n".join(" " + json.dumps(item, separators=(",", ":")) for item in value)
            parts.append(f'"{key}": [\n{lines}\n]')
        else:
            parts.append(f'"{key}": {json.dumps(value)}')
    sys.stdout.write("{\n" + ",\n".join(parts) + "\n}\n")


if __name__ == "__main__":
    main()
