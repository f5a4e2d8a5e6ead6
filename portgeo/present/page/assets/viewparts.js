// The parts round the picture of a port: its buttons and sliders, and what hand and mouse do to it.
"use strict";

// What stands in the view, from the top down.
function viewLayout({ brief, states, paints, stage, scale, said, station, clock, opener, moves }) {
  const button = (name) => make("button", { type: "button", "data-move": name, onclick: moves[name] }, VIEW_MOVES[name]);
  const read = make("fieldset", {}, make("legend", {}, "Read at"),
    make("label", {}, "station", station), make("label", {}, "clock", clock));
  if (!brief) {
    const all = make("fieldset", {}, make("legend", {}, "View"), opener, Object.keys(VIEW_MOVES).map(button));
    return [states, paints, stage, scale, said, read, all, make("p", { class: "note" }, VIEW_HELP)];
  }
  const often = ["side", "entry", "exit", "home"], rest = Object.keys(VIEW_MOVES).filter((name) => !often.includes(name));
  paints.dataset.brief = "";
  const all = make("div", { id: "view-more", hidden: true }, read,
    make("fieldset", {}, make("legend", {}, "Turn"), rest.map(button)), make("p", { class: "note" }, VIEW_HELP));
  const more = make("button", { type: "button", "aria-expanded": "false", "aria-controls": "view-more", onclick: () => {
    all.hidden = !all.hidden;
    more.setAttribute("aria-expanded", String(!all.hidden));
  } }, "More");
  stage.append(said);
  return [
    stage,
    make("p", { class: "note key" }, make("span", { class: "lit", "aria-hidden": "true" }), "The reading in hand. ", VIEW_KEY),
    make("fieldset", { class: "views" }, make("legend", { class: "unseen" }, "View"), opener, often.map(button), more),
    all, states, paints, scale,
  ];
}

// Buttons for each model and each paint that there is. now : what is chosen, as it stands.
function viewChoices(data, states, paints, choose, now) {
  const offered = JSON.stringify([data.models.map((m) => [m.part, m.state]), data.paints.map((p) => [p.name, p.label])]);
  if (states.dataset.offered === offered) return; // a button that has the focus is not made anew
  states.dataset.offered = offered;
  const parts = Array.from(new Set(data.models.map((model) => model.part)));
  const button = (text, what, take) => make("button", { type: "button", "aria-pressed": "false", ...what, onclick: take }, text);
  states.replaceChildren(...(data.models.length < 2 ? [] : parts.map((part) => make("fieldset", {},
    make("legend", {}, part[0].toUpperCase() + part.slice(1)),
    data.models.map((model, k) => model.part === part &&
      button(model.state, { "data-model": k }, () => choose(k, now()[1])))))));
  const labels = new Map(data.paints.map((paint) => [paint.name, paint.label.split(";")[0]]));
  paints.hidden = paints.dataset.brief !== undefined && labels.size < 2;
  paints.replaceChildren(make("legend", {}, "Painted by"),
    ...Array.from(labels, ([name, text]) => button(text, { "data-paint": name }, () => choose(now()[0], name))));
}

// Keys, mouse, touch and wheel.
function viewGestures({ stage, canvas, moves, turn, zoom, pan, redraw, readUnder }) {
  stage.addEventListener("keydown", (event) => {
    if (!VIEW_KEYS[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    moves[VIEW_KEYS[event.key]]();
  });
  const down = new Map();
  const spot = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  canvas.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, spot(event));
    canvas.setPointerCapture(event.pointerId);
    if (event.pointerType !== "mouse") readUnder(spot(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    const was = down.get(event.pointerId), now = spot(event);
    if (!was) { if (event.pointerType === "mouse") readUnder(now); return; }
    const dx = now[0] - was[0], dy = now[1] - was[1];
    if (down.size === 2) {
      const other = Array.from(down).find(([id]) => id !== event.pointerId)[1];
      const gap = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
      zoom(gap(now) / gap(was));
      pan(dx / 2, dy / 2);
      redraw();
    } else if (event.shiftKey) {
      pan(dx, dy);
      redraw();
    } else turn(-dx * 0.01, dy * 0.01);
    down.set(event.pointerId, now);
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (event) => down.delete(event.pointerId));
  canvas.addEventListener("wheel", (event) => {
    // Only with the view in focus or the pinch of a touch pad: the wheel belongs to the page.
    if (!event.ctrlKey && !stage.contains(document.activeElement)) return;
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * 0.0015));
  }, { passive: false });
}
