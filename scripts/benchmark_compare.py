"""How fast two scans are compared, and how much faster distances are than trimesh's, on this machine.

An invented port is meshed twice with about half a million triangles each, given noise, and one is cut;
the times of the steps are printed. Run: python scripts/benchmark_compare.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from compare.shapes import heavy_floor, invented_readings, meshed, noisy, posed, pushed

from portgeo.compare.comparison import compare_ports
from portgeo.compare.distance import signed_distance, wall_from

TRIANGLES = 500_000
NOISE_MM = 0.03
POINTS = 20_000  # distances timed: trimesh takes minutes for all of them


def main() -> None:
    edge = np.sqrt(2.0 * 17_000.0 / TRIANGLES)  # of the wall, mm2, shared out in right-angled halves of squares
    before = noisy(meshed(invented_readings(), edge), NOISE_MM, 1)
    after = noisy(posed(pushed(meshed(invented_readings(), 0.98 * edge, 0.4), heavy_floor), 5)[0], NOISE_MM, 2)
    print(f"triangles: {len(before.faces)} and {len(after.faces)}")

    wall_time, cpu_time = time.perf_counter(), time.process_time()
    found = compare_ports(before, after)
    print(
        f"comparison of two ports: {time.perf_counter() - wall_time:.1f} s "
        f"({time.process_time() - cpu_time:.1f} s of processor time), removed {found.removed / 1000.0:.2f} cc"
    )

    points = np.ascontiguousarray(found.vertices[:: len(found.vertices) // POINTS][:POINTS])
    start = time.perf_counter()
    wall = wall_from(before.vertices, before.faces, before.noise)
    ready = time.perf_counter() - start
    start = time.perf_counter()
    own = signed_distance(wall, points)
    own_time = time.perf_counter() - start
    mesh = trimesh.Trimesh(before.vertices, before.faces, process=False)
    start = time.perf_counter()
    _, theirs, _ = trimesh.proximity.closest_point(mesh, points)
    their_time = time.perf_counter() - start
    print(
        f"{len(points)} distances: {own_time:.3f} s (and {ready:.2f} s once to prepare), trimesh {their_time:.1f} s, "
        f"{their_time / (own_time + ready):.0f} times with the preparation, {their_time / own_time:.0f} times without; "
        f"greatest difference {np.abs(np.abs(own) - theirs).max():.1e} mm"
    )


if __name__ == "__main__":
    main()
