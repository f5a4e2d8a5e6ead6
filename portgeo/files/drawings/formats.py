"""Lines of a drawing: DXF through ezdxf, SVG through svgelements.

A file's bytes come in; chains of points in the drawing's own axes, and its scale to millimetres, go
out. Curves are drawn with chords within CHORD_MM.
"""

from __future__ import annotations

import io
import itertools
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.errors import GeometryError, InputError
from portgeo.core.plane import CHORD_MM, FloatArray, arc_points
from portgeo.core.units import MM_PER, MM_PER_INCH

ENTITIES = 100_000  # lines and curves in a drawing
SPAN_MM = 100_000.0  # coordinates and radii past 100 m are no port's, and would take points without end
FLAT_MM = 0.05  # a drawing may be so far from flat
SVG_USES = 8  # references in an SVG: a tracing has none, and nested ones multiply
MM_PER_PIXEL = MM_PER_INCH / 96.0  # CSS: a user unit without a physical size is 1/96 in
CURVE_POINTS = 100_000  # of one curve


@dataclass(frozen=True)
class Drawing:
    """Chains of points (n, 2), in the drawing's axes but in millimeters; scale: mm per unit of it."""

    chains: tuple[FloatArray, ...]
    scale: float


def read_svg(data: bytes, file: str) -> Drawing:
    """Return the paths and shapes of an SVG; y is down, as SVG has it.

    Its width, height and viewBox give the size; without them a unit is 1/96 in (CSS Values 3,
    section 5.2). Raises InputError where it cannot be read.
    """
    import svgelements

    if re.search(rb"<!ENTITY[^>]*(SYSTEM|PUBLIC|&)", data):
        raise InputError("the drawing refers to other files or to itself", file=file, hint="Save it as a plain SVG")
    if len(re.findall(rb"<(?:\w+:)?use[\s/>]", data)) > SVG_USES:
        raise InputError("the drawing is made of references", file=file, hint="Convert its clones to paths and save")
    try:
        svg = svgelements.SVG.parse(io.BytesIO(data), reify=True)
        sizes = [str(svg.values.get(side) or "") for side in ("width", "height")]
        shapes = [svgelements.Path(e).reify() for e in svg.elements() if isinstance(e, svgelements.Shape)]
    except Exception as error:  # the library raises whatever its parser met
        raise InputError("the SVG cannot be read", file=file, hint="Save it again as a plain SVG") from error
    if any("%" in size and size.strip() != "100%" for size in sizes):
        raise InputError(
            f"the drawing's size is {' by '.join(sizes)}, which is not a length",
            file=file,
            hint='Give the svg element a width and height such as width="100mm"',
        )
    try:
        chains = [chain for path in shapes for chain in _svg_chains(path, file)]
    except (ValueError, ArithmeticError, TypeError, AttributeError, LookupError) as error:
        raise InputError("a path of the SVG cannot be read", file=file, hint="Save it as a plain SVG") from error
    return Drawing(_checked(chains, file), MM_PER_PIXEL)


def _svg_chains(path: Iterable[Any], file: str) -> Iterator[FloatArray]:
    """Return the subpaths of one path, in millimeters."""
    import svgelements

    points: list[FloatArray] = []
    for segment in path:
        if isinstance(segment, svgelements.Move):
            if points:
                yield np.vstack(points)
            points = [_svg_points([segment.end])]
        elif isinstance(segment, svgelements.Close):
            if points:
                yield np.vstack([*points, points[0][:1]])
                points = [points[0][:1]]
        elif isinstance(segment, svgelements.Arc):
            radius = max(abs(segment.rx), abs(segment.ry)) * MM_PER_PIXEL
            count = _count(math.sqrt(radius / CHORD_MM / 8.0) * abs(float(segment.sweep)), file)
            points.append(_svg_points([segment.point(t) for t in np.linspace(0.0, 1.0, count + 1)[1:]]))
        else:
            points.append(_bezier(segment, file))
    if points:
        yield np.vstack(points)


def _svg_points(points: Iterable[Any]) -> FloatArray:
    return np.array([[p.x, p.y] for p in points], dtype=float).reshape(-1, 2) * MM_PER_PIXEL


def _bezier(segment: Any, file: str) -> FloatArray:
    """Return points (n, 2) after the start of a line or a Bezier curve of degree 2 or 3.

    Enough of them by Wang's bound on the chord error, d (d - 1) / 8 times the largest second
    difference of the control points over n^2 (G.-Z. Wang, J. Zhejiang University 18, 1984; from
    memory; the tests check the error itself).
    """
    names = ("start", "control", "control1", "control2", "end")
    control = _svg_points([p for p in (getattr(segment, name, None) for name in names) if p is not None])
    degree = len(control) - 1
    if degree < 2:
        return control[-1:]
    bend = float(np.linalg.norm(np.diff(control, 2, axis=0), axis=1).max())
    count = _count(math.sqrt(degree * (degree - 1) / 8.0 * bend / CHORD_MM), file)
    t = np.linspace(0.0, 1.0, count + 1)[1:, None]
    return sum(math.comb(degree, k) * t**k * (1 - t) ** (degree - k) * control[k] for k in range(degree + 1))


def _count(needed: float, file: str) -> int:
    if not needed < CURVE_POINTS:
        raise _too_large(file)
    return max(math.ceil(needed), 1)


def read_dxf(data: bytes, file: str, unit: str) -> Drawing:
    """Return the lines and curves in a DXF's model space, y up.

    unit : what a drawing unit is where $INSUNITS does not say. Raises InputError where it cannot be
    read, GeometryError where it is not flat.
    """
    try:
        document = _dxf_document(data)
        # ezdxf takes metres for a file that does not say.
        declared = int(document.header.get("$INSUNITS", 0)) if b"$INSUNITS" in data else 0
        scale = _mm_per(declared) if declared else MM_PER[unit]
        entities = list(itertools.islice(_dxf_entities(document.modelspace()), ENTITIES + 1))
        if len(entities) > ENTITIES:
            raise _too_large(file)
        chains = [chain for chain in (_dxf_chain(entity, scale, file) for entity in entities) if chain is not None]
    except (InputError, GeometryError):
        raise
    except Exception as error:  # the library raises whatever its parser met
        raise InputError(
            "the DXF cannot be read: it is damaged or not a DXF",
            file=file,
            hint="Save it again from the drawing program, as an ASCII DXF of 2000 or later",
        ) from error
    height = np.concatenate([chain[:, 2] for chain in chains]) if chains else np.zeros(1)
    if np.ptp(height) > FLAT_MM:
        raise GeometryError(
            "the drawing is not flat in its x-y plane", file=file, hint="Draw the outline in the x-y plane"
        )
    return Drawing(_checked([chain[:, :2] for chain in chains], file), scale)


def _mm_per(declared: int) -> float:
    """Return what the unit that $INSUNITS numbers is in millimeters."""
    from ezdxf.units import InsertUnits, conversion_factor

    return float(conversion_factor(InsertUnits(declared), InsertUnits.Millimeters))


def _dxf_document(data: bytes) -> Any:
    """Return the parsed drawing; a flawed one is mended as far as the library can."""
    import logging

    import ezdxf
    from ezdxf import recover
    from ezdxf.lldxf.tagger import binary_tags_loader

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # its remarks are no part of our output
    if data.startswith(b"AutoCAD Binary DXF\r\n\x1a\x00"):
        return ezdxf.document.Drawing.load(binary_tags_loader(data))
    return recover.read(io.BytesIO(data))[0]


def _dxf_entities(space: Any) -> Iterator[Any]:
    """Return entities, with blocks taken apart."""
    from ezdxf.disassemble import recursive_decompose

    for entity in space:
        if entity.dxftype() == "INSERT":
            yield from recursive_decompose([entity])
        else:
            yield entity


def _dxf_chain(entity: Any, scale: float, file: str) -> FloatArray | None:
    """Return one entity's points (n, 3) in millimeters; None for what draws no line (text, points)."""
    kind, dxf = entity.dxftype(), entity.dxf
    if kind == "LINE":
        return _rows([dxf.start, dxf.end]) * scale
    if kind in ("CIRCLE", "ARC"):
        start, end = (dxf.start_angle, dxf.end_angle) if kind == "ARC" else (0.0, 360.0)
        sweep = math.radians((end - start) % 360.0 or 360.0)
        centre = np.array([dxf.center.x, dxf.center.y])
        points = _arc(centre * scale, dxf.radius * scale, math.radians(start), sweep, file)
        if kind == "CIRCLE":
            points[-1] = points[0]
        return _to_world(entity, points, dxf.center.z * scale)
    if kind in ("ELLIPSE", "SPLINE"):
        reach = _rows([dxf.center, dxf.major_axis] if kind == "ELLIPSE" else entity.control_points or entity.fit_points)
        if not np.abs(reach * scale).max() < SPAN_MM:
            raise _too_large(file)
        # Half the chord error, for the library looks at the middle of each chord only.
        points = _rows(entity.flattening(CHORD_MM / 2.0 / scale, 16)) * scale
        closed = bool(entity.closed) if kind == "SPLINE" else abs(dxf.end_param - dxf.start_param) >= math.tau - 1e-9
        return np.vstack([points, points[:1]]) if closed else points
    if kind == "LWPOLYLINE":
        return _bulged(
            entity, np.array(entity.get_points("xyb"), float), bool(entity.closed), dxf.elevation, scale, file
        )
    if kind == "POLYLINE" and entity.is_2d_polyline:
        drawn = [v for v in entity.vertices if not v.dxf.flags & 16]  # 16: a control point of a fitted curve
        corners = np.array([[v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)] for v in drawn])
        return _bulged(entity, corners, bool(entity.is_closed), dxf.elevation.z, scale, file)
    if kind == "POLYLINE" and entity.is_3d_polyline:
        points = _rows(entity.points()) * scale
        return np.vstack([points, points[:1]]) if entity.is_closed else points
    return None


def _rows(points: Iterable[Any]) -> FloatArray:
    return np.array([(p[0], p[1], p[2] if len(p) > 2 else 0.0) for p in points], dtype=float).reshape(-1, 3)


def _arc(centre: FloatArray, radius: float, start: float, sweep: float, file: str) -> FloatArray:
    if not (0.0 <= radius < SPAN_MM and np.abs(centre).max() < SPAN_MM):
        raise _too_large(file)
    return arc_points(centre, radius, start, sweep)


def _to_world(entity: Any, points: FloatArray, elevation: float) -> FloatArray:
    """Return plane points (n, 2) of an entity's own system as (n, 3) of the drawing."""
    return _rows(entity.ocs().points_to_wcs([(x, y, elevation) for x, y in points]))


def _bulged(
    entity: Any, corners: FloatArray, closed: bool, elevation: float, scale: float, file: str
) -> FloatArray | None:
    """Return a polyline with corners (n, 3) of x, y, bulge.

    A bulge is the tangent of a quarter of its arc's angle, positive to the left of the way (DXF
    reference, LWPOLYLINE, group 42).
    """
    if len(corners) < 2:
        return None
    points, bulges = corners[:, :2] * scale, corners[:, 2]
    if closed:
        points, bulges = np.vstack([points, points[:1]]), np.append(bulges, 0.0)
    parts = [points[:1]]
    for start, end, bulge in zip(points[:-1], points[1:], bulges[:-1], strict=True):
        chord = end - start
        length = float(np.hypot(*chord))
        if abs(bulge) * length / 2.0 > CHORD_MM / 4.0:  # bulge times half the chord is the arc's rise
            across = np.array([-chord[1], chord[0]])
            centre = (start + end) / 2.0 + across * (1.0 - bulge**2) / (4.0 * bulge)
            arm = start - centre
            arc = _arc(centre, float(np.hypot(*arm)), math.atan2(arm[1], arm[0]), 4.0 * math.atan(bulge), file)
            parts.append(arc[1:-1])
        parts.append(end[None, :])
    return _to_world(entity, np.vstack(parts), elevation * scale)


def _checked(chains: Iterable[FloatArray], file: str) -> tuple[FloatArray, ...]:
    """Return chains that have a length; refuse coordinates that are no numbers or past all measure."""
    kept = []
    for chain in chains:
        if not (np.abs(chain) < SPAN_MM).all():
            raise _too_large(file)
        if len(chain) > 1 and np.ptp(chain, axis=0).max() > 0.0:
            kept.append(chain)
    return tuple(kept)


def _too_large(file: str) -> InputError:
    return InputError(
        "the drawing has more lines, or larger ones, than any port's outline",
        file=file,
        hint="Leave only the outline in it, and check its unit",
    )
