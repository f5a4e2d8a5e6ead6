"""Pictures of a comparison: depth of cut on the port, both area schedules, outlines at a flange.

A Comparison or those of a port's passages, a Balance or a Match comes in; picture files, or colours for a mesh, go out.

Depth is painted with matplotlib's PuOr, one of C. Brewer's diverging maps (ColorBrewer 2.0): its two
arms keep apart for every common kind of colour vision, and grow evenly darker from a near-white
middle that stands for no cut. Purple is metal removed, orange metal added.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from portgeo.comparing.balance import Balance
from portgeo.comparing.comparison import Comparison
from portgeo.comparing.joint import Match, edges_round
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import Display
from portgeo.present.pictures.charts import INK, LINE_STYLES, colours, legend_below, tidy

DEPTH_MAP = "PuOr"
LIP, STEP = "#b2182b", "#4393c3"  # red for what costs flow; told apart by lightness as well
LEAST_SCALE_MM = 0.05  # a port that was not cut is not painted with its noise
ROOF_AND_RIGHT = np.array([0.4, -0.4, 0.8])  # where labels stand clear of the floor
MARKED = np.array([-1.0, -0.5, -0.25, -0.1, 0.0, 0.1, 0.25, 0.5, 1.0])  # shares of the deepest named on the scale
LABELLED = 9  # stations with a label on the picture


def depth_colours(passages: Sequence[Comparison]) -> tuple[FloatArray, IntArray, np.ndarray]:
    """Return AFTER's closed mesh in BEFORE's source coordinates, vertices, faces, and RGBA (n, 4) by depth.

    passages : one, or of a port that splits all of them. The openings, where no depth is measured, are white.
    """
    values = np.concatenate([_at_mesh(each) for each in passages])
    shades = matplotlib.colormaps[DEPTH_MAP](shade(values, depth_scale(passages)) / 2.0 + 0.5)
    rgba = np.round(255.0 * shades).astype(np.uint8)
    rgba[np.isnan(values)] = 255
    vertices = np.concatenate([each.before.to_source(each.vertices) for each in passages])
    return vertices, _faces_of(passages), rgba


def _faces_of(passages: Sequence[Comparison]) -> IntArray:
    """Return the faces (m, 3) of all passages' moved meshes, their vertices one after another."""
    firsts = np.cumsum([0, *(len(each.vertices) for each in passages[:-1])])
    return np.concatenate([each.faces + first for each, first in zip(passages, firsts, strict=True)])


def shade(depth: FloatArray, limit: float) -> FloatArray:
    """Return how dark depths (n,) are painted: 0 for none, 1 for the deepest, -1 for as much added.

    The root of the share: a hundredth of an inch beside a tenth is then still seen.
    """
    share = np.clip(depth / limit, -1.0, 1.0)
    return np.copysign(np.sqrt(np.abs(share)), share)


def depth_scale(passages: Sequence[Comparison]) -> float:
    """Return the depth, mm, at the ends of the scale: the deepest cut, the same on both sides of zero."""
    calm = [float(-each.depth.calm.min(initial=0.0)) for each in passages]
    return max(LEAST_SCALE_MM, *(each.depth.deepest for each in passages), *calm)


def _at_mesh(comparison: Comparison) -> FloatArray:
    """Return the depth (n,) at the moved mesh's vertices, nan where none is measured."""
    values = np.full(len(comparison.vertices), np.nan)
    measured = np.unique(comparison.after_wedges.faces)
    own = measured[measured < len(comparison.vertices)]
    values[own] = comparison.depth.calm[own]
    return values


def depth_picture(
    passages: Sequence[Comparison], display: Display, title: str, path: str, *, force: bool = False
) -> None:
    """Write a picture of the after surface painted by depth of cut. passages : as `depth_colours` takes them.

    Raises OutputError where the machine has no working OpenGL.
    """
    from portgeo.present.pictures.port import render

    first = passages[0].before

    def placed(each: Comparison, points: FloatArray) -> FloatArray:
        return points if each.before is first else first.from_source(each.before.to_source(points))

    rings, labels = [], []
    for each in passages:
        sections = each.rows.after_sections
        shown = np.unique(np.linspace(0, len(sections) - 1, LABELLED // len(passages)).astype(int))
        for k in shown if each.before is first else shown[1:]:  # a leg begins where the trunk ends
            rings.append(placed(each, sections[k].in_space(sections[k].outline)))
            labels.append(display.length(each.rows.stations[k], label=False))
    deepest = max(passages, key=lambda each: each.depth.deepest)
    scene = (
        np.concatenate([placed(each, each.vertices) for each in passages]),
        _faces_of(passages),
        display.of_length(np.concatenate([_at_mesh(each) for each in passages])),
        display.of_length(depth_scale(passages)),
        rings,
        labels,
        placed(deepest, deepest.depth.deepest_at[None])[0],
        display.unit,
        title,
    )
    render(draw_depth, scene, path, force=force)


def draw_depth(
    plotter: Any,
    vertices: FloatArray,
    faces: IntArray,
    values: FloatArray,
    limit: float,
    rings: Sequence[FloatArray],
    labels: Sequence[str],
    deepest_at: FloatArray,
    unit: str,
    title: str,
) -> None:
    """Draw a port painted by depth (n,), from below and the right, where the floor is seen."""
    import pyvista

    from portgeo.present.pictures.port import add_title

    bar = {
        "title": f"depth of cut, {unit} (purple: removed, orange: added)\n",
        "vertical": False,
        "position_x": 0.2,
        "position_y": 0.03,
        "width": 0.6,
        "height": 0.08,
        "title_font_size": 20,
        "label_font_size": 16,
        "color": INK,
        "n_labels": 0,
    }
    marks = {float(shade(v, 1.0)): f"{v * limit:.{3 if unit == 'in' else 2}f}" for v in MARKED}  # fmt: skip
    size = float(np.ptp(vertices, axis=0).max())
    plotter.set_background("white")
    plotter.add_mesh(
        pyvista.make_tri_mesh(vertices, faces.astype(int)), scalars=shade(values, limit), cmap=DEPTH_MAP,
        clim=(-1.0, 1.0), nan_color="white", smooth_shading=True, split_sharp_edges=True, feature_angle=40.0,
        ambient=0.3, scalar_bar_args=bar, annotations=marks,
    )  # fmt: skip
    places = []
    for ring in rings:
        middle = ring.mean(axis=0)
        closed = middle + 1.003 * (np.vstack([ring, ring[:1]]) - middle)
        plotter.add_mesh(pyvista.lines_from_points(closed).tube(radius=0.0015 * size), color=INK, lighting=False)
        places.append(ring[np.argmax(ring @ ROOF_AND_RIGHT)] + 0.03 * size * ROOF_AND_RIGHT)
    plotter.add_point_labels(
        np.array(places),
        list(labels),
        font_size=18,
        text_color=INK,
        shape=None,
        show_points=False,
        always_visible=True,
    )
    plotter.add_mesh(pyvista.Sphere(radius=0.008 * size, center=deepest_at), color=INK, lighting=False)
    add_title(plotter, title)
    plotter.enable_parallel_projection()
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0
    plotter.camera_position = [tuple(middle + np.array([-0.5, -1.0, -0.8])), tuple(middle), (0.0, 0.0, 1.0)]
    plotter.reset_camera()
    plotter.camera.zoom(1.1)


def schedules_figure(passages: Mapping[str, Comparison], display: Display) -> Figure:
    """Return a chart of both area schedules on the same planes, and the depth on the four walls, of each passage."""
    figure = Figure(figsize=(9.0 + 3.0 * (len(passages) - 1), 6.4), dpi=130, layout="constrained")
    columns = figure.subplots(2, len(passages), sharex="col", sharey="row", height_ratios=(3, 2), squeeze=False).T
    for (name, each), (top, bottom) in zip(passages.items(), columns, strict=True):
        rows = each.rows
        x = display.of_length(rows.stations)
        for areas, label, colour, style in zip(
            (rows.before, rows.after), ("before", "after"), colours(2), LINE_STYLES, strict=False
        ):
            top.plot(x, display.of_area(areas), style, color=colour, linewidth=2, marker=".", label=label)
        walls = (("roof", rows.roof), ("floor", rows.floor), ("left", rows.left), ("right", rows.right))
        for (label, depth), colour, style in zip(walls, colours(4), LINE_STYLES, strict=True):
            # Left and right are often equal: the left wall's line is wide, so that the right one's lies on it.
            wide = {"linewidth": 5.0, "alpha": 0.35, "linestyle": "-"} if label == "left" else {"linestyle": style}
            bottom.plot(x, display.of_length(depth), color=colour, label=label, **wide)
        top.set_title(name, color=INK, fontsize=11)
        bottom.set_xlabel(f"station from the entry, {display.unit}")
    for axes, label in zip(columns[0], (f"area, {display.area_unit}", f"depth, {display.unit}"), strict=True):
        axes.set_ylabel(label)
        axes.legend(frameon=False, fontsize=9, ncols=4 if len(passages) == 1 else 2)
    figure.suptitle("Area before and after on the same planes; depth of cut by wall", color=INK, fontsize=11)
    tidy(*columns.ravel())
    return figure


def balance_figure(balance: Balance, names: Sequence[str], display: Display) -> Figure:
    """Return a chart of a set's area schedules side by side, and their spread."""
    x = display.of_length(balance.stations)
    figure = Figure(figsize=(9.0, 6.4), dpi=130, layout="constrained")
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
    for k, (name, colour) in enumerate(zip(names, colours(len(names)), strict=True)):
        style = LINE_STYLES[k % len(LINE_STYLES)]
        width = 3.0 if k == balance.odd else 1.6
        top.plot(
            x,
            display.of_area(balance.areas[k]),
            style,
            color=colour,
            linewidth=width,
            label=f"{k + 1}: {PurePath(name).name}",
        )
    bottom.plot(x, 100.0 * balance.spread, color=INK)
    top.set_ylabel(f"area, {display.area_unit}")
    top.set_title("Area schedules of the set (thick: the odd one out)", color=INK, fontsize=11)
    bottom.set_ylabel("spread, %")
    bottom.set_xlabel(f"station from the entry, {display.unit}")
    legend_below(figure, top)
    tidy(top, bottom)
    return figure


def outlines_figure(joint: Match, display: Display) -> Figure:
    """Return the outlines at the flange, as seen looking downstream, and lip and step round it, much larger."""
    import shapely

    figure = Figure(figsize=(8.0, 10.0), dpi=130, layout="constrained")
    axes, below = figure.subplots(2, 1, height_ratios=(3.2, 1.0))
    upstream, downstream = shapely.Polygon(joint.upstream), shapely.Polygon(joint.downstream)
    dark, light = colours(2)
    for area, colour, name in (
        (upstream.difference(downstream), LIP, "lip: faces the flow"),
        (downstream.difference(upstream), STEP, "step: the air drops off it"),
    ):
        parts = [p for p in getattr(area, "geoms", [area]) if p.geom_type == "Polygon" and p.area > 0.0]
        for k, part in enumerate(parts):
            rings = [np.asarray(part.exterior.coords), *(np.asarray(r.coords) for r in part.interiors)]
            axes.add_patch(_patch(rings, display, colour, name if k == 0 else None))
    lines = [(joint.upstream, "-", dark, "upstream"), (joint.downstream, "--", light, "downstream")]
    if joint.gasket is not None:
        lines.append((joint.gasket, ":", (0.1, 0.1, 0.1, 1.0), "gasket line"))
    for outline, style, line_colour, name in lines:
        closed = np.vstack([outline, outline[:1]])
        # Looking downstream the left wall is on the left.
        axes.plot(
            -display.of_length(closed[:, 0]), display.of_length(closed[:, 1]),
            style, color=line_colour, linewidth=1.2, label=name,
        )  # fmt: skip
    for edge, name, colour in ((joint.lip, "lip", LIP), (joint.step, "step", STEP)):
        if edge.clock is not None:
            _name_edge(axes, joint.upstream, edge.clock, f"{name} {display.length(edge.height)}", colour, display)
    axes.set_aspect("equal")
    axes.set_xlabel(f"to the right wall, {display.unit}")
    axes.set_ylabel(f"up, {display.unit}")
    axes.set_title("At the flange, looking downstream", color=INK, fontsize=11)
    legend_below(figure, axes)
    clock, height = edges_round(joint)
    height = display.of_length(height)
    for sign, colour in ((1.0, LIP), (-1.0, STEP)):
        below.fill_between(clock, 0.0, sign * np.maximum(sign * height, 0.0), color=colour, linewidth=0)
    below.axhline(0.0, color=INK, linewidth=0.8)
    below.set_axisbelow(True)
    below.set_xlim(0.0, 12.0)
    below.set_xticks(range(13), ["12", *(str(hour) for hour in range(1, 13))])
    below.set_xlabel("o'clock round the joint, looking downstream")
    below.set_ylabel(f"into the flow, {display.unit}")
    below.set_title("Height of the edge: a lip above the line, a step below it", color=INK, fontsize=10)
    tidy(axes, below)
    return figure


def _name_edge(axes: Any, outline: FloatArray, clock: float, text: str, colour: Any, display: Display) -> None:
    """Name an edge's greatest height inside the outline (n, 2), with an arrow to its clock position."""
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2.0
    angle = clock * np.pi / 6.0
    towards = np.array([-np.sin(angle), np.cos(angle)])  # left and up
    arm = outline - middle
    tip = outline[np.argmax(arm @ towards / np.linalg.norm(arm, axis=1))]
    start = middle + 0.55 * (tip - middle)
    (x, y), (at_x, at_y) = ((-display.of_length(p[0]), display.of_length(p[1])) for p in (tip, start))
    arrow = {"arrowstyle": "->", "color": colour}
    axes.annotate(text, (x, y), (at_x, at_y), color=colour, fontsize=10, ha="center", va="center", arrowprops=arrow)


def _patch(rings: list[FloatArray], display: Display, colour: Any, name: str | None) -> Any:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    scaled = [np.column_stack([-ring[:, 0], ring[:, 1]]) * display.of_length(1.0) for ring in rings]
    path = Path.make_compound_path(*(Path(ring, closed=True) for ring in scaled))
    return PathPatch(path, facecolor=colour, edgecolor=colour, linewidth=1.5, label=name)
