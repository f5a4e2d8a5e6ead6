// Cells as text: what a spreadsheet puts on the clipboard, and the numbers that a picture can be drawn of.
"use strict";

// Text of a clipboard -> rows of cells. A spreadsheet puts quotes round a cell with a line's end or a quote in it.
function cellsOf(text) {
  const rows = [[]];
  let cell = "", quoted = false, fresh = true;
  const whole = text.replace(/\r\n?/g, "\n").replace(/\n$/, "");
  for (let k = 0; k < whole.length; k++) {
    const c = whole[k];
    if (quoted) {
      if (c === '"' && whole[k + 1] === '"') { cell += c; k++; }
      else if (c === '"') quoted = false;
      else cell += c === "\n" ? " " : c;
    } else if (c === '"' && fresh && /^"(?:[^"]|"")*"(?:[\t\n]|$)/.test(whole.slice(k))) quoted = true;
    else if (c === "\t" || c === "\n") {
      rows[rows.length - 1].push(cell.trim());
      cell = "";
      if (c === "\n") rows.push([]);
      fresh = true;
      continue;
    } else cell += c;
    fresh = false;
  }
  rows[rows.length - 1].push(cell.trim());
  return rows;
}

const textOf = (rows) => rows.map((cells) => cells.map((cell) => (/["\t\n]/.test(cell) ? '"' + cell.replace(/"/g, '""') + '"' : cell))
  .join("\t")).join("\n");

// What a cell's text stands for, to draw it; null where it is no number. The server reads it for good.
function numberOf(text) {
  const plain = text.trim().replace(/[\u2212\u2013]/g, "-").replace(/\s*("|''|\u201d|\u2033|in\.?|mm|\u00b0)$/i, "");
  const part = /^([+-]?)(?:(\d+)[\s-]+)?(\d+)\s*[/\u2044]\s*(\d+)$/.exec(plain);
  if (part && Number(part[4])) return (part[1] === "-" ? -1 : 1) * (Number(part[2] || 0) + part[3] / part[4]);
  if (!/^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(plain)) return null;
  return Number(plain.replace(",", "."));
}

// Whether a sheet gives both ends of each section off squared paper, and no stations.
const byPoints = (table) => table.columns.some((column) => column.column === "floor_x") && !table.columns.some((column) => column.column === "station");

// A row of a sheet of sections by what its columns mean: numbers where they are numbers.
function rowOf(table, row) {
  const cells = table.rows[row - 1] ? table.rows[row - 1].cells : [], found = { row, text: {}, station: null, turn: null, height: null, rise: null };
  table.columns.forEach((column, k) => {
    found.text[column.column] = cells[k] || "";
    found[column.column] = cells[k] ? numberOf(cells[k]) : null;
  });
  const ends = [found.floor_x, found.floor_z, found.roof_x, found.roof_z];
  if (found.height === null && ends.every(Number.isFinite)) found.height = Math.hypot(ends[2] - ends[0], ends[3] - ends[1]);
  const word = (found.text.shape || "").toLowerCase();
  found.shape = { rectangle: "rect", circle: "round", ellipse: "oval" }[word] || word || "rect";
  return found;
}

const NO_CORNERS = ["corner", "corner_roof", "corner_floor"];
const NOT_READ = {
  rect: ["diameter"], oval: ["diameter", ...NO_CORNERS], round: ["width", ...NO_CORNERS],
  outline: ["height", "width", "diameter", ...NO_CORNERS],
};
// Whether a row holds a reading: its place, shape, tool, marks and remarks are none.
function isBegun(table, row) {
  const cells = table.rows[row - 1] ? table.rows[row - 1].cells : [];
  return table.columns.some((column, k) => column.column !== "station" && (column.column === "outline" || !ASIDE.includes(column.column)) && Boolean(cells[k]));
}

const ASIDE = ["shape", "outline", "tool", "mark", "note", "reading_error", "turn_error", "state", "setup", "depression", "leg"];

// Whether a reading belongs into a cell: not a width into a round section, nor a remark anywhere.
function isRead(table, row, column) {
  if (ASIDE.includes(column.column)) return false;
  if (table.kind !== "sections") return true;
  const at = rowOf(table, row);
  if (at.shape === "round" && column.column === "height" && at.text.diameter) return false;
  if (at.shape === "round" && column.column === "diameter" && at.text.height) return false;
  return !(NOT_READ[at.shape] || []).includes(column.column);
}
