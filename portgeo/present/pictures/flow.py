"""Pictures of a viscous solution: the wall's shear, speed in three sections, pressure lost by station; and VTU.

A PressureLost's ports come in; PNG and VTU files go out. Colours are samples of matplotlib's viridis.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from itertools import cycle
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from scipy.spatial import KDTree

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import PA_PER, Display
from portgeo.files.disk import atomic_write
from portgeo.flow.grid import hexahedra
from portgeo.present.page.models import scales_of
from portgeo.present.pictures.charts import INK, LINE_STYLES, colours, legend_below, tidy
from portgeo.present.pictures.flat import model_png
from portgeo.present.pictures.model import Model, Paint
from portgeo.present.pictures.port import add_title, bar_format, render
from portgeo.results.lost import PortState
from portgeo.viscous.run import Trial

BACK = "#c1121f"
FASTEST = 1.5  # of the mean: a scale of three equal steps that holds a port's stream
HEXAHEDRON = 12  # VTK's number of that cell (VTK file formats)


def lost_figure(states: Sequence[PortState], display: Display) -> Figure:
    """Return a chart of pressure lost by station of the ports side by side."""
    figure = Figure(figsize=(9.0, 5.0), dpi=130, layout="constrained")
    axes = figure.subplots()
    for state, colour, style in zip(states, colours(len(states)), cycle(LINE_STYLES), strict=False):
        lost = state.stations
        axes.plot(
            display.of_length(lost.station_mm), lost.lost_pa / PA_PER["in_h2o"], linestyle=style, color=colour,
            linewidth=2.0, label=state.name,
        )  # fmt: skip
    axes.set_xlabel(f"station, {display.unit}")
    axes.set_ylabel("inH2O lost from the entry on")
    axes.set_title("Where the pressure is lost", color=INK, fontsize=11)
    tidy(axes)
    if len(states) > 1:
        legend_below(figure, axes)
    return figure


def sections_figure(state: PortState, display: Display) -> Figure:
    """Return speed over the mean in three sections: half way, throat and exit, each as seen looking in."""
    trial = state.computed.main
    tube, throat = trial.solution.tube, state.computed.question.throat[0]
    half = (tube.stations[tube.first] + tube.stations[tube.last]) / 2.0
    places = [("half way", half), ("throat", throat), ("exit", float(tube.stations[tube.last]))]
    figure = Figure(figsize=(10.0, 4.4), dpi=130, layout="constrained")
    shown: Any = None
    for axes, (name, station) in zip(figure.subplots(1, 3), places, strict=True):
        ring = int(np.clip(np.argmin(np.abs(tube.stations - station)), tube.first, tube.last))
        section, along = tube.sections[ring - tube.first], trial.solution.along(ring)
        plane = (tube.grid.nodes[ring] - section.origin) @ section.frame[1:].T
        # Left is left: the frame's y points to the left wall.
        quads = display.of_length(plane * np.array([-1.0, 1.0]))[tube.grid.pattern.quads]
        area = np.linalg.norm(trial.solution.areas[ring], axis=1)
        shown = PolyCollection(list(quads), array=along / ((along * area).sum() / area.sum()), cmap="viridis")
        shown.set_clim(0.0, FASTEST)
        shown.set_edgecolor("face")
        axes.add_collection(shown)
        axes.autoscale_view()
        axes.set_aspect("equal")
        axes.set_title(f"{name}, {display.length(float(tube.stations[ring]))}", fontsize=10, color=INK)
        tidy(axes)
        axes.grid(False)
    figure.colorbar(shown, ax=figure.axes, shrink=0.8, label="speed along the port, over the section's mean")
    figure.suptitle(f"{state.name}: speed in three sections, seen looking in", color=INK, fontsize=11)
    return figure


def shear_picture(state: PortState, display: Display, path: str, *, force: bool = False) -> None:
    """Write a picture of the port's wall painted by what the air drags on it, and red where air runs back.

    Raises OutputError where the machine has no working OpenGL.
    """
    trial = state.computed.main
    tube = trial.solution.tube
    inside = slice(tube.first, tube.last + 1)
    shear = trial.solution.wall_shear[tube.first : tube.last] * state.computed.question.air.density
    caption = f"{state.name}\ndrag of the air on the wall; red: air runs back there"
    render(draw_shear, (tube.grid.wall[inside], shear, caption), path, force=force)


def drag_at(state: PortState, points: FloatArray) -> Paint:
    """Return the paint of the air's drag on the wall over its mean, at points (n, 3) on the wall of a port."""
    solution = state.computed.main.solution
    tube = solution.tube
    wall = tube.grid.wall[tube.first : tube.last + 1]
    shear = solution.wall_shear[tube.first : tube.last]
    around = (shear + np.roll(shear, 1, axis=1)) / 2.0
    at_rings = (np.vstack([around[:1], around]) + np.vstack([around, around[-1:]])) / 2.0
    _, nearest = KDTree(wall.reshape(-1, 3)).query(points)
    values = (at_rings / np.abs(shear).mean()).ravel()[nearest]
    return Paint("drag", "drag of the air on the wall, over its mean; below 0 the air runs back", values, "ratio", True)


def shear_png(state: PortState, display: Display) -> bytes:
    """Return as PNG the port's wall, painted by the air's drag on it over the mean. No OpenGL is needed."""
    tube = state.computed.main.solution.tube
    wall = tube.grid.wall[tube.first : tube.last + 1]
    quads = _net(*wall.shape[:2])
    stations = np.repeat(tube.stations[tube.first : tube.last + 1], wall.shape[1])
    paint = drag_at(state, wall.reshape(-1, 3))
    model = Model(
        state.name, "port", wall.reshape(-1, 3), np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), stations,
        np.zeros(len(stations)), (paint,),
    )  # fmt: skip
    return model_png(model, scales_of([model], display)[model.part, paint.name], display)


def draw_shear(plotter: Any, wall: FloatArray, shear: FloatArray, caption: str) -> None:
    """Draw a wall of points (n, p, 3) with shear (n - 1, p) on its faces, Pa."""
    import pyvista

    surface = pyvista.PolyData.from_regular_faces(wall.reshape(-1, 3), _net(*wall.shape[:2]).astype(int))
    top = float(np.quantile(shear, 0.99))
    bar = {
        "title": "drag on the wall, Pa\n", "vertical": False, "position_x": 0.25, "position_y": 0.02, "width": 0.5,
        "height": 0.09, "title_font_size": 20, "label_font_size": 16, "color": INK, "fmt": bar_format(top),
        "below_label": " ",
    }  # fmt: skip
    plotter.set_background("white")
    plotter.add_mesh(
        surface, scalars=shear.ravel(), cmap="viridis", clim=(0.0, top), below_color=BACK, ambient=0.35,
        scalar_bar_args=bar,
    )  # fmt: skip
    add_title(plotter, caption)
    plotter.enable_parallel_projection()
    middle = (wall.min(axis=(0, 1)) + wall.max(axis=(0, 1))) / 2.0
    plotter.camera_position = [tuple(middle + np.array([-0.35, -1.0, -0.7])), tuple(middle), (0.0, 0.0, 1.0)]
    plotter.reset_camera()
    plotter.camera.zoom(1.1)


def _net(rings: int, around: int) -> IntArray:
    """Return the quads (m, 4) between rings of nodes, ring by ring."""
    at = np.arange(rings - 1)[:, None] * around
    here = np.arange(around)[None]
    beside = (here + 1) % around
    return np.stack([here + at, beside + at, beside + at + around, here + at + around], axis=2).reshape(-1, 4)


def write_vtu(state: PortState, path: Path, *, force: bool = False) -> None:
    """Write a port's flow on its finest grid as VTU: m/s and Pa in the hexahedra, in the port's own coordinates, mm."""
    import pyvista

    trial: Trial = state.computed.main
    port = state.computed.question.path.ports[-1]
    solution = trial.solution
    corners = hexahedra(len(solution.tube.grid.nodes), solution.tube.grid.pattern)
    grid = pyvista.UnstructuredGrid(
        np.hstack([np.full((len(corners), 1), 8), corners]).ravel(), np.full(len(corners), HEXAHEDRON),
        port.to_source(solution.tube.grid.nodes.reshape(-1, 3)),
    )  # fmt: skip
    grid.cell_data["speed_m_s"] = port.direction_to_source(solution.velocity)
    grid.cell_data["pressure_pa"] = solution.pressure * state.computed.question.air.density
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "flow.vtu"
        grid.save(whole)
        atomic_write(path, whole.read_bytes(), force=force)
