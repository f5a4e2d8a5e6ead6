// The models as the page holds them: whole numbers of 16 bits, opened into what is drawn and read.
"use strict";
function bytes(text) {
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k++) out[k] = raw.charCodeAt(k);
  return out.buffer;
}
const words = (text) => new Uint16Array(bytes(text));
const UNKNOWN = 65535, LEVELS = 65534;

function opened(model) {
  if (model.xyz) return model;
  const raw = words(model.points), n = raw.length / 3;
  model.faceList = model.wide ? new Uint32Array(bytes(model.faces)) : words(model.faces);
  model.xyz = new Float32Array(3 * n);
  for (let k = 0; k < 3 * n; k++) model.xyz[k] = model.low[k % 3] + raw[k] / 65535 * model.size;
  const s = words(model.station), c = words(model.clock), span = model.stations[1] - model.stations[0];
  model.s = Float32Array.from(s, (v) => model.stations[0] + v / LEVELS * span);
  model.round = new Float32Array(2 * n); // sine and cosine of the clock: no seam at 12
  for (let k = 0; k < n; k++) {
    const a = c[k] / LEVELS * 2 * Math.PI;
    model.round[2 * k] = Math.sin(a);
    model.round[2 * k + 1] = Math.cos(a);
  }
  model.share = {};
  for (const name of Object.keys(model.values)) model.share[name] = words(model.values[name]);
  model.normals = normals(model.xyz, model.faceList);
  return model;
}

function normals(p, f) {
  const out = new Float32Array(p.length);
  for (let k = 0; k < f.length; k += 3) {
    const a = 3 * f[k], b = 3 * f[k + 1], c = 3 * f[k + 2];
    const ux = p[b] - p[a], uy = p[b + 1] - p[a + 1], uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a], vy = p[c + 1] - p[a + 1], vz = p[c + 2] - p[a + 2];
    const n = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    for (const i of [a, b, c]) for (let j = 0; j < 3; j++) out[i + j] += n[j];
  }
  return out;
}

// Models that were made one by one, each with scales of its own, as one. sets : [name of its model or null for the model's
// own, what was made].
function together(sets) {
  const mark = (list, of) => list.map((one) => Object.assign(one, { of }));
  return Object.assign({}, sets[0][1], {
    paints: sets.flatMap(([, data], of) => mark(data.paints, of)),
    models: sets.flatMap(([name, data], of) => mark(data.models, of).map((one) => Object.assign(one, name && { state: name }))),
  });
}
