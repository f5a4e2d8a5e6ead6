"""How fast portgeo is on this machine, beside general libraries doing the same in the same run.

    python scripts/benchmark.py
    python scripts/benchmark.py --triangles 50000 250000
    python scripts/benchmark.py --triangles 50000 250000 1000000 4000000 --write

Slicing, measuring, comparing and air speed, each at the sizes named; every task in a process of its own,
whose greatest memory is its own too. Times are the processor's: other work on the machine moves them less.
Read the ratios and the exponents of growth, and the load that is printed with them.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

if TYPE_CHECKING:
    from portgeo.core.section import Reading

ROOT = Path(__file__).resolve().parent.parent
WORD_BITS = 8 * struct.calcsize("P")
REPORT = ROOT / "docs" / "benchmark.md"
SIZES = (50_000, 250_000, 1_000_000)
UNKNOWNS = (30_000, 100_000, 300_000)  # of the wall-speed solution
MOST_DIRECT = 150_000  # unknowns: beyond, the direct solver takes ten minutes and ten gigabytes
SLICES = 200
STATIONS = 200  # rows asked of measure
POINTS = 500_000  # distances asked at most: all of a large scan's would take the general library ten minutes
AGREE = 1e-9  # of an area or a distance: both look at the same triangles, so more is a fault
NOISE_MM = 0.03  # of the scan's points, as a hand-held scanner's
GIRTH_MM = 140.0  # of the invented port below, about
CUT_AT, CUT_LONG, CUT_MM = 45.0, 15.0, 1.5  # the floor that the second scan of a comparison lacks
PACKAGES = ("numpy", "scipy", "shapely", "trimesh", "libigl", "manifold3d", "scikit-fem", "pyamg")
Figures = dict[str, float]

# An invented port: (station, height, width, corner, degrees turned), millimetres.
READINGS = (
    (0.0, 50.0, 29.0, 6.0, 0.0),
    (30.0, 48.0, 29.0, 7.0, 0.0),
    (60.0, 44.0, 31.0, 10.0, 25.0),
    (85.0, 39.0, 36.0, 15.0, 65.0),
    (100.0, 37.0, 37.0, 18.4, 75.0),
    (115.0, 37.0, 37.0, 18.4, 75.0),
)


def readings() -> list[Reading]:
    """Return the invented port's readings."""
    from portgeo.core.section import Reading

    return [
        Reading(k + 2, s, height=h, width=w, corner_roof=c, corner_floor=c, turn=np.radians(t))
        for k, (s, h, w, c, t) in enumerate(READINGS)
    ]


def tube(triangles: int, noise: float = 0.0, seed: int = 0, drop: float = 0.0) -> tuple[np.ndarray, ...]:
    """Return an invented port's mesh with about so many triangles, and the planes' origins and frames.

    noise : of its wall's points, off the wall. drop : how deep its floor is cut, over a patch. vertices (n, 3),
    faces (m, 3), origins (SLICES, 3), frames (SLICES, 3, 3).
    """
    from portgeo.core.centreline import at
    from portgeo.core.plane import resample
    from portgeo.core.skin import skin
    from portgeo.core.surface import outlines_at, surface_from_readings

    surface = surface_from_readings(readings())
    first, last = READINGS[0][0], READINGS[-1][0]
    # Squares of the wall, each parted into two triangles.
    around = int(np.sqrt(triangles / 2.0 * GIRTH_MM / (last - first)))
    along = triangles // (2 * around)
    stations = np.linspace(first, last, along + 1)
    outlines = np.array([resample(outline, around) for outline in outlines_at(surface, stations)])
    out = outlines / np.linalg.norm(outlines, axis=2, keepdims=True)
    outlines += noise * np.random.default_rng(seed).standard_normal(out.shape[:2])[:, :, None] * out
    cut = drop * np.exp(-(((stations - CUT_AT) / CUT_LONG) ** 2))[:, None] * np.maximum(-out[:, :, 1], 0.0) ** 4
    outlines += cut[:, :, None] * out
    points, frames = at(surface.centreline, stations)
    vertices, faces = skin(points[:, None] + np.einsum("kmi,kij->kmj", outlines, frames[:, 1:]), frames)
    margin = 0.01 * (last - first)
    origins, frames = at(surface.centreline, np.linspace(first + margin, last - margin, SLICES))
    return vertices, faces, origins, frames


def scan(triangles: int, path: Path, *, seed: int = 0, drop: float = 0.0) -> None:
    """Write an invented port as a scanner would give it: noisy, turned, in millimetres, a binary STL."""
    from scipy.spatial.transform import Rotation

    from portgeo.files.meshes.mesh import write_mesh

    vertices, faces, _, _ = tube(triangles, NOISE_MM, seed, drop)
    turn = Rotation.from_euler("zyx", [25.0 + 30.0 * seed, 40.0, -70.0], degrees=True).as_matrix()
    write_mesh(path, vertices @ turn.T + np.array([300.0, -20.0, 55.0]), faces, force=True)


def slicing(triangles: int, folder: Path) -> Figures:
    """Planes through one tube: one pass with the tube's loop picked out, against one call a plane of trimesh."""
    import trimesh

    from portgeo.core.plane import moments
    from portgeo.core.slicing import slice_mesh, tube_sections

    vertices, faces, origins, frames = tube(triangles)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    start = time.process_time()
    sections = tube_sections(slice_mesh(vertices, faces, origins, frames[:, 0]), origins, frames)
    own = time.process_time() - start
    start = time.process_time()
    cuts = [mesh.section(plane_origin=o, plane_normal=f[0]) for o, f in zip(origins, frames, strict=True)]
    other = time.process_time() - start
    worst = 0.0
    for section, cut, origin, frame in zip(sections, cuts, origins, frames, strict=True):
        area = moments(section.outline).area
        loops = [abs(moments((loop[:-1] - origin) @ frame[1:].T).area) for loop in cut.discrete]
        worst = max(worst, min(abs(area - loop) for loop in loops) / area)
    _agree(worst)
    return {"triangles": len(faces), "own": own, "other": other, "differ": worst}


def reading(triangles: int, folder: Path) -> Figures:
    """Read and weld a binary STL whose triangles lie in no order: ours against trimesh's."""
    import trimesh

    from portgeo.files.meshes.mesh import read_mesh, write_mesh

    vertices, faces, _, _ = tube(triangles)
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "tube.stl"
        write_mesh(path, vertices, np.random.default_rng(0).permutation(faces))
        start = time.process_time()
        own = read_mesh(path)
        ours = time.process_time() - start
        start = time.process_time()
        theirs = trimesh.load(path)
        other = time.process_time() - start
    _agree(abs(len(own.vertices) - len(theirs.vertices)))
    return {"triangles": len(faces), "own": ours, "other": other, "differ": 0.0}


def command(argv: Sequence[str]) -> Figures:
    """A whole command, from its file to its answer, the interpreter and the imports among it."""
    from portgeo.app.cli import main as run

    if run([*argv, "-q"]) != 0:
        raise SystemExit(1)
    return {}


def measuring(triangles: int, folder: Path) -> Figures:
    """Measure a scan."""
    return command(["measure", str(folder / "before.stl"), "--units-in", "mm", "--stations", str(STATIONS)])


def comparing(triangles: int, folder: Path) -> Figures:
    """Compare two scans."""
    return command(["compare", str(folder / "before.stl"), str(folder / "after.stl"), "--units-in", "mm"])


def airing(triangles: int, folder: Path) -> Figures:
    """Air speed through a scan."""
    return command(["airspeed", str(folder / "before.stl"), "--units-in", "mm", "--cfm", "200"])


def loading(triangles: int, folder: Path) -> Figures:
    """Only load the scan with trimesh: what any tool must do first."""
    import trimesh

    trimesh.load(folder / "before.stl")
    return {}


def distances(triangles: int, folder: Path) -> Figures:
    """Closest points of a wall, on all cores: ours with libigl behind it against trimesh, tree and search apart."""
    import trimesh

    from portgeo.comparing.distance import closest, wall_from

    vertices, faces, _, _ = tube(triangles, NOISE_MM)
    other_vertices, other_faces, _, _ = tube(triangles, NOISE_MM, 1, CUT_MM)
    points = other_vertices[other_faces[:POINTS]].mean(axis=1)
    start = time.perf_counter()
    wall = wall_from(vertices, faces)
    built = time.perf_counter()
    foot, _ = closest(wall, points)
    ours = {"own_tree": built - start, "own": time.perf_counter() - built}
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    start = time.perf_counter()
    trimesh.proximity.closest_point(mesh, points[:1])  # which builds its tree and keeps it
    built = time.perf_counter()
    _, theirs, _ = trimesh.proximity.closest_point(mesh, points)
    other = {"other_tree": built - start, "other": time.perf_counter() - built}
    own = np.linalg.norm(points - foot, axis=1)
    worst = float(np.abs(own - theirs).max())
    # trimesh may settle for the second nearest of two triangles whose squares differ by less than its merging length.
    _agree(float((own - theirs).max()))
    return {"triangles": len(faces), "points": len(points), "differ": worst} | ours | other


def solving(unknowns: int, folder: Path) -> Figures:
    """The wall-speed solution, grid to potential: against scikit-fem's own assembly and scipy's direct solver."""
    from scipy.sparse.linalg import spsolve
    from skfem import Basis, ElementHex1, MeshHex, condense
    from skfem.models.poisson import laplace

    from portgeo.core.port import port_from_readings
    from portgeo.flow.grid import hexahedra, sweep
    from portgeo.flow.path import path_of, sections_along
    from portgeo.flow.potential import QUADRATURE, REFERENCE_ORDER, solve
    from portgeo.flow.wall import size_for, sizing_of

    path = path_of(port_from_readings(readings()))
    size = size_for(sizing_of(path), unknowns)
    grid = sweep(sections_along(path, size.rings), size.pattern)
    start = time.process_time()
    own = solve(grid)
    ours = time.process_time() - start
    inner = own.values[1:-1].size
    if inner > MOST_DIRECT:
        return {"unknowns": inner, "own": ours, "other": float("nan"), "differ": float("nan")}
    start = time.process_time()
    corners = hexahedra(len(grid.nodes), grid.pattern)[:, REFERENCE_ORDER].T
    mesh = MeshHex(np.ascontiguousarray(grid.nodes.reshape(-1, 3).T), np.ascontiguousarray(corners))
    basis = Basis(mesh, ElementHex1(), intorder=QUADRATURE)
    known = np.zeros(grid.nodes.shape[:2])
    known[-1] = 1.0
    held = np.flatnonzero(np.isin(np.arange(known.size) // known.shape[1], (0, len(known) - 1)))
    matrix, load, x, free = condense(laplace.assemble(basis), x=known.ravel(), D=held)
    x[free] = spsolve(matrix, load)
    other = time.process_time() - start
    scaled = own.values / own.values[-1].mean()
    worst = float(np.abs(scaled.ravel() - x).max())
    _agree(worst, 1e-7)
    return {"unknowns": len(free), "own": ours, "other": other, "differ": worst}


def _agree(differ: float, limit: float = AGREE) -> None:
    if differ > limit:
        raise SystemExit(f"the two differ by {differ:.1e}: a fault in one of them")


TASKS: dict[str, Callable[[int, Path], Figures]] = {
    task.__name__: task for task in (slicing, reading, measuring, comparing, airing, loading, distances, solving)
}


def in_own_process(task: str, size: int, folder: Path) -> Figures:
    """Return a task's figures, its seconds and its greatest memory (MB, nan where the system does not tell)."""
    done = subprocess.run(
        [sys.executable, __file__, "--task", task, str(size), str(folder)],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


def run_task(task: str, size: int, folder: str) -> None:
    """Run one task in this process and print its figures."""
    start = time.perf_counter()
    figures = TASKS[task](size, Path(folder))
    peak = peak_memory()
    print(json.dumps({"wall": time.perf_counter() - start, "busy": time.process_time(), "peak": peak} | figures))


def peak_memory() -> float:
    """Return the greatest memory this process held, MB; nan where the system does not tell."""
    try:
        import resource
    except ImportError:
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)  # bytes there, kilobytes elsewhere


def growth(sizes: Sequence[float], seconds: Sequence[float]) -> str:
    """Return the exponent that seconds grow with between the largest two sizes."""
    if len(sizes) < 2:
        return ""
    power = np.log(seconds[-1] / seconds[-2]) / np.log(sizes[-1] / sizes[-2])
    return f"Between the largest two sizes our time grows as their power {power:.2f}."


def head_to_head(task: str, what: str, sizes: Sequence[int]) -> list[str]:
    """Return the table of a task that does both, ours and a general library's."""
    unit = "unknowns" if task == "solving" else "triangles"
    lines = [
        f"| {unit} | portgeo, s | {what}, s | times faster | differ by | peak of both, MB |",
        "|---:|---:|---:|---:|---:|---:|",
    ]
    found = [in_own_process(task, size, Path()) for size in sizes]
    for f in found:
        beside = f"{f['other']:.2f} | {f['other'] / f['own']:.1f} | {f['differ']:.0e}"
        lines.append(f"| {f[unit]:,} | {f['own']:.2f} | {beside.replace('nan', '–')} | {f['peak']:,.0f} |")
    return [*lines, "", growth([f[unit] for f in found], [f["own"] for f in found])]


def trees_and_searches(sizes: Sequence[int]) -> list[str]:
    """Return the table of distances, tree and search apart."""
    lines = [
        "| triangles | points | our tree, s | search, s | trimesh's tree, s | search, s | search, times faster "
        "| with the trees | differ by | peak of both, MB |",
        "|" + "---:|" * 10,
    ]
    found = [in_own_process("distances", size, Path()) for size in sizes]
    for f in found:
        whole = (f["other_tree"] + f["other"]) / (f["own_tree"] + f["own"])
        lines.append(
            f"| {f['triangles']:,} | {f['points']:,} | {f['own_tree']:.2f} | {f['own']:.2f} | {f['other_tree']:.2f} "
            f"| {f['other']:.2f} | {f['other'] / f['own']:.1f} | {whole:.1f} | {f['differ']:.0e} | {f['peak']:,.0f} |"
        )
    return lines


def whole_commands(sizes: Sequence[int]) -> list[str]:
    """Return the table of whole commands on scans, beside only loading one scan with trimesh."""
    tasks = (loading, measuring, comparing, airing)
    lines = [
        "| triangles | trimesh.load, s | measure, s | ratio | compare, s | ratio | airspeed, s | ratio "
        "| peak of load, MB | measure | compare | airspeed |",
        "|" + "---:|" * 12,
    ]
    seconds: dict[str, list[float]] = {task.__name__: [] for task in tasks}
    counts = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for size in sizes:
            scan(size, folder / "before.stl")
            scan(int(0.96 * size), folder / "after.stl", seed=1, drop=CUT_MM)
            counts.append(((folder / "before.stl").stat().st_size - 84) // 50)
            found = [in_own_process(task.__name__, size, folder) for task in tasks]
            for task, f in zip(tasks, found, strict=True):
                seconds[task.__name__].append(f["busy"])
            base, *ours = found
            cells = [f"{counts[-1]:,}", f"{base['busy']:.1f}"]
            for f in ours:
                cells += [f"{f['busy']:.1f}", f"{f['busy'] / base['busy']:.1f}"]
            cells += [f"{f['peak']:,.0f}" for f in found]
            lines.append("| " + " | ".join(cells) + " |")
            print(lines[-1], flush=True)
    lines.append("")
    for task, said in ((measuring, "measure"), (comparing, "compare"), (airing, "airspeed")):
        if len(counts) > 1:
            lines.append(f"- {said}: " + growth(counts, seconds[task.__name__]).lower())
    return lines


def machine() -> list[str]:
    """Return lines that tell the machine and the versions: no maker, no name and no path."""
    lines = [
        f"- {os.cpu_count()} cores, {WORD_BITS} bits; {platform.system()}",
        f"- Python {platform.python_version()}; " + ", ".join(f"{name} {version(name)}" for name in PACKAGES),
    ]
    if hasattr(os, "getloadavg"):
        load = os.getloadavg()
        lines.append(f"- load while this ran: {load[0]:.1f} over the last minute, {load[2]:.1f} over the last fifteen")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--triangles", type=int, nargs="+", default=list(SIZES), metavar="N", help="sizes of the meshes"
    )
    parser.add_argument("--unknowns", type=int, nargs="+", default=list(UNKNOWNS), metavar="N")
    parser.add_argument("--write", action="store_true", help="write docs/benchmark.md")
    parser.add_argument("--task", nargs=3, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.task:
        run_task(args.task[0], int(args.task[1]), args.task[2])
        return
    lines = [
        "# Benchmark",
        "",
        "Made by `python scripts/benchmark.py --write`. Seconds are the processor's where nothing else is said.",
    ]
    for heading, text, table in (
        (
            "Slicing",
            f"{SLICES} planes through one tube: one pass with the tube's loop picked out, against one "
            "`trimesh.Trimesh.section` a plane on the same mesh. Differ: relative, of an area.",
            lambda: head_to_head("slicing", "trimesh", args.triangles),
        ),
        (
            "Reading",
            "A binary STL whose triangles lie in no order, points that are equal made one, against `trimesh.load`.",
            lambda: head_to_head("reading", "trimesh", args.triangles),
        ),
        (
            "Distances",
            f"Points off a wall (as many as its triangles, {POINTS:,} at most) against "
            "`trimesh.proximity.closest_point`. Seconds are the clock's here, since the search runs on all cores. A "
            "comparison builds one tree and searches it some 25 times. Differ: mm.",
            lambda: trees_and_searches(args.triangles),
        ),
        (
            "Wall-speed solution",
            "Laplace's equation on a port's own grid, assembly and solution, against scikit-fem's `laplace` and "
            "scipy's direct solver on the same grid. Differ: of a potential from 0 to 1.",
            lambda: head_to_head("solving", "scikit-fem and scipy", args.unknowns),
        ),
        (
            "Whole commands",
            f"A noisy binary STL, file to answer, imports among it: `measure --stations {STATIONS}`, `compare` with "
            "a second scan of another mesh, pose and floor, and `airspeed`; each beside a process that only loads "
            "the one scan with trimesh.",
            lambda: whole_commands(args.triangles),
        ),
    ):
        made = ["", f"## {heading}", "", text, "", *table()]
        print("\n".join(made), flush=True)
        lines += made
    lines += ["", "## Machine", "", *machine()]
    if args.write:
        REPORT.parent.mkdir(exist_ok=True)
        REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
        print("written: docs/benchmark.md")


if __name__ == "__main__":
    main()
