// The port in 3D: turn it, choose state and paint, read station, clock and value under the pointer.
"use strict";
(function () {
  const holder = document.getElementById("view-data");
  if (!holder) return;
  const data = JSON.parse(holder.textContent);
  const stage = document.getElementById("stage");
  const canvas = document.getElementById("view-canvas");
  const said = document.getElementById("reading");
  const overlay = document.getElementById("labels");
  const buttons = (name) => Array.from(document.querySelectorAll("[data-" + name + "]"));

  // ---- what is shown -------------------------------------------------------------------------
  const home = { yaw: -0.29, pitch: -0.48, zoom: 1, x: 0, y: 0 };
  const shown = Object.assign({ model: 0, paint: null, point: null }, home);
  const views = { side: [0, 0], entry: [-Math.PI / 2, 0], below: [0, -Math.PI / 2] };
  const model = () => opened(data.models[shown.model]);
  const paint = () => data.paints.find((p) => p.name === shown.paint && p.part === model().part);

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
  const middles = {};
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
    // CSS pixels in a millimetre; the labels need some room round the port.
    const scale = shown.zoom * Math.min((w - 140) / (b[1] - b[0]), (h - 56) / (b[3] - b[2]));
    const x = shown.x - scale * (b[0] + b[1]) / 2, y = shown.y + scale * (b[2] + b[3]) / 2;
    return { m: screen(), middle, radius, w, h, scale, x, y };
  }

  function project(place, x, y, z) {
    const { m, middle, scale, w, h, x: sx, y: sy } = place, a = x - middle[0], b = y - middle[1], c = z - middle[2];
    return [
      w / 2 + sx + scale * (m[0] * a + m[1] * b + m[2] * c),
      h / 2 + sy - scale * (m[3] * a + m[4] * b + m[5] * c),
      m[6] * a + m[7] * b + m[8] * c,
    ];
  }

  // ---- drawing -------------------------------------------------------------------------------
  const paintModel = portPainter(canvas);
  function draw() {
    const place = placing();
    paintModel(shown.model, model(), paint(), place, data.ring);
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
    if (!tags.has(key)) {
      const made = document.createElement("span");
      overlay.appendChild(made);
      tags.set(key, made);
    }
    const made = tags.get(key);
    made.textContent = text;
    made.className = key === "point" ? "point" : "tag";
    made.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(${aside}%, -50%)`;
    made.hidden = false;
  }

  function rings(one) {
    // Middle and roof of the port at every round station, from the vertices near it.
    if (one.rings) return one.rings;
    const found = [], n = one.s.length, near = (one.stations[1] - one.stations[0]) / 40;
    const [first, last] = one.stations, at = [];
    for (let s = Math.ceil(first / data.ring - 1e-6) * data.ring; s <= last + 1e-6; s += data.ring) at.push(s);
    if (last - at[at.length - 1] > data.ring / 3) at.push(last);
    else at[at.length - 1] = last;
    for (const s of at) {
      const middle = [0, 0, 0], ring = [];
      for (let k = 0; k < n; k++) if (Math.abs(one.s[k] - s) < near) ring.push(k);
      for (const k of ring) for (let j = 0; j < 3; j++) middle[j] += one.xyz[3 * k + j] / ring.length;
      if (ring.length) found.push({ s, middle, ring });
    }
    return one.rings = found;
  }

  function label(place) {
    for (const made of tags.values()) made.hidden = true;
    const one = model(), found = rings(one);
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
      tag("ring" + k, number(here.s / data.length.per, 2) + end, best[0] + 16 * dx / away, best[1] + 16 * dy / away,
        Math.max(-100, Math.min(0, -50 + 90 * dx / away))); // beside the port the text runs away from it
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
    const text = (value / p.per).toFixed(p.decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212");
    return name + " " + text + (p.unit ? " " + p.unit : "");
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
    const one = model(), place = placing(), n = one.s.length, f = one.faceList;
    const q = new Float32Array(3 * n);
    for (let k = 0; k < n; k++) q.set(project(place, one.xyz[3 * k], one.xyz[3 * k + 1], one.xyz[3 * k + 2]), 3 * k);
    let best = null, nearest = -1e9;
    for (let k = 0; k < f.length; k += 3) {
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

  function readAt(station, hours) {
    // The vertex nearest to a station and clock; a turn of the clock counts as the port's girth, about.
    const one = model(), a = hours / 12 * 2 * Math.PI, girth = middleOf(one.part).radius / 2;
    let best = 0, least = 1e18;
    for (let k = 0; k < one.s.length; k++) {
      const ds = one.s[k] - station;
      const dx = one.round[2 * k] - Math.sin(a), dy = one.round[2 * k + 1] - Math.cos(a);
      const d = ds * ds + girth * girth * (dx * dx + dy * dy);
      if (d < least) { least = d; best = k; }
    }
    read([best], [1]);
  }

  // ---- choosing ------------------------------------------------------------------------------
  function choose(index, name) {
    const part = data.models[shown.model].part;
    shown.model = index;
    const has = Object.keys(data.models[index].values);
    shown.paint = has.includes(name) ? name : has[0];
    if (data.models[index].part !== part || !shown.box) look(home);
    for (const b of buttons("model")) b.setAttribute("aria-pressed", String(Number(b.dataset.model) === index));
    for (const b of buttons("paint")) {
      b.setAttribute("aria-pressed", String(b.dataset.paint === shown.paint));
      b.disabled = !has.includes(b.dataset.paint);
    }
    for (const s of buttons("scale")) s.hidden = s.dataset.scale !== data.models[index].part + " " + shown.paint;
    for (const w of buttons("words")) w.hidden = Number(w.dataset.words) !== index;
    const one = model();
    canvas.setAttribute("aria-label", one.part + ", " + one.state + ", painted by " + paint().label);
    station.min = one.stations[0];
    station.max = one.stations[1];
    station.step = (one.stations[1] - one.stations[0]) / 200;
    if (shown.point) reread(); else said.textContent = hint;
    redraw();
  }

  const station = document.getElementById("read-station"), clock = document.getElementById("read-clock");
  const hint = said.textContent;
  const reread = () => readAt(Number(station.value), Number(clock.value));

  function look(from) {
    Object.assign(shown, home, from);
    frame();
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
  };
  for (const name of Object.keys(views)) moves[name] = () => look({ yaw: views[name][0], pitch: views[name][1] });
  const keys = {
    ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "+": "closer", "=": "closer", "-": "farther",
    Home: "home",
  };

  function listen() {
    for (const b of buttons("model")) b.addEventListener("click", () => choose(Number(b.dataset.model), shown.paint));
    for (const b of buttons("paint")) b.addEventListener("click", () => choose(shown.model, b.dataset.paint));
    for (const b of buttons("move")) b.addEventListener("click", moves[b.dataset.move]);
    for (const slider of [station, clock]) slider.addEventListener("input", reread);
    stage.addEventListener("keydown", (event) => {
      if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      moves[keys[event.key]]();
    });
    const down = new Map();
    const spot = (event) => {
      const box = canvas.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    const readUnder = (event) => {
      const found = pick(...spot(event));
      if (found) read(...found);
    };
    canvas.addEventListener("pointerdown", (event) => {
      down.set(event.pointerId, spot(event));
      canvas.setPointerCapture(event.pointerId);
      if (event.pointerType !== "mouse") readUnder(event);
    });
    canvas.addEventListener("pointermove", (event) => {
      const was = down.get(event.pointerId), now = spot(event);
      if (!was) { if (event.pointerType === "mouse") readUnder(event); return; }
      const dx = now[0] - was[0], dy = now[1] - was[1];
      if (down.size === 2) {
        const other = Array.from(down).find(([id]) => id !== event.pointerId)[1];
        const gap = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
        zoom(gap(now) / gap(was));
        shown.x += dx / 2;
        shown.y += dy / 2;
        redraw();
      } else if (event.shiftKey) {
        shown.x += dx;
        shown.y += dy;
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
    canvas.addEventListener("webglcontextlost", () => document.body.classList.remove("live"));
    new ResizeObserver(redraw).observe(canvas);
  }

  if (!paintModel) return;
  document.body.classList.add("live");
  listen();
  choose(data.first, data.models[data.first] && Object.keys(data.models[data.first].values)[0]);
})();
