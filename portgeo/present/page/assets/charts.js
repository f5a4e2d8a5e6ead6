// Charts: drawn from lines that are given, and a line at the pointer, or where one taps, with what every line is there in
// words over the chart.
"use strict";
const NEAR = 8; // pixels of the chart: a point this close to the pointer is read
const CHART_HINT = "Point at the chart or tap it to read its values.";
const CHART_ROOM = { left: 58, right: 14, top: 26, bottom: 44 }, NARROW_LEFT = 46, NARROW = 480;
const SPARE = 0.06; // of the range, above and below the lines
const POINT_SHAPES = ["m-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z", "m-3.6-3.6h7.2v7.2h-7.2z", "m0-4.6l4.4 7.8h-8.8z",
  "m0-5l4.4 5l-4.4 5l-4.4-5z", "m-5 0h10m-5-5v10", "m-4-4l8 8m-8 0l8-8"];

function valueAt(one, x, near) {
  const last = one.x.length - 1;
  if (!one.line) {
    const k = one.x.reduce((best, v, i) => (Math.abs(v - x) < Math.abs(one.x[best] - x) ? i : best), 0);
    return Math.abs(one.x[k] - x) <= near ? one.y[k] : null;
  }
  for (let k = 0; k < last; k++) {
    const a = one.x[k], b = one.x[k + 1];
    if (x < a || x > b || one.y[k] === null || one.y[k + 1] === null) continue;
    return b > a ? one.y[k] + (x - a) / (b - a) * (one.y[k + 1] - one.y[k]) : one.y[k];
  }
  return null;
}

// Reads a chart under the pointer. svg : with its data-box. told : its lines, units and decimals. said : where it is told.
function followChart(svg, told, said) {
  const [left, right, top, bottom, low, high] = svg.dataset.box.split(" ").map(Number);
  const text = (value, k) => fixed(value, told.decimals[k]) + (told.units[k] && "\u00a0" + told.units[k]);
  const line = svg.appendChild(make("path", { class: "cursor" }));
  const read = (event) => {
    const box = svg.getBoundingClientRect(), wide = svg.viewBox.baseVal.width;
    const at = Math.max(left, Math.min(right, (event.clientX - box.left) / box.width * wide));
    const perPixel = (high - low) / (right - left), x = low + (at - left) * perPixel;
    line.setAttribute("d", "M" + at.toFixed(1) + " " + top + "V" + bottom);
    const values = told.series.map((one) => [one.name, valueAt(one, x, NEAR * perPixel)]).filter((v) => v[1] !== null);
    said.textContent = told.of + " " + text(x, 0) + ": " + (values.length
      ? values.map(([name, value]) => name + " " + text(value, 1)).join("; ") : "nothing known");
  };
  svg.addEventListener("pointermove", read);
  svg.addEventListener("pointerdown", read);
  svg.addEventListener("pointerleave", (event) => {
    if (event.pointerType !== "mouse") return; // what was tapped stays
    line.removeAttribute("d");
    said.textContent = CHART_HINT;
  });
}

const readout = () => make("p", { class: "readout" }, CHART_HINT);

// Reads every chart of a page that was drawn before.
function followCharts(page) {
  for (const figure of page.querySelectorAll("figure[data-told]")) {
    const said = readout();
    figure.querySelector(".legend").after(said);
    for (const svg of figure.querySelectorAll("svg[data-box]")) followChart(svg, JSON.parse(figure.dataset.told), said);
  }
}

// Round marks between two ends, about `count` of them.
function roundMarks(low, high, count) {
  const rough = (high - low) / count, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((v) => v * power).find((v) => v >= rough * 0.999);
  const marks = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) marks.push(k * step);
  const decimals = [0, 1, 2, 3, 4, 5].find((d) => Math.abs(Number(step.toFixed(d)) - step) < 1e-6 * step);
  return { marks, decimals };
}

// Fills an element with a chart of the lines given. Returns an object that takes new lines, lights a place along x, and
// puts handles on it to drag. says : the chart in words.
function lineChart(holder, says) {
  const legend = make("ul", { class: "legend" }), said = readout(), drawing = make("div");
  holder.classList.add("chart");
  holder.replaceChildren(legend, drawing, said);
  let data = null, lit = null, handles = [], place = null, dragged = null;

  function ends(values, spare) {
    const known = values.filter((v) => v !== null && Number.isFinite(v));
    let low = Math.min(...known), high = Math.max(...known);
    if (high - low < 1e-9) { low -= 1; high += 1; }
    return [low - spare * (high - low), high + spare * (high - low)];
  }

  function draw() {
    const width = Math.max(280, Math.round(holder.clientWidth)), narrow = width < NARROW;
    const empty = !data || !data.series.some((s) => s.x.length > 1);
    said.hidden = empty;
    if (empty || !holder.clientWidth) { drawing.replaceChildren(); legend.replaceChildren(); return; }
    const height = Math.round(Math.max(220, Math.min(340, width * 0.38))), left = narrow ? NARROW_LEFT : CHART_ROOM.left;
    const right = width - CHART_ROOM.right, top = CHART_ROOM.top, bottom = height - CHART_ROOM.bottom;
    const [xLow, xHigh] = ends(data.series.flatMap((s) => s.x), 0);
    const sides = data.series.flatMap((s) => s.y.flatMap((v, k) => v === null ? [] : [v - (s.band ? s.band[k] || 0 : 0), v + (s.band ? s.band[k] || 0 : 0)]));
    const [yLow, yHigh] = ends(sides.concat(handles.map((h) => h.y)), SPARE);
    const across = (x) => left + (x - xLow) / (xHigh - xLow) * (right - left);
    const down = (y) => bottom - (y - yLow) / (yHigh - yLow) * (bottom - top);
    place = { across, down, value: (py) => yLow + (bottom - py) / (bottom - top) * (yHigh - yLow) };
    const n = (v) => String(Number(v.toFixed(1)));
    const at = (s, k, y = s.y[k]) => n(across(s.x[k])) + " " + n(down(y));
    const x = roundMarks(xLow, xHigh, narrow ? 5 : 8), y = roundMarks(yLow, yHigh, 6);
    const svg = make("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label": says,
      "data-box": [left, right, top, bottom, xLow, xHigh].join(" ") },
      data.spans.map((span) => make("rect", { x: n(across(Math.max(xLow, span.low))), y: top, height: bottom - top, class: "span",
        width: n(Math.max(0, across(Math.min(xHigh, span.high)) - across(Math.max(xLow, span.low)))) })),
      y.marks.map((v) => [make("path", { d: `M${left} ${n(down(v))}H${right}`, class: "grid" }),
        make("text", { x: left - 7, y: n(down(v)), dy: "0.35em", "text-anchor": "end" }, fixed(v, y.decimals))]),
      x.marks.map((v) => [make("path", { d: `M${n(across(v))} ${bottom}v5`, class: "axis" }),
        make("text", { x: n(across(v)), y: bottom + 19, "text-anchor": "middle" }, fixed(v, x.decimals))]),
      make("path", { d: `M${left} ${bottom}H${right}`, class: "axis" }),
      make("text", { x: 2, y: 13, class: "label" }, data.y_label),
      make("text", { x: right, y: height - 6, "text-anchor": "end", class: "label" }, data.x_label),
      data.series.map((s) => drawn(s, at)),
      lit !== null && lit >= xLow && lit <= xHigh && make("path", { d: `M${n(across(lit))} ${top}V${bottom}`, class: "lit" }),
      handles.map((h, k) => handle(h, k)));
    // A handle that has the keyboard keeps it: figures come while one drags by arrow.
    const held = Array.from(drawing.querySelectorAll(".handle")).indexOf(document.activeElement);
    drawing.replaceChildren(svg);
    if (held >= 0 && held < handles.length) svg.querySelectorAll(".handle")[held].focus({ preventScroll: true });
    followChart(svg, data, said);
    legend.replaceChildren(
      ...data.series.map((s) => make("li", {}, sample(s.band && make("rect", { x: 2, y: 3, width: 32, height: 12, class: "band s" + s.style }),
        s.line && make("path", { d: "M2 9H34", class: "line s" + s.style }), s.points && point("18 9", s.style)), s.name)),
      ...data.spans.map((span) => make("li", {}, sample(make("rect", { x: 2, y: 3, width: 32, height: 12, class: "span" })), span.name)));
  }
  const sample = (...inside) => make("svg", { viewBox: "0 0 36 18", width: 36, height: 18, "aria-hidden": "true", class: "sample" }, inside);
  const point = (at, style) => make("path", { d: "M" + at + POINT_SHAPES[style % POINT_SHAPES.length], class: "point s" + style });

  function drawn(s, at) {
    const known = s.x.map((_, k) => k).filter((k) => s.y[k] !== null), parts = [];
    if (s.band && known.length) {
      const edge = (side, list) => list.map((k) => at(s, k, s.y[k] + side * (s.band[k] || 0)));
      parts.push(make("path", { d: "M" + [...edge(-1, known), ...edge(1, known.slice().reverse())].join("L") + "Z", class: "band s" + s.style }));
    }
    if (s.line) {
      const d = known.map((k, i) => (i && known[i - 1] === k - 1 ? "L" : "M") + at(s, k)).join("");
      if (d) parts.push(make("path", { d, class: "line s" + s.style }));
    }
    if (s.points) parts.push(known.map((k) => point(at(s, k), s.style)));
    return parts;
  }

  // ---- handles to drag: {x, y, name, step, moved(y), done(y)} ---------------------------------
  function handle(h, k) {
    const made = make("circle", { cx: place.across(h.x), cy: place.down(h.y), r: 9, class: "handle", tabindex: 0, role: "slider",
      "aria-label": h.name, "aria-valuenow": h.y.toFixed(data.decimals[1]), "aria-orientation": "vertical",
      "aria-valuetext": fixed(h.y, data.decimals[1]) + " " + data.units[1] });
    const move = (y) => {
      h.y = y;
      made.setAttribute("cy", place.down(y));
      made.setAttribute("aria-valuetext", fixed(y, data.decimals[1]) + " " + data.units[1]);
      h.moved(y);
    };
    made.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      made.focus();
      made.setPointerCapture(event.pointerId);
      dragged = k;
    });
    made.addEventListener("pointermove", (event) => {
      if (dragged !== k) return;
      const svg = made.ownerSVGElement, box = svg.getBoundingClientRect();
      move(place.value((event.clientY - box.top) / box.height * svg.viewBox.baseVal.height));
    });
    for (const end of ["pointerup", "pointercancel"]) made.addEventListener(end, () => {
      if (dragged !== k) return;
      dragged = null;
      h.done(h.y);
    });
    made.addEventListener("keydown", (event) => {
      const by = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
      if (!by) return;
      event.preventDefault();
      move(h.y + by * h.step);
      h.done(h.y);
    });
    return made;
  }

  let asked = null;
  new ResizeObserver(() => {
    if (asked === holder.clientWidth) return;
    asked = holder.clientWidth;
    draw();
  }).observe(holder);
  return {
    update(given) { data = given; if (dragged === null) draw(); },
    light(x) { if (lit !== x) { lit = x; if (dragged === null) draw(); } },
    handles(given) { if (dragged !== null) return; handles = given; draw(); },
  };
}
