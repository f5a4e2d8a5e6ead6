// Where the reading in hand is taken: the section with that dimension lit, and the port from the side with the station's
// line lit, or the mold as its points lie on squared paper. Drawn from the cells as they stand; the figures are the server's.
"use strict";
const TAKEN = {
  station: "Along the middle of the port, from the entry face.", height: "Roof to floor, across the middle, square to the port.",
  width: "Wall to wall, across the middle, square to the port.", diameter: "Across the round section.",
  corner: "All four corners, by radius gauge.", corner_roof: "The two corners at the roof, by radius gauge.",
  corner_floor: "The two corners at the floor, by radius gauge.", turn: "How far the port has turned towards the floor so far.",
  swing: "How far the port has turned towards the right wall so far.", rise: "Middle of the section above the line; below is minus.",
  shift: "Middle of the section left of the line; right is minus.",
  floor_x: "Where the line on the mold meets the floor: how far in from the flange.", floor_z: "Where it meets the floor: how high over the level line.",
  roof_x: "Where the line on the mold meets the roof: how far in from the flange.", roof_z: "Where it meets the roof: how high over the level line.",
  left_y: "Seen from above: where the line ends on the left, off one straight line.", right_y: "Seen from above: where the line ends on the right; right of the straight line is minus.",
};

function whereTaken(holder) {
  const words = make("p", { class: "taken" }), pictures = make("div", { class: "pictures", role: "img" });
  holder.replaceChildren(pictures, words);
  const n = (v) => v.toFixed(1);

  // A traced section by its points, the one in hand lit.
  function traced(points, lit) {
    if (points.length < 2) return null;
    const [xs, ys] = [points.map((one) => one.x), points.map((one) => one.y)], low = [Math.min(...xs), Math.min(...ys)];
    const size = 132 / (Math.max(Math.max(...xs) - low[0], Math.max(...ys) - low[1]) || 1), wide = (Math.max(...xs) - low[0]) * size;
    const high = (Math.max(...ys) - low[1]) * size, x = (v) => n((v - low[0]) * size + 10), y = (v) => n(24 + high - (v - low[1]) * size);
    const hot = points.find((one) => one.row === lit);
    return make("svg", { viewBox: `0 0 ${n(wide + 20)} ${n(high + 48)}`, "aria-hidden": "true" },
      make("text", { x: n(wide / 2 + 10), y: 12, "text-anchor": "middle" }, "roof"), make("text", { x: n(wide / 2 + 10), y: n(high + 44), "text-anchor": "middle" }, "floor"),
      make("path", { class: "metal", d: points.map((one, k) => (k ? "L" : "M") + x(one.x) + " " + y(one.y)).join("") }),
      points.length < 60 && points.map((one) => make("circle", { class: "dot", cx: x(one.x), cy: y(one.y), r: 2 })),
      hot && make("circle", { class: "dot hot", cx: x(hot.x), cy: y(hot.y), r: 5 }));
  }

  function section(at, column) {
    const h = at.height || at.diameter || at.width, w = at.shape === "round" ? h : at.width || h;
    if (!h || at.shape === "outline") return null;
    const size = 132 / Math.max(h, w), height = h * size, width = w * size, cx = 100, cy = 92;
    const [left, right, top, bottom] = [cx - width / 2, cx + width / 2, cy - height / 2, cy + height / 2];
    const most = Math.min(width, height) / 2, radius = (v) => Math.min(most, (v ?? at.corner ?? 0) * size);
    const roof = at.shape === "rect" ? radius(at.corner_roof) : 0, floor = at.shape === "rect" ? radius(at.corner_floor) : 0;
    const shape = at.shape === "rect"
      ? `M${n(left + roof)} ${n(top)}H${n(right - roof)}a${n(roof)} ${n(roof)} 0 0 1 ${n(roof)} ${n(roof)}V${n(bottom - floor)}` +
        `a${n(floor)} ${n(floor)} 0 0 1 ${n(-floor)} ${n(floor)}H${n(left + floor)}a${n(floor)} ${n(floor)} 0 0 1 ${n(-floor)} ${n(-floor)}` +
        `V${n(top + roof)}a${n(roof)} ${n(roof)} 0 0 1 ${n(roof)} ${n(-roof)}Z`
      : `M${n(left)} ${n(cy)}a${n(width / 2)} ${n(height / 2)} 0 1 0 ${n(width)} 0a${n(width / 2)} ${n(height / 2)} 0 1 0 ${n(-width)} 0Z`;
    const arc = (r, up) => r && [left, right].map((x) => {
      const side = x === left ? 1 : -1, y = up ? top : bottom, down = up ? 1 : -1;
      return make("path", { class: "hot", d: `M${n(x)} ${n(y + down * r)}A${n(r)} ${n(r)} 0 0 ${(side > 0) === up ? 1 : 0} ${n(x + side * r)} ${n(y)}` });
    });
    const arrows = { height: `M${cx} ${n(top)}V${n(bottom)}M${cx - 5} ${n(top + 9)}L${cx} ${n(top)}l5 9M${cx - 5} ${n(bottom - 9)}L${cx} ${n(bottom)}l5 -9`,
      width: `M${n(left)} ${cy}H${n(right)}M${n(left + 9)} ${cy - 5}L${n(left)} ${cy}l9 5M${n(right - 9)} ${cy - 5}L${n(right)} ${cy}l-9 5` };
    const dimension = column === "diameter" ? "height" : column;
    return make("svg", { viewBox: `${n(cx - Math.max(width, 44) / 2 - 6)} 0 ${n(Math.max(width, 44) + 12)} 184`, "aria-hidden": "true" }, make("path", { d: shape, class: "metal" }),
      make("path", { d: `M${cx} ${n(top - 12)}V${n(top - 4)}M${cx} ${n(bottom + 4)}v8`, class: "axis" }),
      make("text", { x: cx, y: 12, "text-anchor": "middle" }, "roof"), make("text", { x: cx, y: 180, "text-anchor": "middle" }, "floor"),
      arrows[dimension] && make("path", { d: arrows[dimension], class: "hot" }),
      ["corner", "corner_roof"].includes(column) && arc(roof, true), ["corner", "corner_floor"].includes(column) && arc(floor, false));
  }

  function side(table, row) {
    // The port from the side: from station to station on an arc, by the headings read so far.
    // Of one that splits the trunk and the leg in hand, else its first leg.
    const all = table.rows.map((_, k) => rowOf(table, k + 1)), legOf = (one) => one.text.leg || "";
    const leg = legOf(all[row - 1] || all[0]) || all.map(legOf).find(Boolean);
    const seen = all.filter((one) => one.station !== null && ["", leg].includes(legOf(one)));
    if (seen.length < 2) return null;
    let x = 0, z = 0, s = seen[0].station, turn = 0;
    const places = seen.map((one) => {
      const next = one.turn === null ? turn : one.turn * Math.PI / 180, middle = (turn + next) / 2, step = one.station - s;
      x += step * Math.cos(middle);
      z -= step * Math.sin(middle);
      [s, turn] = [one.station, next];
      const h = one.height || one.diameter || (one.shape === "round" && one.width) || null, rise = one.rise || 0, up = [Math.sin(turn), Math.cos(turn)];
      return { row: one.row, h, roof: h && [x + up[0] * (rise + h / 2), z + up[1] * (rise + h / 2)],
        floor: h && [x + up[0] * (rise - h / 2), z + up[1] * (rise - h / 2)], middle: [x + up[0] * rise, z + up[1] * rise], up };
    });
    const known = places.filter((one) => one.h), every = known.flatMap((one) => [one.roof, one.floor]).concat(places.map((one) => one.middle));
    const low = [0, 1].map((k) => Math.min(...every.map((p) => p[k]))), high = [0, 1].map((k) => Math.max(...every.map((p) => p[k])));
    const scale = Math.min(268 / (high[0] - low[0] || 1), 152 / (high[1] - low[1] || 1));
    const at = (p) => n(16 + (p[0] - low[0]) * scale) + " " + n(16 + (high[1] - p[1]) * scale);
    const line = (list) => list.map((p, k) => (k ? "L" : "M") + at(p)).join("");
    const lit = places.find((one) => one.row === row), reach = lit && (lit.h || (known[0] ? known[0].h : 1)) / 2 * 1.12;
    const across = lit && [1, -1].map((way) => lit.middle.map((v, k) => v + way * lit.up[k] * reach));
    const wide = n(32 + (high[0] - low[0]) * scale);
    return make("svg", { viewBox: `0 0 ${wide} 184`, "aria-hidden": "true" },
      known.length > 1 && make("path", { class: "metal", d: line([...known.map((one) => one.roof), ...known.map((one) => one.floor).reverse()]) + "Z" }),
      make("path", { class: "axis dashed", d: line(places.map((one) => one.middle)) }),
      known.map((one) => make("path", { class: "faint", d: line([one.roof, one.floor]) })),
      lit && make("path", { class: "hot", d: line(across) }));
  }

  // The mold as its points lie on the paper, each as soon as it is read: from the side, or from above where the ends of
  // its width are in hand. A place of which one number is known stands as a line through it.
  function onPaper(table, row, name) {
    const above = name === "left_y" || name === "right_y", inward = (one) => (one.floor_x + one.roof_x) / 2;
    const seen = table.rows.map((_, k) => rowOf(table, k + 1)).map((one, k) => ({ row: k + 1, ends: above
      ? [[inward(one), one.left_y, "left_y"], [inward(one), one.right_y, "right_y"]]
      : [[one.floor_x, one.floor_z, "floor"], [one.roof_x, one.roof_z, "roof"]] }));
    const read = (v) => Number.isFinite(v), whole = (end) => read(end[0]) && read(end[1]);
    const every = seen.flatMap((one) => one.ends), known = every.filter(whole), inside = every.map((end) => end[0]).filter(read);
    if (!inside.length) return null;
    const span = (values) => [Math.min(...values), Math.max(...values)];
    let [[x0, x1], [y0, y1]] = [span(inside), span(known.length ? known.map((end) => end[1]) : [0, 1])];
    if (!(x1 > x0)) [x0, x1] = [x0 - 1, x1 + 1];
    if (!(y1 > y0)) [y0, y1] = [y0 - 0.5, y1 + 0.5];
    const scale = Math.min(268 / (x1 - x0), 152 / (y1 - y0)), x = (v) => 16 + (v - x0) * scale, y = (v) => 16 + (y1 - v) * scale;
    const bottom = 16 + (y1 - y0) * scale, wide = 32 + (x1 - x0) * scale, path = (list, name) => list.length > 1 && make("path", { class: name, d: list.map((end, k) => (k ? "L" : "M") + n(x(end[0])) + " " + n(y(end[1]))).join("") });
    const walls = [0, 1].map((k) => seen.map((one) => one.ends[k]).filter(whole));
    const closed = walls.every((wall) => wall.length > 1) && make("path", { class: "mold", d: [...walls[0], ...walls[1].slice().reverse()].map((end, k) => (k ? "L" : "M") + n(x(end[0])) + " " + n(y(end[1]))).join("") + "Z" });
    const hot = (one, end) => one.row === row && name.startsWith(end[2]);
    return make("svg", { viewBox: `0 0 ${n(wide)} ${n(bottom + 16)}`, "aria-hidden": "true" }, closed, walls.map((wall) => path(wall, "wall")),
      seen.filter((one) => one.ends.every(whole)).map((one) => path(one.ends, one.row === row ? "line-in-hand" : "faint")),
      every.filter((end) => read(end[0]) && !read(end[1])).map((end) => make("path", { class: "axis dashed", d: `M${n(x(end[0]))} 4V${n(bottom + 12)}` })),
      seen.flatMap((one) => one.ends.filter(whole).map((end) => make("circle", { class: hot(one, end) ? "dot hot" : "dot", cx: n(x(end[0])), cy: n(y(end[1])), r: hot(one, end) ? 5 : 2.6 }))));
  }

  // stations : of the rows that the figures are made of, in mm by their numbers. outline : the points of a traced row, and
  // the number of the one in hand.
  return {
    update(table, row, column, stations, outline) {
      const at = rowOf(table, row), name = column ? column.column : "", points = byPoints(table), known = stations.get(row) ?? null;
      pictures.replaceChildren(...[points ? onPaper(table, row, name) : side(table, row), outline && at.shape === "outline" ? traced(outline.points, outline.lit) : section(at, name)].filter(Boolean));
      if (points) {
        const place = `line ${row}`;
        words.replaceChildren(...(column ? [make("strong", {}, `${column.label}, ${place}. `), TAKEN[name] || column.help || ""] : []));
        pictures.setAttribute("aria-label", column ? `${column.label} of ${place}, shown on the squared paper` : "the mold on squared paper");
        return known;
      }
      const unit = column && column.unit ? " " + (table.columns.find((one) => one.column === "station") || column).unit : "";
      const place = at.text.station ? "station " + at.text.station + unit : "a new row";
      words.replaceChildren(...(column ? [make("strong", {}, (outline && outline.lit ? `Point ${outline.lit} at ${place}` : name === "station" ? place[0].toUpperCase() + place.slice(1) : column.label + " at " + place) + ". "), (outline && outline.lit ? column.help : TAKEN[name]) || column.help || ""] : []));
      pictures.setAttribute("aria-label", column ? `${column.label} at ${place}, shown in the section and along the port` : "the section");
      return at.station === null ? known : at.station * ((table.columns.find((one) => one.column === "station") || {}).unit === "mm" ? 1 : 25.4);
    },
  };
}
