"""Times cells in Jupyter kernels, sessions interleaved: python kernel_cells.py CELLS.json [ROUNDS]

CELLS.json: [{"kernel": "name of a kernelspec", "cells": ["let x = 1;", ...], "env": {...optional}}, ...]
Prints, per kernel, the median over rounds of: seconds until ready, each cell's seconds, and the median cell;
a cell that ends in an error stops the run. Needs jupyter_client.
"""
import json
import os
import statistics
import sys
import time

from jupyter_client.manager import KernelManager


def session(spec):
    manager = KernelManager(kernel_name=spec["kernel"])
    start = time.perf_counter()
    manager.start_kernel(env={**os.environ, **spec.get("env", {})})
    client = manager.client()
    client.start_channels()
    try:
        client.wait_for_ready(timeout=600)
        ready, times = time.perf_counter() - start, []
        for code in spec["cells"]:
            errors = []

            def note(message):
                if message["msg_type"] == "error":
                    errors.append(message["content"].get("evalue", ""))
                # A panic or a `?` on an error reaches only stderr.
                if message["msg_type"] == "stream" and message["content"]["name"] == "stderr":
                    errors.append(message["content"]["text"])

            start = time.perf_counter()
            reply = client.execute_interactive(code, timeout=900, output_hook=note)
            times.append(time.perf_counter() - start)
            if reply["content"]["status"] != "ok" or errors:
                raise SystemExit(f"{spec['kernel']}: cell failed: {code!r}: {errors}")
        return ready, times
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def main():
    specs = json.load(open(sys.argv[1]))
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    seen = {s["kernel"]: [] for s in specs}
    for _ in range(rounds):
        for spec in specs:
            seen[spec["kernel"]].append(session(spec))
    medians, seconds_of = {}, {}
    for spec in specs:
        runs = seen[spec["kernel"]]
        ready = statistics.median(r[0] for r in runs)
        per_cell = [statistics.median(r[1][i] for r in runs) for i in range(len(spec["cells"]))]
        seconds_of[spec["kernel"]] = dict(zip(spec["cells"], per_cell))
        medians[spec["kernel"]] = ready, per_cell[0], statistics.median(per_cell[1:])
        print(f"{spec['kernel']}: ready {ready:.2f} s, first let {per_cell[0]:.2f} s, median cell {medians[spec['kernel']][2]:.3f} s")
        for code, seconds in zip(spec["cells"], per_cell):
            print(f"  {seconds:7.3f} s  {code[:60]!r}")
    (a, b, c), (x, y, z) = (medians[spec["kernel"]] for spec in specs[:2])
    # Only cells that both ran can be compared; the first cell of a session is told apart.
    shared = [code for code in specs[0]["cells"] if code in specs[1]["cells"]][1:]
    alike = [statistics.median(seconds_of[spec["kernel"]][code] for code in shared) for spec in specs[:2]]
    print(f"second against first: ready {x - a:+.2f} s (goal at most +2), first let {y - b:+.2f} s (at most +0.5), "
          f"median of the {len(shared)} cells that both ran x {alike[1] / alike[0]:.2f} (goal at most x 0.85)")
    print(f"median over each kernel's own, different cells: x {z / c:.2f}")


if __name__ == "__main__":
    main()
