// Charts: a line at the pointer, or where one taps, and what every series is there, in words over the chart.
"use strict";
(function () {
  const NEAR = 8; // pixels of the chart: a point this close to the pointer is read
  const HINT = "Point at the chart, or tap it: its values stand here.";

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

  function text(value, decimals, unit) {
    return value.toFixed(decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212") + (unit && "\u00a0" + unit);
  }

  function follow(svg, told, said) {
    const [left, right, top, bottom, low, high] = svg.dataset.box.split(" ").map(Number);
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "cursor");
    svg.append(line);
    const read = (event) => {
      const box = svg.getBoundingClientRect(), wide = svg.viewBox.baseVal.width;
      const at = Math.max(left, Math.min(right, (event.clientX - box.left) / box.width * wide));
      const perPixel = (high - low) / (right - left), x = low + (at - left) * perPixel;
      line.setAttribute("d", "M" + at.toFixed(1) + " " + top + "V" + bottom);
      const values = told.series.map((one) => [one.name, valueAt(one, x, NEAR * perPixel)]).filter((v) => v[1] !== null);
      said.textContent = told.of + " " + text(x, told.decimals[0], told.units[0]) + ": " + (values.length
        ? values.map(([name, value]) => name + " " + text(value, told.decimals[1], told.units[1])).join("; ")
        : "nothing known");
    };
    svg.addEventListener("pointermove", read);
    svg.addEventListener("pointerdown", read);
    svg.addEventListener("pointerleave", (event) => {
      if (event.pointerType !== "mouse") return; // what was tapped stays
      line.removeAttribute("d");
      said.textContent = HINT;
    });
  }

  for (const figure of document.querySelectorAll("figure[data-told]")) {
    const said = document.createElement("p");
    said.className = "readout";
    said.textContent = HINT;
    figure.querySelector(".legend").after(said);
    for (const svg of figure.querySelectorAll("svg[data-box]")) follow(svg, JSON.parse(figure.dataset.told), said);
  }
})();
