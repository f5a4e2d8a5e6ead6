"""How fast portgeo is on this machine, beside a general mesh library doing the same in the same run.

    python scripts/benchmark.py
    python scripts/benchmark.py --slice-triangles 200000 --triangles 50000 250000 --write

Slicing: planes through a tube's mesh in one pass, against one call a plane of the library. Measuring:
the whole `measure` of a scan, file to numbers, against only loading the file with the library; each in a
process of its own, whose greatest memory is its own too. Times move with what else the machine does: read
the ratios, and the load that is printed with them.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
REPORT = ROOT / "docs" / "benchmark.md"
SLICES = 200
STATIONS = 200  # rows asked of measure
SLICE_TRIANGLES = 1_000_000
SIZES, LARGEST = (50_000, 250_000, 1_000_000), 4_000_000
AGREE = 1e-9  # of an area: both cut the same triangles, so more is a fault
NOISE_MM = 0.03  # of the scan's points, as a hand-held scanner's
GIRTH_MM = 140.0  # of the invented port below, about
PACKAGES = ("numpy", "scipy", "shapely", "trimesh", "libigl")

# An invented port: (station, height, width, corner, degrees turned), millimetres.
READINGS = (
    (0.0, 50.0, 29.0, 6.0, 0.0),
    (30.0, 48.0, 29.0, 7.0, 0.0),
    (60.0, 44.0, 31.0, 10.0, 25.0),
    (85.0, 39.0, 36.0, 15.0, 65.0),
    (100.0, 37.0, 37.0, 18.4, 75.0),
    (115.0, 37.0, 37.0, 18.4, 75.0),
)


def tube(triangles: int, noise: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return an invented port's mesh with about so many triangles, and the planes' origins and frames.

    noise : of its wall's points, off the wall. vertices (n, 3), faces (m, 3), origins (SLICES, 3), frames
    (SLICES, 3, 3).
    """
    from portgeo.centreline import at
    from portgeo.loft import outlines_at, skin, surface_from_readings
    from portgeo.plane import resample
    from portgeo.section import Reading

    readings = [
        Reading(
            row=k + 2,
            station=s,
            shape="rect",
            height=h,
            width=w,
            corner_roof=c,
            corner_floor=c,
            turn=np.radians(t),
        )
        for k, (s, h, w, c, t) in enumerate(READINGS)
    ]
    surface = surface_from_readings(readings)
    first, last = READINGS[0][0], READINGS[-1][0]
    # Squares of the wall, each parted into two triangles.
    around = int(np.sqrt(triangles / 2.0 * GIRTH_MM / (last - first)))
    along = triangles // (2 * around)
    stations = np.linspace(first, last, along + 1)
    outlines = np.array([resample(outline, around) for outline in outlines_at(surface, stations)])
    out = outlines / np.linalg.norm(outlines, axis=2, keepdims=True)
    outlines += noise * np.random.default_rng(triangles).standard_normal(out.shape[:2])[:, :, None] * out
    points, frames = at(surface.centreline, stations)
    vertices, faces = skin(points[:, None] + np.einsum("kmi,kij->kmj", outlines, frames[:, 1:]), frames)
    margin = 0.01 * (last - first)
    origins, frames = at(surface.centreline, np.linspace(first + margin, last - margin, SLICES))
    return vertices, faces, origins, frames


def slicing(triangles: int) -> list[str]:
    """Return rows that tell how slicing compares. Raises SystemExit where the areas do not agree."""
    import trimesh

    from portgeo.plane import moments
    from portgeo.slicing import slice_mesh, tube_sections

    vertices, faces, origins, frames = tube(triangles)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    start = time.process_time()
    sections = tube_sections(slice_mesh(vertices, faces, origins, frames[:, 0]), origins, frames)
    own = time.process_time() - start
    start = time.process_time()
    theirs = [mesh.section(plane_origin=o, plane_normal=f[0]) for o, f in zip(origins, frames, strict=True)]
    other = time.process_time() - start
    worst = 0.0
    for section, cut, origin, frame in zip(sections, theirs, origins, frames, strict=True):
        area = moments(section.outline).area
        loops = [abs(moments((loop[:-1] - origin) @ frame[1:].T).area) for loop in cut.discrete]
        worst = max(worst, min(abs(area - loop) for loop in loops) / area)
    if worst > AGREE:
        raise SystemExit(f"the areas differ by {worst:.1e}: a fault in one of the two")
    return [
        f"| {len(faces):,} | {SLICES} | {own:.2f} | {other:.2f} | {other / own:.0f} | {worst:.0e} |",
    ]


def scan(triangles: int, path: Path) -> None:
    """Write an invented port as a scanner would give it: noisy, turned, in millimetres, a binary STL."""
    from scipy.spatial.transform import Rotation

    from portgeo.io.meshes import write_mesh

    vertices, faces, _, _ = tube(triangles, NOISE_MM)
    turn = Rotation.from_euler("zyx", [25.0, 40.0, -70.0], degrees=True).as_matrix()
    write_mesh(path, vertices @ turn.T + np.array([300.0, -20.0, 55.0]), faces, force=True)


def one_run(task: str, path: str) -> None:
    """Run one task in this process, and print its seconds, processor seconds and peak memory in MB."""
    from portgeo.cli import main as run

    for name in ("portgeo.report.bench_text", "portgeo.scan", "portgeo.survey", "trimesh"):
        importlib.import_module(name)
    argv = ["measure", path, "--units-in", "mm", "--stations", str(STATIONS), "-q"]
    start, busy = time.perf_counter(), time.process_time()
    if task == "measure":
        if run(argv) != 0:
            raise SystemExit(1)
    else:
        sys.modules["trimesh"].load(path)
    print(time.perf_counter() - start, time.process_time() - busy, peak_memory() or "nan")


def peak_memory() -> float | None:
    """Return the greatest memory this process held, MB; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)  # bytes there, kilobytes elsewhere


def timed(task: str, path: Path) -> tuple[float, float, float]:
    """Return seconds, processor seconds and peak memory (MB, nan) of a task in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--task", task, str(path)], check=True, stdout=subprocess.PIPE, text=True
    )
    wall, busy, peak = (float(word) for word in done.stdout.split())
    return wall, busy, peak


def memory_text(peak: float) -> str:
    """Return a peak memory for the table."""
    return "not measured" if np.isnan(peak) else f"{peak:,.0f}"


def measuring(sizes: Sequence[int]) -> list[str]:
    """Return rows that tell how long measuring scans of these sizes takes, and how that grows."""
    rows, counts, seconds = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for triangles in sizes:
            path = Path(folder) / "scan.stl"
            scan(triangles, path)
            count = (path.stat().st_size - 84) // 50
            load, load_busy, load_peak = timed("load", path)
            whole, busy, peak = timed("measure", path)
            counts.append(count)
            seconds.append(busy)
            rows.append(
                f"| {count:,} | {whole:.1f} | {busy:.1f} | {load:.2f} | {load_busy:.2f} | {busy / load_busy:.1f} "
                f"| {memory_text(peak)} | {memory_text(load_peak)} |"
            )
            print(rows[-1], flush=True)
    if len(sizes) > 1:
        power = np.polyfit(np.log(counts), np.log(seconds), 1)[0]
        rows += ["", f"Processor time grows as triangles to the power {power:.2f} over these sizes."]
        print(rows[-1])
    return rows


def machine() -> list[str]:
    """Return lines that name the machine and the versions, without its name or any path."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        found = [
            line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        model = found[0] if found else model
    lines = [
        f"- {os.cpu_count()} cores, {model}; {platform.system()}",
        f"- Python {platform.python_version()}; " + ", ".join(f"{name} {version(name)}" for name in PACKAGES),
    ]
    if hasattr(os, "getloadavg"):
        load = os.getloadavg()
        lines.append(f"- load while this ran: {load[0]:.1f} over the last minute, {load[2]:.1f} over the last fifteen")
    return lines


def comparing() -> list[str]:
    """Return what the benchmark of comparing prints, where the package compares."""
    beside = Path(__file__).with_name("benchmark_compare.py")
    if importlib.util.find_spec("portgeo.compare") is None or not beside.exists():
        return []
    done = subprocess.run([sys.executable, str(beside)], check=True, capture_output=True, text=True)
    return [f"- {line}" for line in done.stdout.splitlines()]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--slice-triangles", type=int, default=SLICE_TRIANGLES, metavar="N")
    parser.add_argument("--triangles", type=int, nargs="*", default=list(SIZES), metavar="N", help="sizes of the scans")
    parser.add_argument("--all", action="store_true", help=f"a scan of {LARGEST:,} triangles too")
    parser.add_argument("--no-compare", action="store_true", help="leave comparing out")
    parser.add_argument("--write", action="store_true", help="write docs/benchmark.md")
    parser.add_argument("--task", nargs=2, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.task:
        one_run(*args.task)
        return
    lines = ["# Benchmark", "", "Made by `python scripts/benchmark.py --write`.", ""]
    lines += ["## Slicing", ""]
    lines += [
        f"{SLICES} planes through one tube: portgeo's one pass with the tube's loop picked out, against one",
        "`trimesh.Trimesh.section` a plane on the same mesh in the same run. Seconds of the processor.",
        "",
        "| triangles | planes | portgeo, s | trimesh, s | times faster | greatest difference of areas |",
        "|---:|---:|---:|---:|---:|---:|",
    ]
    lines += slicing(args.slice_triangles)
    lines += [
        "",
        "## Measuring a scan",
        "",
        f"`portgeo measure --stations {STATIONS}` of a noisy binary STL, file to numbers, against `trimesh.load` of",
        "the same file in the same run, each in its own process. Imports count in memory and not in time; the times",
        "compared are the processor's, which other work on the machine moves less.",
        "",
        "| triangles | measure, s | processor, s | load, s | processor, s | ratio | peak, MB | peak of load, MB |",
        "|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    print("\n".join(lines), flush=True)
    lines += measuring([*args.triangles, *([LARGEST] if args.all else [])])
    if not args.no_compare:
        found = comparing()
        lines += ["", "## Comparing two scans", "", *found] if found else []
        print("\n".join(found))
    lines += ["", "## Machine", "", *machine()]
    print("\n".join(lines[-4:]))
    if args.write:
        REPORT.parent.mkdir(exist_ok=True)
        REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
        print("written: docs/benchmark.md")


if __name__ == "__main__":
    main()
