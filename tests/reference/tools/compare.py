"""Compares two JSON files: the same keys, lists, words and whole numbers; other numbers within one
part in a hundred million, which is more than compilers differ by and less than any error matters.

Usage: python compare.py COMMITTED MADE_AGAIN   (exit 1 and the first ten differences if any)
"""

import json
import math
import sys

RELATIVE = 1e-8
ABSOLUTE = 1e-9


def differences(a, b, where="$"):
    if isinstance(a, bool) or isinstance(b, bool) or type(a) is not type(b):
        numbers = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (a, b))
        if not (numbers and math.isclose(a, b, rel_tol=RELATIVE, abs_tol=ABSOLUTE)) and a != b:
            yield f"{where}: {a!r} committed, {b!r} made again"
    elif isinstance(a, dict):
        for key in sorted(a.keys() | b.keys()):
            if key not in a or key not in b:
                yield f"{where}.{key}: only {'committed' if key in a else 'made again'}"
            else:
                yield from differences(a[key], b[key], f"{where}.{key}")
    elif isinstance(a, list):
        if len(a) != len(b):
            yield f"{where}: {len(a)} entries committed, {len(b)} made again"
        for index, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{where}[{index}]")
    elif isinstance(a, float):
        if not math.isclose(a, b, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{where}: {a!r} committed, {b!r} made again"
    elif a != b:
        yield f"{where}: {a!r} committed, {b!r} made again"


def main():
    committed, again = (json.load(open(path, encoding="utf-8")) for path in sys.argv[1:3])
    found = list(differences(committed, again))
    for line in found[:10]:
        print(line)
    if len(found) > 10:
        print(f"and {len(found) - 10} more")
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
