// Drawing with WebGL: a model, one of its paints with lines at the scale's marks, rings and the floor's line.
"use strict";
const VERTEX = `#version 300 es
in vec3 place; in vec3 normal; in float station; in vec2 round_; in vec2 painted;
uniform mat3 turn; uniform vec3 middle; uniform vec2 scale; uniform vec2 shift; uniform float depth; uniform float near;
out vec3 seen; out vec3 side; out float along; out vec2 clock; out vec2 value; flat out float only;
void main() {
  seen = turn * (place - middle); side = turn * normal;
  along = station; clock = round_; value = painted; only = painted.x;
  float w = 1.0 - seen.z * near; // near: 1 over the eye's distance, 0 for a drawing without perspective
  gl_Position = vec4(seen.xy * scale + shift * w, -seen.z / depth * w, w);
}`;
const FRAGMENT = `#version 300 es
precision highp float;
in vec3 seen; in vec3 side; in float along; in vec2 clock; in vec2 value; flat in float only;
uniform sampler2D shades; uniform float marks; uniform float zero; uniform float classes; uniform float ring;
uniform float pixel; uniform float open; uniform vec2 ends; uniform float lit;
out vec4 colour;
float line(float f, float wide) {
  float rate = fwidth(f);
  return rate < 1e-5 ? 0.0 : 1.0 - smoothstep(wide - 0.7, wide + 0.7, abs(fract(f - 0.5) - 0.5) / rate);
}
float hatch(float k) {
  vec2 at = gl_FragCoord.xy / pixel;
  float up = step(fract((at.x - at.y) / 9.0), 0.16), down = step(fract((at.x + at.y) / 9.0), 0.16);
  if (k < 0.5) return max(up, down);
  if (k < 1.5) return up;
  if (k < 2.5) return down;
  if (k < 3.5) return 0.0;
  return step(fract((k < 4.5 ? at.y : at.x) / 7.0), 0.2);
}
void main() {
  float rate = fwidth(along);
  if (open != 0.0) { // the half towards the viewer and the closed ends are left away; 2: the ends alone
    if (abs(open) < 1.5 && clock.x * open > 0.0) discard;
    if (rate < 1e-4 && (abs(along - ends.x) < 1e-3 || abs(along - ends.y) < 1e-3)) discard;
  }
  vec3 flat_ = normalize(cross(dFdx(seen), dFdy(seen))), smooth_ = normalize(side);
  if (smooth_.z < 0.0) smooth_ = -smooth_;
  vec3 n = dot(flat_, smooth_) < 0.75 ? flat_ : smooth_;
  float bright = 0.675 + 0.325 * dot(n, normalize(vec3(-0.35, 0.45, 0.82))); // dark half a turn from the light: the floor is read
  bool known = value.y > 0.99;
  float v = classes > 0.0 ? (floor(only * classes) + 0.5) / classes : value.x;
  vec3 paint = known ? texture(shades, vec2(clamp(v, 0.002, 0.998), 0.5)).rgb : vec3(0.85);
  vec3 ink = dot(paint, vec3(0.3, 0.6, 0.1)) > 0.45 ? vec3(0.05) : vec3(1.0);
  float f = value.x * marks;
  float drawn = known && classes == 0.0 && abs(f - zero) > 0.5 ? 0.85 * line(f, 0.7 * pixel) : 0.0;
  if (known && classes > 0.0) drawn = 0.55 * hatch(floor(only * classes));
  drawn = max(drawn, 0.4 * line(along / ring, 0.35 * pixel));
  vec2 c = normalize(clock);
  if (c.y < 0.0 && fract(along / ring * 4.0) < 0.5)
    drawn = max(drawn, 1.0 - smoothstep(1.0, 2.0, abs(c.x) / fwidth(c.x) / pixel));
  vec3 shown = mix(paint, ink, drawn) * bright;
  float off = abs(along - lit) / max(rate, 1e-5) / pixel; // the ring of the reading in hand, edged dark to stand out
  shown = mix(shown, vec3(0.05), 1.0 - smoothstep(3.6, 4.6, off));
  shown = mix(shown, vec3(1.0, 0.32, 0.0), 1.0 - smoothstep(2.0, 3.0, off));
  colour = vec4(shown, 1.0);
}`;

// Returns an object that draws (number and model, paint, its place on the screen, mm from ring to ring) and forgets
// the models that it was given, or null where there is no WebGL.
function portPainter(canvas) {
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: true });
  let program = null;
  const at = {}, where = {};
  const kept = new Map();

  function start() {
    if (!gl) return false;
    program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) return false;
    gl.useProgram(program);
    for (const name of ["place", "normal", "station", "round_", "painted"]) at[name] = gl.getAttribLocation(program, name);
    for (const name of ["turn", "middle", "scale", "shift", "depth", "marks", "zero", "classes", "ring", "pixel", "near",
      "open", "ends", "lit"])
      where[name] = gl.getUniformLocation(program, name);
    gl.enable(gl.DEPTH_TEST);
    gl.clearColor(0, 0, 0, 0);
    return true;
  }

  function buffer(key, make, kind) {
    if (!kept.has(key)) {
      const made = gl.createBuffer();
      gl.bindBuffer(kind || gl.ARRAY_BUFFER, made);
      gl.bufferData(kind || gl.ARRAY_BUFFER, make(), gl.STATIC_DRAW);
      kept.set(key, made);
    }
    gl.bindBuffer(kind || gl.ARRAY_BUFFER, kept.get(key));
  }

  function feed(name, size, key, make) {
    buffer(key, make);
    if (at[name] < 0) return;
    gl.enableVertexAttribArray(at[name]);
    gl.vertexAttribPointer(at[name], size, gl.FLOAT, false, 0, 0);
  }

  function painted(shares) {
    const out = new Float32Array(2 * shares.length);
    shares.forEach((v, k) => { if (v !== UNKNOWN) { out[2 * k] = v / LEVELS; out[2 * k + 1] = 1; } });
    return out;
  }

  function texture(p) {
    const key = ["shades", p.of, p.part, p.name].join(" ");
    if (!kept.has(key)) {
      const made = gl.createTexture(), rgb = new Uint8Array(bytes(p.shades));
      gl.bindTexture(gl.TEXTURE_2D, made);
      gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB, rgb.length / 3, 1, 0, gl.RGB, gl.UNSIGNED_BYTE, rgb);
      for (const side of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, side, gl.LINEAR);
      for (const side of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, side, gl.CLAMP_TO_EDGE);
      kept.set(key, made);
    }
    gl.bindTexture(gl.TEXTURE_2D, kept.get(key));
  }

  function draw(k, one, p, place, ring) {
    if (gl.isContextLost()) return;
    const pixel = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.max(1, Math.round(canvas.clientWidth * pixel)), h = Math.max(1, Math.round(canvas.clientHeight * pixel));
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const m = place.m;
    gl.viewport(0, 0, w, h);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    feed("place", 3, k + " place", () => one.xyz);
    feed("normal", 3, k + " normal", () => one.normals);
    feed("station", 1, k + " station", () => one.s);
    feed("round_", 2, k + " round", () => one.round);
    feed("painted", 2, k + " paint " + p.name, () => painted(one.share[p.name]));
    buffer(k + " faces", () => one.faceList, gl.ELEMENT_ARRAY_BUFFER);
    texture(p);
    gl.uniformMatrix3fv(where.turn, false, [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]]);
    gl.uniform3fv(where.middle, place.middle);
    gl.uniform2f(where.scale, 2 * place.scale / place.w, 2 * place.scale / place.h);
    gl.uniform2f(where.shift, 2 * place.x / place.w, -2 * place.y / place.h);
    gl.uniform1f(where.depth, 2 * place.radius);
    gl.uniform1f(where.marks, p.marks.length - 1);
    gl.uniform1f(where.zero, p.centred ? (p.marks.length - 1) * -p.low / (p.high - p.low) : -9);
    gl.uniform1f(where.classes, p.classes.length);
    gl.uniform1f(where.ring, ring);
    gl.uniform1f(where.pixel, pixel);
    gl.uniform1f(where.near, place.near);
    gl.uniform1f(where.open, place.open);
    gl.uniform2f(where.ends, ...one.stations);
    gl.uniform1f(where.lit, place.lit === null ? -1e9 : place.lit);
    gl.drawElements(gl.TRIANGLES, one.faceList.length, one.wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT, 0);
  }

  function forget() {
    for (const [key, made] of kept) key.startsWith("shades ") ? gl.deleteTexture(made) : gl.deleteBuffer(made);
    kept.clear();
  }

  return gl && start() ? { draw, forget } : null;
}
