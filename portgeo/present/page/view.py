"""The page's 3D section: buttons, picture, reading, scales, and what it shows in words.

Models and their scales come in; the section's elements go out. The script in assets/view.js brings it
to life; without it there are still pictures and words.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from portgeo.core.units import Display
from portgeo.present.page.contents import PLANNED_STATE, slug, surveys_of
from portgeo.present.page.markup import Element, el
from portgeo.present.page.models import CLASS_SHADES, DEPTHS, KIND_OF, Scale, Scales, first_shown, paints_of, scales_of
from portgeo.present.page.text import port_in_words
from portgeo.present.pictures.flat import model_png
from portgeo.present.pictures.model import Model
from portgeo.results.kinds import kind_of

STOPS = 17  # of a scale's gradient
HINT = "Point at the port, tap it, or move the two sliders: station, clock position and value stand here."
MOVES = (
    ("left", "Turn left"), ("right", "Turn right"), ("up", "Tip up"), ("down", "Tip down"), ("closer", "Closer"),
    ("farther", "Farther"), ("side", "From the side"), ("entry", "Into the entry"), ("below", "From below"),
    ("home", "Start again"),
)  # fmt: skip


def view_section(results: Mapping[str, Any], models: Sequence[Model], d: Display) -> list[Element]:
    """Return what stands in the 3D section."""
    scales = scales_of(models, d)
    first = first_shown(models, PLANNED_STATE)
    states = [
        el(
            "fieldset",
            el("legend", part.capitalize()),
            [
                el("button", model.state, type="button", data_model=k, aria_pressed="false")
                for k, model in enumerate(models)
                if model.part == part
            ],
        )
        for part in dict.fromkeys(model.part for model in models)
    ]
    labels = {name: scale.paint.label for (_, name), scale in scales.items()}
    paints = [
        el("button", label.split(";")[0], type="button", data_paint=name, aria_pressed="false")
        for name, label in labels.items()
    ]
    moves = [el("button", says, type="button", data_move=move) for move, says in MOVES]
    stage = el(
        "div",
        el("canvas", id="view-canvas", role="img", aria_label="the port", aria_describedby="view-words"),
        el("div", id="labels", aria_hidden="true"),
        id="stage",
        tabindex="0",
        role="group",
        aria_label="The port in 3D. Arrow keys turn it, plus and minus change its size, Home sets it back.",
    )
    sliders = el(
        "fieldset",
        el("legend", "Read at"),
        el("label", "station", el("input", type="range", id="read-station", min=0, max=1, step=0.01)),
        el("label", "clock", el("input", type="range", id="read-clock", min=0, max=11.5, step=0.5, value=6)),
    )
    live = el(
        "div",
        states,
        el("fieldset", el("legend", "Painted by"), paints),
        stage,
        [_scale_bar(f"{part} {name}", scale, d) for (part, name), scale in scales.items()],
        el("output", HINT, id="reading", aria_live="polite"),
        sliders,
        el("fieldset", el("legend", "View"), moves),
        el(
            "p",
            "Drag to turn, two fingers or Shift to move, click the picture and use the wheel to come closer. Thin "
            "rings: stations. Dashed line: 6 o’clock, the middle of the floor. Lines on the paint: its scale’s marks.",
            class_="note",
        ),
        class_="only-live",
    )
    return [live, _still(models, scales, first, d), _words(results, models, d)]


def _words(results: Mapping[str, Any], models: Sequence[Model], d: Display) -> Element:
    records = {(part, state): record for part, state, record in surveys_of(results)}
    said = []
    for k, model in enumerate(models):
        record = records.get((model.part, model.state))
        if record is not None:
            said.append(el("p", port_in_words(record, f"{model.part}, {model.state}", d), class_="words", data_words=k))
    return el("div", said, id="view-words")


def _still(models: Sequence[Model], scales: Scales, first: int, d: Display) -> Element:
    """Return pictures for print and for a page without its script: as it is now, and as it was or will be."""
    planned = [k for k, m in enumerate(models) if m.part == "port" and m.state == PLANNED_STATE]
    before = [k for k, m in enumerate(models) if m.part == "port" and k != first]
    figures = []
    for k in dict.fromkeys([*before[:1], first, *planned]):
        model = models[k]
        names = paints_of(model, scales)
        if not names:
            continue
        scale = scales[model.part, names[0] if names[0] in DEPTHS or "area" not in names else "area"]
        picture = base64.b64encode(model_png(model, scale, d)).decode("ascii")
        says = f"{model.part}, {model.state}, painted by {scale.paint.label}"
        figures.append(
            el(
                "figure",
                el("img", src=f"data:image/png;base64,{picture}", alt=says, width=960, height=630),
                el("figcaption", says),
            )
        )
    return el("div", figures, class_="still")


def _scale_bar(key: str, scale: Scale, d: Display) -> Element:
    kind = kind_of(KIND_OF[scale.paint.quantity], d)
    label = scale.paint.label + (f", {kind.unit}" if kind.unit else "")
    if scale.paint.classes:
        parts = [
            el("li", el("svg", _hatched(k), viewBox="0 0 36 18", width=36, height=18, class_="sample"), text)
            for k, text in enumerate(scale.paint.classes)
        ]
        return el("div", el("ul", parts, class_="legend"), class_="scale", data_scale=key, hidden=True)
    stops = []
    for share in np.linspace(0.0, 1.0, STOPS):
        red, green, blue = scale.shades[round(share * (len(scale.shades) - 1))].astype(int)
        stops.append(el("stop", offset=f"{share:.4f}", stop_color=f"#{red:02x}{green:02x}{blue:02x}"))
    shades = "shades-" + slug(key)
    marks = []
    for mark in scale.marks:
        x = 20.0 + 480.0 * (mark - scale.low) / (scale.high - scale.low)
        figure = f"{mark / kind.per + 0.0:.6g}".replace("-", "−")
        marks.append(el("path", d=f"M{x:.1f} 34v6", class_="axis"))
        marks.append(el("text", figure, x=f"{x:.1f}", y=54, text_anchor="middle"))
    if scale.paint.centred:
        ends = (el("text", "added", x=20, y=14), el("text", "removed", x=500, y=14, text_anchor="end"))
        marks += [*ends, el("text", label, x=260, y=14, text_anchor="middle")]
    else:
        marks.append(el("text", label, x=20, y=14))
    drawn = el(
        "svg",
        el("defs", el("linearGradient", stops, id=shades)),
        el("rect", x=20, y=20, width=480, height=14, fill=f"url(#{shades})"),
        marks,
        viewBox="0 0 520 58",
        role="img",
        aria_label=f"scale of {label}",
    )
    return el("div", drawn, class_="scale", data_scale=key, hidden=True)


def _hatched(k: int) -> list[Element]:
    """Return a class's sample with the hatching that the script draws: colour is not alone."""
    up, down = "M4 17l14-14M14 17l14-14M24 17l9-9", "M4 3l14 14M14 3l14 14M24 3l9 9"
    lines = (up + down, up, down, "", "M2 7H34M2 12H34", "M9 3V16M18 3V16M27 3V16")[k % 6]
    return [
        el("rect", x=2, y=3, width=32, height=13, fill=CLASS_SHADES[k % len(CLASS_SHADES)]),
        el("path", d=lines or "M0 0", stroke="#16181a", stroke_width=1, fill="none"),
    ]
