"""The steps that draw: charts of the measured figures, and pictures of the models.

Earlier results come in; PNG files by name go out, the same on every machine, with or without OpenGL.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from portgeo.app.job.results import LeftOut, Models, Pictures, StepInputs
from portgeo.core.units import Display
from portgeo.present.page.contents import PLANNED_STATE, slug
from portgeo.present.page.models import DEPTHS, Scale, scales_of
from portgeo.present.page.view import still_shown, stills_of
from portgeo.present.pictures.charts import png, schedule_figure
from portgeo.present.pictures.flat import model_png
from portgeo.present.pictures.model import Model
from portgeo.present.pictures.speed import speed_figure


def charted(given: StepInputs) -> Pictures:
    """Return the charts: all area schedules of ports and of runners, all air speeds."""
    states, display = given.settings["states"], Display(given.settings["units"])
    files = []
    for part, name in (("port", "area-schedule.png"), ("runner", "area-schedule-runner.png")):
        found = [(state, given.needs.get(f"survey {part} {k}")) for k, state in enumerate(states)]
        if part == "port":
            found.append((PLANNED_STATE, given.needs.get("planned survey")))
        surveys = [(state, one.computed) for state, one in found if one is not None]
        if surveys:
            files.append((name, png(schedule_figure(surveys, display))))
    found = [(state, given.needs.get(f"speed {k}")) for k, state in enumerate(states)]
    found.append((PLANNED_STATE, given.needs.get("planned speed")))
    speeds = [(state, one.air.computed) for state, one in found if one is not None and not isinstance(one, LeftOut)]
    if speeds:
        files.append(("air-speed.png", png(speed_figure(speeds, display))))
    return Pictures(tuple(files))


def stilled(given: StepInputs) -> Pictures:
    """Return the pictures of the models that stand on the page too, in its order."""
    models, display = given.needs["models"].models, Display(given.settings["units"])
    scales = scales_of(models, display)
    names = {(id(model), paint): name for name, model, paint in _wanted(models, scales)}
    shown = [(models[k], paint) for k, paint in still_shown(models, scales)]
    files = [names[id(model), paint] for model, paint in shown]
    return Pictures(tuple(zip(files, stills_of(models, display), strict=True)))


def pictured(given: StepInputs) -> Pictures:
    """Return one part of the pictures that are drawn of the models, but for those that stand on the page."""
    models: Models = given.needs["models"]
    display, (part, parts) = Display(given.settings["units"]), (given.settings[name] for name in ("part", "parts"))
    scales = scales_of(models.models, display)
    still = {(id(models.models[k]), paint) for k, paint in still_shown(models.models, scales)}
    wanted = [each for each in _wanted(models.models, scales) if (id(each[1]), each[2]) not in still][part::parts]
    return Pictures(
        tuple((name, model_png(model, scales[model.part, paint], display)) for name, model, paint in wanted)
    )


def _wanted(models: Sequence[Model], scales: Mapping[tuple[str, str], Scale]) -> list[tuple[str, Model, str]]:
    """Return file, model and paint of a picture of every model with each of its paints that says something new of it.

    Section area is drawn where there is no depth of cut: of the first state of a part, once for a runner
    that stays as it is, and so is its speed. Of the wall left, the last state and the planned port tell all.
    """
    wanted: dict[str, tuple[str, Model, str]] = {}
    runner_drawn = False
    last = next((m.state for m in reversed(models) if m.part == "port" and not m.computed), "")
    for model in models:
        state = slug(model.state) + ("" if model.part == "port" else f"-{model.part}")
        painted = {paint.name for paint in model.paints if (model.part, paint.name) in scales}
        again = model.part == "runner" and runner_drawn
        cut = not painted.isdisjoint(DEPTHS)
        drawn = painted - ({"area"} if cut else set())
        drawn -= {"area", "speed"} if again and not cut else set()
        drawn -= {"wall left"} if not model.computed and model.state != last else set()
        runner_drawn |= model.part == "runner"
        for paint in model.paints:
            if paint.name in drawn:
                name, k = f"{state}-{slug(paint.name)}.png", 2
                while name in wanted:
                    name, k = f"{state}-{slug(paint.name)}-{k}.png", k + 1
                wanted[name] = name, model, paint.name
    return list(wanted.values())
