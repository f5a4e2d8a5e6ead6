// A traced line over the photograph that it was traced in: points of it are dragged, or moved by the arrow keys, where it
// erred, and the line follows from each to the next.
"use strict";
const NEAR_PX = 18, FINE_MM = 0.05, COARSE_MM = 0.5, CLOSER = 3; // a finger's reach; a key's step, with Shift; how far one goes in

// Where a line's points are once handles were moved. slice : points, handles as the server has them. moves : by handle.
function movedLine({ points, handles }, moves) {
  const n = points.length, along = [0];
  for (let k = 0; k < n; k++) along.push(along[k] + Math.hypot(...[0, 1].map((c) => points[(k + 1) % n][c] - points[k][c])));
  const shift = (j) => moves.get((j + handles.length) % handles.length) || [0, 0];
  return points.map((point, k) => {
    let j = handles.length - 1; // the handle at or before this point, the last one before the first
    while (j >= 0 && handles[j] > k) j--;
    const from = j < 0 ? along[handles[handles.length - 1]] - along[n] : along[handles[j]];
    const to = j + 1 < handles.length ? along[handles[j + 1]] : along[handles[0]] + along[n];
    const share = (along[k] - from) / (to - from), [a, b] = [shift(j), shift(j + 1)];
    return [0, 1].map((c) => point[c] + a[c] + share * (b[c] - a[c]));
  });
}
const areaOf = (line) => Math.abs(line.reduce((sum, [x, y], k) => { const [u, v] = line[(k + 1) % line.length]; return sum + x * v - u * y; }, 0)) / 2;

// slice : as the server tells it, mm. unit : that lengths are shown in. source(k) : address of its k-th picture. changed(moves) : is told of every change.
function lineOver(holder, slice, unit, source, changed) {
  const shown = (mm) => (unit === "mm" ? fixed(mm, 2) : fixed(mm / 25.4, 3)) + " " + unit;
  const [x0, y0] = slice.low, [x1, y1] = slice.high, wide = x1 - x0, tall = y1 - y0, moves = new Map();
  let at = 0, close = false, held = null;
  const image = make("image", { x: 0, y: 0, width: wide, height: tall, preserveAspectRatio: "none" });
  const under = make("path", { class: "under" }), path = make("path", { class: "traced" });
  const dots = slice.handles.map((_, k) => make("circle", { class: "handle", tabindex: k ? -1 : 0, role: "button" }));
  const fingers = dots.map(() => make("circle", { class: "finger" })); // where a touch takes a point and does not scroll
  const svg = make("svg", { class: "over", role: "group", "aria-label": "The traced line on the photograph" }, image, under, path, fingers, dots);
  const place = make("output", {}), step = (text, hint, take) => make("button", { type: "button", title: hint, onclick: take }, text);
  const back = step("Put it back", "Delete", () => move(at, null)), closer = step("Closer", "+", () => zoom(!close));
  const bar = make("div", { class: "actions", role: "group", "aria-label": "Points of the line" }, step("\u2190 Point", "Page Up", () => choose(at - 1, true)),
    step("Point \u2192", "Page Down", () => choose(at + 1, true)), back, closer);
  const photos = slice.pictures.length > 1 && make("select", { "aria-label": "Which photograph is shown", onchange: () => show(Number(photos.value)) },
    slice.pictures.map((one, k) => make("option", { value: k }, one.photo)));
  holder.replaceChildren(svg, make("div", { class: "actions" }, place), bar, ...(photos ? [photos] : []));

  const show = (k) => image.setAttribute("href", source(k));
  const seen = ([x, y]) => [x - x0, y1 - y];
  const spot = (k) => { const [x, y] = slice.points[slice.handles[k]], [dx, dy] = moves.get(k) || [0, 0]; return [x + dx, y + dy]; };

  function draw() {
    const line = movedLine(slice, moves), d = line.map((point, k) => (k ? "L" : "M") + seen(point).map((v) => v.toFixed(3)).join(" ")).join("") + "Z";
    under.setAttribute("d", d);
    path.setAttribute("d", d);
    const view = close ? seen(spot(at)).map((v, k) => Math.max(0, Math.min([wide, tall][k] * (1 - 1 / CLOSER), v - [wide, tall][k] / CLOSER / 2))) : [0, 0];
    const across = wide / (close ? CLOSER : 1);
    if (!held) svg.setAttribute("viewBox", [...view, across, tall / (close ? CLOSER : 1)].map((v) => v.toFixed(3)).join(" "));
    svg.style.setProperty("--mm", Math.max(across / (svg.clientWidth || 400), tall / wide * across / (svg.clientHeight || 400))); // a pixel of the screen, so that dots stay as large
    dots.forEach((dot, k) => {
      const [x, y] = seen(spot(k)), [dx, dy] = moves.get(k) || [0, 0];
      for (const one of [dot, fingers[k]]) { one.setAttribute("cx", x); one.setAttribute("cy", y); }
      dot.setAttribute("tabindex", k === at ? 0 : -1);
      dot.classList.toggle("at", k === at);
      dot.classList.toggle("moved", moves.has(k));
      dot.setAttribute("aria-label", `Point ${k + 1} of ${dots.length}` + (moves.has(k) ? `, moved ${shown(dx)} to the right, ${shown(dy)} up` : ", as traced"));
    });
    place.textContent = dots[at].getAttribute("aria-label") + ".";
    back.disabled = !moves.has(at);
    closer.textContent = close ? "Whole" : "Closer";
  }
  function choose(k, focus) {
    at = (k + dots.length) % dots.length;
    draw();
    if (focus) dots[at].focus({ preventScroll: true });
  }
  function move(k, by) {
    if (by && Math.hypot(...by) > 1e-6) moves.set(k, by); else moves.delete(k);
    draw();
    changed(moves);
  }
  function zoom(to) { close = to; draw(); }

  const onPicture = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x + x0, y1 - point.y];
  };
  // The nearest point within a finger's reach is taken; anywhere else the page scrolls as it does.
  svg.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    const here = onPicture(event), scale = svg.getScreenCTM().a, far = slice.handles.map((_, k) => Math.hypot(...spot(k).map((v, c) => v - here[c])) * scale);
    const nearest = far.indexOf(Math.min(...far));
    if (far[nearest] > NEAR_PX) return;
    event.preventDefault();
    choose(nearest, true);
    held = { from: here, was: moves.get(nearest) || [0, 0] };
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (!held) return;
    const here = onPicture(event);
    move(at, [0, 1].map((c) => held.was[c] + here[c] - held.from[c]));
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { if (held) { held = null; draw(); } });
  svg.addEventListener("focusin", (event) => { const k = dots.indexOf(event.target); if (k >= 0 && k !== at) choose(k); });
  svg.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? COARSE_MM : FINE_MM, [dx, dy] = moves.get(at) || [0, 0];
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (by) move(at, [dx + by[0], dy + by[1]]);
    else if (event.key === "PageDown" || event.key === "PageUp") choose(at + (event.key === "PageDown" ? 1 : -1), true);
    else if (event.key === "Delete" || event.key === "Backspace") move(at, null);
    else if (event.key === "+" || event.key === "-") zoom(event.key === "+");
    else return;
    event.preventDefault();
  });
  new ResizeObserver(draw).observe(svg);
  show(0);
  draw();
  return { moves, reset() { moves.clear(); draw(); changed(moves); } };
}
