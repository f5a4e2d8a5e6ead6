"""Traced outlines: DXF, SVG, or a CSV of two columns.

A drawing of a section as one sees it looking into the entry (12 o'clock up, 3 o'clock to the right)
comes in; the one closed outline in it, in millimetres, left and up positive, goes out.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import shapely

from portgeo.core.errors import GeometryError, InputError, Problems, naming, placing
from portgeo.core.plane import FloatArray, moments
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.drawings.formats import Drawing, read_dxf, read_svg
from portgeo.files.sheets.columns import plain_name
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.tables import Source, read_table

FILE_LIMIT = 50_000_000  # bytes
FILES_KEPT = 32  # of a sheet being typed: its drawings, read once
TRACE_POINTS = 200_000  # of a CSV
JOIN_MM = 0.01  # ends of lines this close are one point
CLOSE_MM = 0.05  # a drawn outline may be open by so much
CLOSE_SHARE = 0.05  # a trace by hand may be open by this share of its length
REPEAT_MM = 1e-6  # points this close are one
FLAT_SHARE = 1e-9  # of its size squared: an area below is a line's
SIZES_MM = (1.0, 1000.0)  # no port's section is outside: the unit must be wrong
NOT_CLOSED = "the outline is not closed"
KINDS = (".dxf", ".svg", ".csv", ".txt")


def read_outline(path: str | Path, unit: LengthUnit) -> FloatArray:
    """Return the traced outline (n, 2) in a file, in millimetres, left and up, counterclockwise.

    The drawing shows the section as seen looking into the entry: its x is to the right wall, so
    left is -x; up is y in DXF and CSV and -y in SVG, whose y is down. unit : what the numbers are in
    where the file does not say. The place of the drawing is kept. Raises InputError where the file
    cannot be read, GeometryError where it does not hold one closed outline that does not cross
    itself.
    """
    return outline_from(read_bounded(path, FILE_LIMIT) if Path(path).suffix.lower() in KINDS else b"", str(path), unit)


def outline_from(source: Source, file: str, unit: LengthUnit) -> FloatArray:
    """Return the traced outline in a file's bytes, of the kind that its name says, or that rows of x and y make.

    Raises InputError and GeometryError as `read_outline` does.
    """
    if not isinstance(source, bytes):
        return _as_seen(_traced(source, file, unit), 1.0)
    return _of_file(source, file, unit)


@lru_cache(maxsize=FILES_KEPT)
def _of_file(source: bytes, file: str, unit: LengthUnit) -> FloatArray:
    suffix = Path(file).suffix.lower()
    if suffix not in KINDS:
        raise InputError(
            f"an outline cannot be read from a {suffix or 'nameless'} file",
            file=file,
            hint="Use DXF, SVG or CSV",
        )
    if suffix not in (".dxf", ".svg"):
        return _as_seen(_traced(source, file, unit), 1.0)
    drawing = read_dxf(source, file, unit) if suffix == ".dxf" else read_svg(source, file)
    return _as_seen(_checked(_closed_loop(drawing, file), drawing.scale, file), -1.0 if suffix == ".svg" else 1.0)


def _traced(source: Source, file: str, unit: LengthUnit) -> FloatArray:
    trace = _read_trace(source, file, unit)
    return _checked(_closed_trace(trace, file), trace.scale, file)


def _as_seen(loop: FloatArray, up: float) -> FloatArray:
    """Return a loop of drawing coordinates as left and up, counterclockwise."""
    outline = loop * np.array([-1.0, up])
    seen = np.ascontiguousarray(outline if moments(outline).area > 0 else outline[::-1])
    seen.flags.writeable = False
    return seen


def _place(point: FloatArray, scale: float) -> str:
    """Return a place in the drawing's own coordinates."""
    x, y = point / scale
    return f"at x {x:.4g}, y {y:.4g} of the drawing"


def _read_trace(source: Source, file: str, unit: LengthUnit) -> Drawing:
    """Return the one chain of a table of two columns, x and y, with or without a header."""
    table = read_table(source, file, rows=TRACE_POINTS)
    rows = list(table.rows)
    order, own_unit = (0, 1), unit
    if rows and any(re.search("[a-zA-Z]", cell) and plain_name(cell)[:1] in "xy" for cell in rows[0][1]):
        order, own_unit = _trace_header(rows.pop(0)[1], file, unit)
    points = np.empty((len(rows), 2))
    problems = Problems(table.problems, ("x", "y"))
    with naming(file):
        for k, (number, cells) in enumerate(rows):
            if any(problem.row == number for problem in table.problems):
                continue
            if len(cells) != 2 or not all(cells):
                what = f"the row has {sum(map(bool, cells))} numbers"
                problems.add(InputError(what, row=number, hint="Write two in each row, x (to the right) and y (up)"))
                continue
            for column, index in enumerate(order):
                with problems.gathering(), placing(row=number, column="xy"[column]):
                    points[k, column] = read_number(cells[index], unit=own_unit, decimal_comma=table.decimal_comma)
        problems.refuse()
        if len(points) < 3:
            hint = "Write at least three, better one each millimeter"
            raise InputError(f"the trace has {len(points)} points", hint=hint)
    scale = MM_PER[own_unit]
    return Drawing((points * scale,), scale)


def _trace_header(header: tuple[str, ...], file: str, unit: LengthUnit) -> tuple[tuple[int, int], LengthUnit]:
    """Return which columns are x and y, and their unit."""
    names = [plain_name(cell) for cell in header]
    for own, suffix in ((unit, ""), ("mm", "_mm"), ("in", "_in")):
        wanted = [f"x{suffix}", f"y{suffix}"]
        if sorted(names) == wanted:
            return (names.index(wanted[0]), names.index(wanted[1])), "in" if own == "in" else "mm"
    raise InputError(
        f"the header {', '.join(header)[:60]!r} does not name two columns x and y in one unit",
        file=file,
        where="row 1",
        hint="Name them x_mm and y_mm, or x_in and y_in",
    )


def _closed_trace(drawing: Drawing, file: str) -> FloatArray:
    """Return a trace whose end meets its start, near enough."""
    points = drawing.chains[0]
    gap = float(np.linalg.norm(points[-1] - points[0]))
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    if gap > CLOSE_SHARE * length:
        raise _not_closed(gap, points[-1], drawing.scale, file)
    return points


def _not_closed(gap: float, point: FloatArray, scale: float, file: str) -> GeometryError:
    return GeometryError(
        f"{NOT_CLOSED}: a gap of {gap / scale:.3f} of its own units {_place(point, scale)}",
        file=file,
        hint="End it with the point that it begins with",
    )


def _closed_loop(drawing: Drawing, file: str) -> FloatArray:
    """Return the one closed loop that a drawing's chains make, end to end."""
    chains = [chain for chain in drawing.chains if np.ptp(chain, axis=0).max() > JOIN_MM]
    if not chains:
        raise InputError("the drawing has no lines", file=file, hint="Draw the outline with lines, arcs or curves")
    ends = np.array([chain[[0, -1]] for chain in chains])  # (chains, 2, xy)
    node = _meeting_points(ends.reshape(-1, 2)).reshape(-1, 2)
    count = int(node.max()) + 1
    degree = np.bincount(node.ravel(), minlength=count)
    crowded = np.flatnonzero(degree > 2)
    if len(crowded):
        where = ends.reshape(-1, 2)[node.ravel() == crowded[0]][0]
        raise GeometryError(
            f"{degree[crowded[0]]} lines meet {_place(where, drawing.scale)}",
            file=file,
            hint="Leave only the outline, drawn once",
        )
    # Chains are edges between meeting points; each connected group is one loop or one open line.
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(chains)), (node[:, 0], node[:, 1])), shape=(count, count))
    groups, group_of_node = connected_components(links, directed=False)
    group = group_of_node[node[:, 0]]
    loops = [_walk(chains, node, np.flatnonzero(group == g)) for g in range(groups)]
    gaps = [float(np.linalg.norm(loop[-1] - loop[0])) for loop in loops]
    if len(loops) > 1:
        closed = sum(gap <= CLOSE_MM for gap in gaps)
        loose = len(loops) - closed
        if not closed:
            worst = int(np.argmax([len(loop) for loop in loops]))
            raise _not_closed(_nearest_end(loops, worst), loops[worst][-1], drawing.scale, file)
        raise GeometryError(
            f"found {closed} closed outlines" + (f" and {loose} open lines" if loose else ""),
            file=file,
            hint="Leave one closed outline in the drawing",
        )
    if gaps[0] > CLOSE_MM:
        raise _not_closed(gaps[0], loops[0][-1], drawing.scale, file)
    return loops[0][:-1]  # its last point is its first, within the gap


def _meeting_points(ends: FloatArray) -> np.ndarray:
    """Return for points (n, 2) a number each, the same where they are within JOIN_MM."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(ends).query_pairs(JOIN_MM, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    return connected_components(links, directed=False)[1]


def _nearest_end(loops: list[FloatArray], k: int) -> float:
    """Return how far the end of open line k is from the nearest other end."""
    others = np.array([loop[0] for loop in loops] + [loop[-1] for j, loop in enumerate(loops) if j != k])
    return float(np.linalg.norm(others - loops[k][-1], axis=1).min())


def _walk(chains: list[FloatArray], node: np.ndarray, group: np.ndarray) -> FloatArray:
    """Return the points of a group of chains in order, begun at an open end where there is one."""
    at: dict[int, list[int]] = {}
    for k in group:
        for end in node[k]:
            at.setdefault(int(end), []).append(int(k))
    loose = [n for n, meeting in at.items() if len(meeting) == 1]
    here = loose[0] if loose else int(node[group[0], 0])
    used: set[int] = set()
    parts: list[FloatArray] = []
    while True:
        ahead = [k for k in at[here] if k not in used]
        if not ahead:
            return np.vstack(parts)
        k = ahead[0]
        used.add(k)
        forward = int(node[k, 0]) == here
        part = chains[k] if forward else chains[k][::-1]
        parts.append(part if not parts else part[1:])
        here = int(node[k, 1] if forward else node[k, 0])


def _checked(loop: FloatArray, scale: float, file: str) -> FloatArray:
    """Return a loop without repeated points; refuse what bounds no area or crosses itself."""
    step = np.linalg.norm(loop - np.roll(loop, 1, axis=0), axis=1)
    loop = loop[step > REPEAT_MM]
    extent = np.ptp(loop, axis=0) if len(loop) else np.zeros(2)
    if len(loop) < 3 or shapely.MultiPoint(loop).convex_hull.area < FLAT_SHARE * extent.max() ** 2:
        raise GeometryError("the outline encloses no area", file=file, hint="Trace the section all the way round")
    if not (SIZES_MM[0] <= extent.max() <= SIZES_MM[1]):
        raise GeometryError(
            f"the outline is {extent[0]:.4g} mm wide and {extent[1]:.4g} mm high, not the size of a port "
            f"(a unit of the drawing is {scale:.6g} mm)",
            file=file,
            hint="Set the drawing's unit and scale",
        )
    polygon = shapely.Polygon(loop)
    if not shapely.is_valid(polygon):
        reason = shapely.is_valid_reason(polygon)
        numbers = re.findall(r"-?[0-9.]+(?:e[-+]?[0-9]+)?", reason.partition("[")[2])
        place = f" {_place(np.array(numbers[:2], dtype=float), scale)}" if len(numbers) >= 2 else ""
        raise GeometryError(f"the outline crosses or touches itself{place}", file=file, hint="Fix the outline there")
    return loop
