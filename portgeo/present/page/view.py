"""The page's 3D section: still pictures of the models, what they show in words, and where the script puts the rest.

Models and their scales come in; the section's elements go out. assets/view.js fills in the port that can be turned;
without it there are pictures and words.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.contents import surveys_of
from portgeo.present.page.markup import Element, el
from portgeo.present.page.models import DEPTHS, Scales, first_shown, paints_of, scales_of
from portgeo.present.page.text import port_in_words
from portgeo.present.pictures.flat import model_png
from portgeo.present.pictures.model import Model


def view_section(
    results: Mapping[str, Any], models: Sequence[Model], stills: Sequence[bytes], d: Display
) -> list[Element]:
    """Return what stands in the 3D section. stills : as `stills_of` draws them."""
    live = el("div", id="view", class_="only-live")
    legs = {state["name"]: state.get("leg") for state in results["states"]}
    return [live, _still(models, stills, legs, d), _words(results, models, legs, d)]


def still_shown(models: Sequence[Model], scales: Scales) -> list[tuple[int, str]]:
    """Return which models stand still on the page, by number, and the paint of each.

    The port as it is now, as it was before, and as it will be; for print and for a page without its script.
    """
    first = first_shown(models)
    if not has_port(models):  # of a manifold's runners, as far as they are off the mean
        return [(first, paints_of(models[first], scales)[0])]
    ports = [k for k, m in enumerate(models) if m.part == "port" and not m.computed]
    computed = [k for k, m in enumerate(models) if m.part == "port" and m.computed]
    shown = []
    for k in dict.fromkeys([*([first] if first not in ports else []), *ports[:-1][:1], *ports[-1:], *computed]):
        names = paints_of(models[k], scales)
        if names:
            shown.append((k, names[0] if names[0] in DEPTHS or "area" not in names else "area"))
    return shown


def stills_of(models: Sequence[Model], d: Display) -> tuple[bytes, ...]:
    """Return the still pictures of the page, PNG."""
    scales = scales_of(models, d)
    shown = still_shown(models, scales)
    return tuple(model_png(models[k], scales[models[k].part, paint], d) for k, paint in shown)


def _words(results: Mapping[str, Any], models: Sequence[Model], legs: Mapping[str, str | None], d: Display) -> Element:
    records = {(part, state): record for part, state, record in surveys_of(results)}
    said = []
    for k, model in enumerate(models):
        record = records.get((model.part, model.state))
        if record is not None:
            said.append(el("p", port_in_words(record, _named(model, legs), d), class_="words", data_words=k))
    return el("div", said, id="view-words")


def _named(model: Model, legs: Mapping[str, str | None]) -> str:
    """Return which part of which stage a model is."""
    leg = legs.get(model.state) if model.part == "port" else None
    return ", ".join([model.part, *([leg] if leg else []), model.state])


def has_port(models: Sequence[Model]) -> bool:
    """Return whether any model is a port's, and not all of them a manifold's runners."""
    return any(model.part == "port" for model in models)


def _still(models: Sequence[Model], stills: Sequence[bytes], legs: Mapping[str, str | None], d: Display) -> Element:
    """Return the still pictures with what each shows. legs : of a port that splits, which each stage's port is."""
    scales = scales_of(models, d)
    figures = []
    for (k, paint), still in zip(still_shown(models, scales), stills, strict=True):
        model = models[k]
        picture = base64.b64encode(still).decode("ascii")
        who = model.state if f"{model.part}s" in model.state else _named(model, legs)
        says = f"{who}, painted by {scales[model.part, paint].paint.label}"
        figures.append(
            el(
                "figure",
                el("img", src=f"data:image/png;base64,{picture}", alt=says, width=960, height=630),
                el("figcaption", says),
            )
        )
    return el("div", figures, class_="still" if has_port(models) else "still small")
