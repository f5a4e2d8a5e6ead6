"""Pictures of a port in 3D, off screen as PNG or in a window.

A Survey comes in, a scene is drawn with pyvista. Off-screen drawing happens in a child process: a
machine whose OpenGL is missing or broken then loses the picture and nothing else.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures.process import BrokenProcessPool
from typing import Any

import numpy as np

from portgeo.core.errors import OutputError
from portgeo.core.interrupts import result_of, workers
from portgeo.core.plane import FloatArray
from portgeo.core.port import stations_of
from portgeo.core.section import Section
from portgeo.core.units import Display
from portgeo.files.disk import atomic_write
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sides import Side

WINDOW = (1400, 900)
CIRCLE_SHOWN = np.radians(80.0)  # to each side of the apex at most: a whole circle would hide a small port
CIRCLE_BEYOND = 1.4  # times the turn that it is shown over, past both ends
RINGS_SHOWN = 13  # rings with a label; more would hide the port
PAIR_RINGS_SHOWN = 7  # on each of two ports side by side
TITLE_AT = (0.015, 0.98)  # of the pane: the title's upper left corner
ON_TOP = -66000.0  # of the graphics library's units of depth: drawn over all that is nearer
INK, FLOOR, SHORT = "#1a1a1a", "#ffffff", "#d1007f"
TIME_LIMIT = 120.0  # seconds for one picture
NO_OPENGL = "Everything else is written; for pictures, use a machine with OpenGL or install its software driver"


def port_picture(survey: Survey, display: Display, title: str, path: str, *, force: bool = False) -> None:
    """Write a picture of a port: painted by section area, with stations, floor line and short-side circle.

    Raises OutputError where the machine has no working OpenGL.
    """
    render(draw_port, (survey, display, title), path, force=force)


def pair_picture(
    surveys: Sequence[Survey], display: Display, titles: Sequence[str], path: str, *, force: bool = False
) -> None:
    """Write a picture of two ports side by side, turned alike, at one scale and one scale of colours.

    Raises OutputError where the machine has no working OpenGL.
    """
    render(draw_pair, (surveys, display, titles), path, force=force, panes=len(surveys))


def render(draw: Callable[..., None], scene: tuple[Any, ...], path: str, *, force: bool, panes: int = 1) -> None:
    """Write what `draw(plotter, *scene)` draws, as PNG. `draw` is a function of a module. panes : side by side."""
    try:
        with workers(1) as submit:
            picture = result_of(submit(_draw_in_child, draw, scene, panes), TIME_LIMIT)
    except (BrokenProcessPool, RuntimeError, TimeoutError) as failure:
        raise OutputError(
            "this machine could not draw a picture: its OpenGL is missing or does not work",
            hint=NO_OPENGL,
            file=path,
        ) from failure
    atomic_write(path, picture, force=force)


def _draw_in_child(draw: Callable[..., None], scene: tuple[Any, ...], panes: int) -> bytes:
    # The graphics library complains of displays it does not need; the parent says what matters.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    import pyvista

    plotter = pyvista.Plotter(off_screen=True, window_size=list(WINDOW), shape=(1, panes))
    draw(plotter, *scene)
    picture = io.BytesIO()
    plotter.screenshot(picture)
    plotter.close()
    return picture.getvalue()


def show(surveys: Sequence[Survey], display: Display, titles: Sequence[str]) -> None:
    """Open a window with a port, or with two side by side; returns when it is closed.

    Raises OutputError where none can open.
    """
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        raise OutputError("there is no screen to open a window on", hint="Pass --picture FILE to write a picture")
    import pyvista

    plotter = pyvista.Plotter(window_size=list(WINDOW), title=f"portgeo: {', '.join(titles)}", shape=(1, len(surveys)))
    if len(surveys) == 1:
        draw_port(plotter, surveys[0], display, titles[0])
    else:
        draw_pair(plotter, surveys, display, titles)
    plotter.show()


def draw_port(plotter: Any, survey: Survey, display: Display, title: str) -> None:
    """Draw a port painted by the area of its sections."""
    painted = _painted_area(survey, display)
    draw_painted(plotter, survey, painted, f"section area, {display.area_unit}", "cividis", display, title)


def draw_pair(plotter: Any, surveys: Sequence[Survey], display: Display, titles: Sequence[str]) -> None:
    """Draw ports side by side, each in its own frame: one camera turns all, one scale of colours holds for all."""
    painted = [_painted_area(survey, display) for survey in surveys]
    limits = min(float(p.min()) for p in painted), max(float(p.max()) for p in painted)
    points = np.vstack([survey.port.vertices for survey in surveys])
    low, high = points.min(axis=0), points.max(axis=0)
    name = f"section area, {display.area_unit}: one scale for both"
    for k, (survey, values, title) in enumerate(zip(surveys, painted, titles, strict=True)):
        plotter.subplot(0, k)
        # Two scales of one name would be one: a space tells them apart.
        draw_painted(plotter, survey, values, name + " " * k, "cividis", display, title, limits, PAIR_RINGS_SHOWN)
    plotter.link_views()
    plotter.subplot(0, 0)
    plotter.reset_camera(bounds=np.column_stack([low, high]).ravel().tolist())
    plotter.camera.zoom(0.95)


def _painted_area(survey: Survey, display: Display) -> FloatArray:
    station, _ = stations_of(survey.port, survey.port.vertices)
    area = np.interp(station, survey.fine_stations, survey.fine_area)
    return display.of_area(area)


def draw_painted(
    plotter: Any,
    survey: Survey,
    values: FloatArray,
    bar_title: str,
    colour_map: str,
    display: Display,
    title: str,
    limits: tuple[float, float] | None = None,
    rings: int = RINGS_SHOWN,
) -> None:
    """Draw a port painted by values (n,) at its vertices, with stations, side lines and the circle.

    bar_title : of the scale of colours. rings : at most so many stations have theirs.
    """
    import pyvista

    port = survey.port
    surface = pyvista.make_tri_mesh(port.vertices, np.asarray(port.faces, dtype=int))
    form = bar_format(float(np.nanmax(np.abs(values if limits is None else limits))))
    bar = {
        "title": f"{bar_title}\n", "vertical": False, "position_x": 0.25, "position_y": 0.02, "width": 0.5,
        "height": 0.09, "title_font_size": 20, "label_font_size": 16, "color": INK, "fmt": form, "n_labels": 5,
    }  # fmt: skip
    plotter.set_background("white")
    plotter.add_mesh(
        surface, scalars=values, cmap=colour_map, clim=limits, smooth_shading=True, split_sharp_edges=True,
        feature_angle=40.0, ambient=0.25, scalar_bar_args=bar,
    )  # fmt: skip
    _add_rings(plotter, survey, display, rings)
    for side in (survey.short_side, survey.long_side):
        if side is not None:
            _add_tube(plotter, side.line, FLOOR if side is survey.short_side else INK, 0.006 * survey.length)
    if survey.short_side is not None:
        if survey.short_side.is_round:
            _add_circle(plotter, survey, survey.short_side)
        title += f"\nshort side {survey.short_side.headline_name} {display.length(survey.short_side.headline)}"
    add_title(plotter, title)
    plotter.enable_parallel_projection()
    # From the right wall's side, a little ahead and below: the flow runs to the right, the floor is seen.
    middle = (port.vertices.min(axis=0) + port.vertices.max(axis=0)) / 2.0
    plotter.camera_position = [tuple(middle + np.array([-0.2, -1.0, -0.3])), tuple(middle), (0.0, 0.0, 1.0)]
    plotter.reset_camera()
    plotter.camera.zoom(1.15)


def add_title(plotter: Any, title: str) -> None:
    """Write a title, of one line or more, into a pane's upper left corner, clear of its edges."""
    text = plotter.add_text(title, position=TITLE_AT, viewport=True, font_size=12, color=INK)
    text.prop.justification_vertical = "top"


def bar_format(greatest: float) -> str:
    """Return a format of three figures and never a power of ten: 1093, 24.1, 1.70."""
    whole = int(np.floor(np.log10(max(greatest, 1e-6))))
    return f"%.{max(2 - whole, 0)}f"


def _add_rings(plotter: Any, survey: Survey, display: Display, most: int) -> None:
    sections = list(survey.sections)
    rows = np.flatnonzero([np.abs(survey.port.rows - s).min(initial=np.inf) < 1e-6 for s in survey.stations])
    if len(rows) < 2:
        rows = np.arange(len(sections))
    rows = np.unique(np.append(rows[:: -(-len(rows) // most)], rows[-1]))
    places, labels = [], []
    for k in rows:
        section = sections[k]
        ring = _slightly_outside(section)
        _add_tube(plotter, np.vstack([ring, ring[:1]]), INK, 0.0018 * survey.length)
        places.append(ring[np.argmax(ring @ section.frame[2])] + 0.05 * survey.length * section.frame[2])
        labels.append(display.length(survey.stations[k], label=False))
    plotter.add_point_labels(
        np.array(places), labels, font_size=18, text_color=INK, shape=None, show_points=False,
        always_visible=True,
    )  # fmt: skip


def _slightly_outside(section: Section) -> FloatArray:
    middle = section.outline.mean(axis=0)
    return section.in_space(middle + 1.002 * (section.outline - middle))


def _add_tube(plotter: Any, line: FloatArray, colour: str, radius: float) -> Any:
    import pyvista

    return plotter.add_mesh(pyvista.lines_from_points(line).tube(radius=radius), color=colour, lighting=False)


def _add_circle(plotter: Any, survey: Survey, side: Side) -> None:
    """Draw the short side's circle along the turn and a little past its ends, over the wall that it crosses."""
    assert survey.bend is not None
    # An angle of 0 is straight into the stream from the circle's centre, at the middle of the turn.
    across = side.apex - side.centre
    across = across / np.linalg.norm(across)
    along = np.cross(survey.bend.plane.axis, across)
    shown = min(CIRCLE_SHOWN, CIRCLE_BEYOND * side.turn / 2.0)
    angle = np.linspace(-shown, shown, 120)
    ring = np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * along
    circle = _add_tube(plotter, side.centre + side.radius * ring, SHORT, 0.005 * survey.length)
    circle.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    circle.mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, ON_TOP)
