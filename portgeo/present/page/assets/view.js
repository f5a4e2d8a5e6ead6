// The port in 3D: turn it, cut it open, look into it, choose state and paint, read station, clock and value.
"use strict";
const VIEW_HINT = "Point at the port, tap it, or move the two sliders: station, clock position and value stand here.";
const VIEW_HELP = "Drag to turn, two fingers or Shift to move, click the picture and use the wheel to come closer. Thin " +
  "rings: stations. Dashed line: 6 o\u2019clock, the middle of the floor. Lines on the colors: the scale\u2019s steps.";
const VIEW_KEY = "Thin rings: stations. Dashed line: middle of the floor. Other lines: marks of the color scale.";
const VIEW_MOVES = {
  left: "Turn left", right: "Turn right", up: "Tip up", down: "Tip down", closer: "Closer", farther: "Farther",
  side: "From the side", entry: "Into the entry", exit: "Into the exit", below: "From below", home: "Start again",
};
const VIEW_KEYS = {
  ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "+": "closer", "=": "closer", "-": "farther",
  Home: "home",
};
const LETTER = 6.5, LINE = 14; // CSS pixels that a label takes, about
const SAME_SIZE = 0.1; // a model given anew that is as large, to this share, is drawn where the last one was

// Fills an element; `shown` is told the number of the model that is chosen. Returns an object that takes new data, lights a
// station and chooses a model, or null where there is no WebGL. brief : buttons for each turn are folded away.
function portView(holder, { brief = false, shown: tellShown = () => {} } = {}) {
  const canvas = make("canvas", { id: "view-canvas", role: "img", "aria-label": "the port" });
  const overlay = make("div", { id: "labels", "aria-hidden": "true" });
  const stage = make("div", { id: "stage", tabindex: 0, role: "group", "aria-label":
    "The port in 3D. Arrow keys turn it, plus and minus change its size, Home sets it back." }, canvas, overlay);
  const painter = portPainter(canvas);
  if (!painter) return null;
  const hint = brief ? "" : VIEW_HINT, said = make("output", { id: "reading", "aria-live": brief ? "off" : "polite" }, hint);
  const states = make("div"), paints = make("fieldset"), scale = make("div", { class: "scale" });
  const station = make("input", { type: "range", id: "read-station", min: 0, max: 1, step: 0.01 });
  const clock = make("input", { type: "range", id: "read-clock", min: 0, max: 11.5, step: 0.5, value: 6 });
  const opener = make("button", { type: "button", "aria-pressed": "false", onclick: () => openUp(!shown.open) }, "Cut open");
  let data = null, middles = {};

  // ---- what is shown -------------------------------------------------------------------------
  const home = { yaw: -0.29, pitch: -0.48, zoom: 1, x: 0, y: 0, inside: null };
  const shown = Object.assign({ model: 0, paint: null, point: null, open: false, lit: null, box: null }, home);
  const model = () => opened(data.models[shown.model]);
  const paint = () => data.paints.find((p) => p.name === shown.paint && p.part === model().part && p.of === model().of);

  function screen() {
    const cy = Math.cos(shown.yaw), sy = Math.sin(shown.yaw);
    const cp = Math.cos(shown.pitch), sp = Math.sin(shown.pitch);
    // Rows: right, up, towards the viewer.
    return [cy, sy, 0, -sy * sp, cy * sp, cp, sy * cp, -cy * cp, sp];
  }

  function middleOf(part) {
    // All states of a part turn about one middle, so that switching moves nothing.
    if (middles[part]) return middles[part];
    const low = [1e9, 1e9, 1e9], high = [-1e9, -1e9, -1e9];
    each(part, (x, y, z) => [x, y, z].forEach((v, k) => { low[k] = Math.min(low[k], v); high[k] = Math.max(high[k], v); }));
    const middle = low.map((v, k) => (v + high[k]) / 2);
    return middles[part] = { middle, radius: Math.hypot(...high.map((v, k) => v - low[k])) / 2 };
  }
  function each(part, take) {
    for (const m of data.models.filter((one) => one.part === part)) {
      const p = opened(m).xyz;
      for (let k = 0; k < p.length; k += 3) take(p[k], p[k + 1], p[k + 2]);
    }
  }

  function frame() {
    // What the part takes on the screen, as it is turned now: left, right, bottom, top.
    const { middle } = middleOf(model().part), m = screen(), box = [1e9, -1e9, 1e9, -1e9];
    each(model().part, (x, y, z) => {
      const a = x - middle[0], b = y - middle[1], c = z - middle[2];
      const right = m[0] * a + m[1] * b + m[2] * c, up = m[3] * a + m[4] * b + m[5] * c;
      box[0] = Math.min(box[0], right); box[1] = Math.max(box[1], right);
      box[2] = Math.min(box[2], up); box[3] = Math.max(box[3], up);
    });
    shown.box = box;
  }

  function placing() {
    const { middle, radius } = middleOf(model().part), w = canvas.clientWidth, h = canvas.clientHeight, b = shown.box;
    const m = screen(), rest = { m, middle, radius, w, h, lit: shown.lit };
    rest.open = shown.inside ? 2 : shown.open ? Math.sign(-m[7]) || 1 : 0; // left wall is +y, 9 o'clock
    if (shown.inside) {
      // The eye stands before an end, 1.2 of its width away; the end fills most of the picture.
      const { middle: at, size } = endOf(shown.inside), d = at.map((v, k) => v - middle[k]);
      const [right, up, out] = [0, 3, 6].map((row) => m[row] * d[0] + m[row + 1] * d[1] + m[row + 2] * d[2]);
      const eye = out + 1.2 * size, there = 1 - out / eye, s = shown.zoom * 0.86 * Math.min(w, h) * there / size;
      return Object.assign(rest, { near: 1 / eye, scale: s, x: shown.x - s * right / there, y: shown.y + s * up / there });
    }
    // CSS pixels in a millimetre; the labels need some room round the port.
    const s = shown.zoom * Math.min((w - 140) / (b[1] - b[0]), (h - 56) / (b[3] - b[2]));
    return Object.assign(rest, { near: 0, scale: s, x: shown.x - s * (b[0] + b[1]) / 2, y: shown.y + s * (b[2] + b[3]) / 2 });
  }

  function project(place, x, y, z) {
    const { m, middle, scale: s, w, h } = place, a = x - middle[0], b = y - middle[1], c = z - middle[2];
    const out = m[6] * a + m[7] * b + m[8] * c, there = Math.max(1 - out * place.near, 1e-3);
    return [
      w / 2 + place.x + s * (m[0] * a + m[1] * b + m[2] * c) / there,
      h / 2 + place.y - s * (m[3] * a + m[4] * b + m[5] * c) / there,
      out,
    ];
  }

  // ---- drawing -------------------------------------------------------------------------------
  function draw() {
    if (!data || !canvas.clientWidth) return;
    const place = placing();
    painter.draw(shown.model, model(), paint(), place, data.ring);
    label(place);
  }

  let asked = false;
  function redraw() {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; draw(); });
  }

  // ---- labels over the picture ---------------------------------------------------------------
  const tags = new Map();
  function tag(key, text, x, y, aside) {
    if (!tags.has(key)) tags.set(key, overlay.appendChild(make("span")));
    const made = tags.get(key);
    made.textContent = text;
    made.className = key === "point" ? "point" : "tag";
    made.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(${aside}%, -50%)`;
    made.hidden = false;
  }

  function rings(one) {
    // Middle and roof of the port at every round station, from the vertices near it.
    if (one.rings) return one.rings;
    const [first, last] = one.stations, at = [], near = (last - first) / 40;
    for (let s = Math.ceil(first / data.ring - 1e-6) * data.ring; s <= last + 1e-6; s += data.ring) at.push(s);
    if (last - at[at.length - 1] > data.ring / 3) at.push(last);
    else at[at.length - 1] = last;
    return one.rings = at.map((s) => ringAt(one, s, near)).filter((ring) => ring.ring.length);
  }
  function ringAt(one, s, near) {
    const middle = [0, 0, 0], ring = [];
    for (let k = 0; k < one.s.length; k++) if (Math.abs(one.s[k] - s) < near) ring.push(k);
    for (const k of ring) for (let j = 0; j < 3; j++) middle[j] += one.xyz[3 * k + j] / ring.length;
    return { s, middle, ring };
  }
  function endOf(which) {
    const one = model(), found = rings(one), [end, next] = which === "entry" ? found : found.slice(-2).reverse();
    const size = 2 * Math.max(...end.ring.map((k) => Math.hypot(...end.middle.map((v, j) => one.xyz[3 * k + j] - v))));
    return { middle: end.middle, size, out: end.middle.map((v, j) => v - next.middle[j]) };
  }

  function label(place) {
    for (const made of tags.values()) made.hidden = true;
    const one = model(), found = shown.inside ? [] : rings(one), written = [];
    found.forEach((here, k) => {
      const c = project(place, ...here.middle);
      let best = null, high = -1e9; // the ring's highest point on the screen; the exit's farthest right
      for (const i of here.ring) {
        const q = project(place, one.xyz[3 * i], one.xyz[3 * i + 1], one.xyz[3 * i + 2]);
        const rise = k === found.length - 1 ? q[0] - c[0] : c[1] - q[1] + 0.25 * (q[0] - c[0]);
        if (rise > high) { high = rise; best = q; }
      }
      const dx = best[0] - c[0], dy = best[1] - c[1], away = Math.hypot(dx, dy) || 1;
      const end = k === 0 ? " entry" : k === found.length - 1 ? " exit" : "";
      const text = number(here.s / data.length.per, 2) + end, x = best[0] + 16 * dx / away, y = best[1] + 16 * dy / away;
      // The text runs away from the port, the entry's away from the next.
      const aside = k ? Math.max(-100, Math.min(0, -50 + 90 * dx / away)) : -100, wide = LETTER * text.length;
      const low = x + aside / 100 * wide, crowded = written.some((w) => low < w[1] + LETTER && low + wide > w[0] - LETTER && Math.abs(y - w[2]) < LINE);
      if (crowded && k > 0 && k < found.length - 1) return;
      written.push([low, low + wide, y]);
      tag("ring" + k, text, x, y, aside);
    });
    if (shown.point) {
      const q = project(place, ...shown.point.xyz);
      tag("point", "", q[0], q[1], -50);
    }
  }

  const number = (value, decimals) => String(Number(value.toFixed(decimals)));

  // ---- reading a place -----------------------------------------------------------------------
  function clockText(hours) {
    const half = Math.round(hours * 2) % 24;
    return (Math.floor(half / 2) || 12) + (half % 2 ? ":30" : "");
  }

  function valueText(shares, weights, corners) {
    const p = paint(), name = p.label.split(";")[0];
    if (corners.some((k) => shares[k] === UNKNOWN)) return name + " not known";
    let share = 0;
    if (p.classes.length) share = shares[corners[weights.indexOf(Math.max(...weights))]] / LEVELS;
    else corners.forEach((k, j) => { share += weights[j] * shares[k] / LEVELS; });
    const value = p.low + share * (p.high - p.low);
    if (p.classes.length) return p.label + ": " + p.classes[Math.max(0, Math.min(p.classes.length - 1, Math.round(value)))];
    return name + " " + fixed(value / p.per, p.decimals) + (p.unit ? " " + p.unit : "");
  }

  function read(corners, weights) {
    const one = model();
    let s = 0, x = 0, y = 0;
    const xyz = [0, 0, 0];
    corners.forEach((k, j) => {
      s += weights[j] * one.s[k];
      x += weights[j] * one.round[2 * k];
      y += weights[j] * one.round[2 * k + 1];
      for (let i = 0; i < 3; i++) xyz[i] += weights[j] * one.xyz[3 * k + i];
    });
    const hours = ((Math.atan2(x, y) / (2 * Math.PI)) * 12 + 12) % 12;
    shown.point = { xyz, corners, weights };
    said.textContent = "station " + (s / data.length.per).toFixed(data.length.decimals) + " " + data.length.unit +
      ", " + clockText(hours) + " o\u2019clock, " + valueText(one.share[shown.paint], weights, corners);
    redraw();
  }

  function pick(px, py) {
    const one = model(), place = placing(), n = one.s.length, f = one.faceList, side = Math.abs(place.open) < 1.5 ? place.open : 0;
    const q = new Float32Array(3 * n);
    for (let k = 0; k < n; k++) q.set(project(place, one.xyz[3 * k], one.xyz[3 * k + 1], one.xyz[3 * k + 2]), 3 * k);
    let best = null, nearest = -1e9;
    for (let k = 0; k < f.length; k += 3) {
      if (side && (one.round[2 * f[k]] + one.round[2 * f[k + 1]] + one.round[2 * f[k + 2]]) * side > 0) continue; // cut away
      const a = 3 * f[k], b = 3 * f[k + 1], c = 3 * f[k + 2];
      const d = (q[b] - q[a]) * (q[c + 1] - q[a + 1]) - (q[c] - q[a]) * (q[b + 1] - q[a + 1]);
      if (!d) continue;
      const v = ((px - q[a]) * (q[c + 1] - q[a + 1]) - (q[c] - q[a]) * (py - q[a + 1])) / d;
      const w = ((q[b] - q[a]) * (py - q[a + 1]) - (px - q[a]) * (q[b + 1] - q[a + 1])) / d;
      if (v < 0 || w < 0 || v + w > 1) continue;
      const z = (1 - v - w) * q[a + 2] + v * q[b + 2] + w * q[c + 2];
      if (z > nearest) { nearest = z; best = [[f[k], f[k + 1], f[k + 2]], [1 - v - w, v, w]]; }
    }
    return best;
  }

  function readAt(at, hours) {
    // The vertex nearest to a station and clock; a turn of the clock counts as the port's girth, about.
    const one = model(), a = hours / 12 * 2 * Math.PI, girth = middleOf(one.part).radius / 2;
    let best = 0, least = 1e18;
    for (let k = 0; k < one.s.length; k++) {
      const ds = one.s[k] - at;
      const dx = one.round[2 * k] - Math.sin(a), dy = one.round[2 * k + 1] - Math.cos(a);
      const d = ds * ds + girth * girth * (dx * dx + dy * dy);
      if (d < least) { least = d; best = k; }
    }
    read([best], [1]);
  }
  const reread = () => readAt(Number(station.value), Number(clock.value));

  // ---- choosing ------------------------------------------------------------------------------
  const press = (button, is) => button.setAttribute("aria-pressed", String(is));
  function choose(index, name) {
    const part = data.models[shown.model] && data.models[shown.model].part;
    shown.model = index;
    const one = model(), has = Object.keys(one.values);
    shown.paint = has.includes(name) ? name : has[0];
    if (one.part !== part || !shown.box) look(home);
    for (const b of states.querySelectorAll("button")) press(b, Number(b.dataset.model) === index);
    for (const b of paints.querySelectorAll("button")) {
      press(b, b.dataset.paint === shown.paint);
      b.disabled = !has.includes(b.dataset.paint);
    }
    scale.replaceChildren(scaleBar(paint()));
    canvas.setAttribute("aria-label", one.part + ", " + one.state + ", painted by " + paint().label);
    station.min = one.stations[0];
    station.max = one.stations[1];
    station.step = (one.stations[1] - one.stations[0]) / 200;
    if (shown.point) reread(); else said.textContent = hint;
    tellShown(index);
    redraw();
  }

  function look(from) {
    Object.assign(shown, home, from);
    frame();
    redraw();
  }
  function lookInto(which) {
    const { out } = endOf(which), far = Math.hypot(...out);
    look({ yaw: Math.atan2(out[0], -out[1]), pitch: Math.asin(out[2] / far), inside: which });
  }
  function openUp(is) {
    shown.open = is;
    press(opener, is);
    redraw();
  }
  function turn(yaw, pitch) {
    shown.yaw += yaw;
    shown.pitch = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, shown.pitch + pitch));
    redraw();
  }
  function zoom(by) {
    const before = shown.zoom;
    shown.zoom = Math.max(0.6, Math.min(12, shown.zoom * by));
    shown.x *= shown.zoom / before;
    shown.y *= shown.zoom / before;
    redraw();
  }
  const moves = {
    left: () => turn(0.15, 0), right: () => turn(-0.15, 0), up: () => turn(0, -0.15), down: () => turn(0, 0.15),
    closer: () => zoom(1.25), farther: () => zoom(0.8), home: () => look(home),
    side: () => look({ yaw: 0, pitch: 0 }), below: () => look({ yaw: 0, pitch: -Math.PI / 2 }),
    entry: () => lookInto("entry"), exit: () => lookInto("exit"),
  };

  viewGestures({ stage, canvas, moves, turn, zoom, redraw, pan: (dx, dy) => { shown.x += dx; shown.y += dy; },
    readUnder: (spot) => { const found = data && pick(...spot); if (found) read(...found); } });
  for (const slider of [station, clock]) slider.addEventListener("input", reread);
  canvas.addEventListener("webglcontextlost", () => document.body.classList.remove("live"));
  new ResizeObserver(redraw).observe(canvas);
  holder.replaceChildren(...viewLayout({ brief, states, paints, stage, scale, said, station, clock, opener, moves }));

  return {
    // New models in place of the last: what is chosen, and how it is turned, stay.
    update(given) {
      const was = data && { state: model().state, part: model().part, ...middleOf(model().part) };
      data = given;
      painter.forget();
      middles = {};
      shown.point = null;
      viewChoices(data, states, paints, choose, () => [shown.model, shown.paint]);
      const same = was ? data.models.findIndex((m) => m.state === was.state && m.part === was.part) : -1;
      shown.model = same < 0 ? data.first : same;
      const now = middleOf(model().part);
      if (was && was.part === model().part && Math.abs(now.radius / was.radius - 1) < SAME_SIZE) middles[was.part] = was;
      else shown.box = null;
      choose(shown.model, shown.paint);
    },
    choose: (state, part) => {
      const k = data ? data.models.findIndex((m) => m.state === state && (!part || m.part === part)) : -1;
      if (k >= 0 && k !== shown.model) choose(k, shown.paint);
    },
    paint: (name) => { if (data) choose(shown.model, name); },
    picture: () => { draw(); return canvas.toDataURL(); }, // for paper, where a canvas is not drawn
    light: (at) => { if (shown.lit !== at) { shown.lit = at; redraw(); } },
  };
}
