#!/usr/bin/env python3
"""Passes the output of `cargo test` on, then tells how long each test binary and the ten longest tests took.

    cargo test --workspace 2>&1 | tests/longest.py THREADS

THREADS is RUST_TEST_THREADS of the run. The stable libtest tells no test's time, but it runs the tests of
a binary in the order of their names, THREADS at once, and prints a line as each ends. So test number i
(from 0) began when the binary did, or when test number i - THREADS + 1 in the order of ending ended.
Exits with 1 if a test failed, or none ran.
"""

import re
import sys
import time

RUNNING = re.compile(
    r"^\s+(?:Running .*\((?:\S*/)?(?P<binary>[^/)]+)-[0-9a-f]+\)|Doc-tests (?P<crate>\S+))"
)
START = re.compile(r"^running \d+ tests?$")
TEST = re.compile(r"^test (?P<name>\S+)(?: - [^.]*)? \.\.\. (?P<state>ok|FAILED|ignored)")
RESULT = re.compile(
    r"^test result: \w+\. (?P<passed>\d+) passed; (?P<failed>\d+) failed; .*finished in (?P<seconds>[\d.]+)s"
)


def lengths(began, ended, threads):
    """Seconds of each test, from when its binary began and (name, moment) in the order of ending."""
    moments = [moment for _, moment in ended]
    order = {name: number for number, (name, _) in enumerate(sorted(ended))}
    for name, moment in ended:
        before = order[name] - threads
        yield name, moment - (began if before < 0 else moments[before])


def main():
    threads = int(sys.argv[1])
    where, began, ended = "", 0.0, []
    passed = failed = 0
    tests, binaries = [], []
    for line in sys.stdin:
        now = time.monotonic()
        sys.stdout.write(line)
        sys.stdout.flush()
        if found := RUNNING.match(line):
            where = found["binary"] or f"doc-tests of {found['crate']}"
        elif START.match(line):
            began, ended = now, []
        elif found := TEST.match(line):
            if found["state"] != "ignored":
                ended.append((found["name"], now))
        elif found := RESULT.match(line):
            passed += int(found["passed"])
            failed += int(found["failed"])
            binaries.append((float(found["seconds"]), where))
            tests += [(seconds, f"{where}: {name}") for name, seconds in lengths(began, ended, threads)]
    print("\nseconds  test binaries")
    for seconds, name in sorted(binaries, reverse=True):
        if seconds >= 1.0:
            print(f"{seconds:7.1f}  {name}")
    print(f"{sum(seconds for seconds, _ in binaries):7.1f}  all of them\n\nseconds  ten longest tests")
    for seconds, name in sorted(tests, reverse=True)[:10]:
        print(f"{seconds:7.1f}  {name}")
    print(f"\n{passed} tests passed, {failed} failed, in {len(binaries)} test binaries")
    return 0 if passed > 0 and failed == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
