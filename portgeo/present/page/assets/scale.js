// A paint's scale: its colours with their marks, or its classes with the hatching that the picture has.
"use strict";
const SCALE_STOPS = 17, FIGURE_WIDTH = 9; // of the scale's own 520
const HATCHES = [
  "M4 17l14-14M14 17l14-14M24 17l9-9M4 3l14 14M14 3l14 14M24 3l9 9", "M4 17l14-14M14 17l14-14M24 17l9-9",
  "M4 3l14 14M14 3l14 14M24 3l9 9", "", "M2 7H34M2 12H34", "M9 3V16M18 3V16M27 3V16",
]; // in the order in which the picture's shader hatches them: colour is not alone

function scaleBar(paint) {
  const rgb = new Uint8Array(bytes(paint.shades)), last = rgb.length / 3 - 1;
  const colour = (share) => "#" + Array.from(rgb.slice(3 * Math.round(share * last), 3 * Math.round(share * last) + 3),
    (v) => v.toString(16).padStart(2, "0")).join("");
  if (paint.classes.length) {
    const sample = (k) => make("svg", { viewBox: "0 0 36 18", width: 36, height: 18, class: "sample", "aria-hidden": "true" },
      make("rect", { x: 2, y: 3, width: 32, height: 13, fill: colour((k + 0.5) / paint.classes.length) }),
      HATCHES[k % 6] && make("path", { d: HATCHES[k % 6], stroke: "#16181a", "stroke-width": 1, fill: "none" }));
    return make("ul", { class: "legend" }, paint.classes.map((text, k) => make("li", {}, sample(k), text)));
  }
  const label = paint.label + (paint.unit ? ", " + paint.unit : "");
  const stops = Array.from({ length: SCALE_STOPS }, (_, k) => k / (SCALE_STOPS - 1));
  const across = (mark) => (20 + 480 * (mark - paint.low) / (paint.high - paint.low)).toFixed(1);
  const figures = paint.marks.map((mark) => String(Number((mark / paint.per).toPrecision(6))).replace("-", "\u2212"));
  const middle = paint.centred ? Math.round((figures.length - 1) * -paint.low / (paint.high - paint.low)) : 0; // always written
  const every = Math.ceil((Math.max(...figures.map((text) => text.length)) * FIGURE_WIDTH + FIGURE_WIDTH) / (480 / Math.max(1, figures.length - 1)));
  const id = "shades-" + (paint.part + "-" + paint.name).replace(/[^a-z0-9]+/gi, "-");
  const words = (text, x, anchor) => make("text", { x, y: 14, "text-anchor": anchor }, text);
  return make("svg", { viewBox: "0 0 520 58", role: "img", "aria-label": "scale of " + label },
    make("defs", {}, make("linearGradient", { id },
      stops.map((share) => make("stop", { offset: share.toFixed(4), "stop-color": colour(share) })))),
    make("rect", { x: 20, y: 20, width: 480, height: 14, fill: `url(#${id})` }),
    paint.marks.map((mark, k) => [
      make("path", { d: `M${across(mark)} 34v6`, class: "axis" }),
      (k - middle) % every === 0 && make("text", { x: across(mark), y: 54, "text-anchor": "middle" }, figures[k]),
    ]),
    paint.low < 0 && paint.centred ? [words("added", 20, "start"), words("removed", 500, "end"), words(label, 260, "middle")]
      : words(label, 20, "start"));
}
