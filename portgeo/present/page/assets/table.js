// A table that is typed into with a micrometer in the other hand. Enter goes to the next reading to take; nothing that the
// server answers moves what is being typed.
"use strict";
const SIGNED = ["rise", "shift", "swing", "turn", "x", "y", "z", "floor_z", "roof_z", "left_y", "right_y"]; // a phone's number pad has no minus
const UNIT_NAMES = { in_h2o: "inH2O", mm_h2o: "mmH2O", kpa: "kPa", pa: "Pa", m3_h: "m\u00b3/h", l_s: "l/s", deg: "\u00b0" };
const ORDER = "portgeo enter goes"; // where the person's choice is kept

// file : of the sheet. hand : told the row and column in hand. say : a line to the person. Returns an object that takes the
// table anew, the reading to take next and the rows left out, and can be gone to.
function sheetTable(holder, { desk, file, hand, say }) {
  let table = null, rows = [], range = null, editing = false, suggested = null, out = [];
  const body = make("tbody"), head = make("thead"), notes = make("div", { class: "notes", role: "status" });
  const order = make("select", { "aria-label": "Enter goes", onchange: () => localStorage.setItem(ORDER, order.value) },
    make("option", { value: "down" }, "down a column"), make("option", { value: "along" }, "along a row"));
  const adder = make("select", { "aria-label": "Add a column", onchange: () => {
    desk.edit([{ op: "column", file, name: adder.value }]);
    adder.value = "";
  } });
  const button = (text, take, hint) => make("button", { type: "button", title: hint, onclick: take,
    onpointerdown: (event) => event.preventDefault() }, text); // the reading in hand keeps the focus
  const bar = make("div", { class: "bar" }, make("label", {}, "Enter goes", order),
    button("Row above", () => insert(0), "Ctrl + Enter"), button("Row below", () => insert(1)),
    button("Remove row", remove, "Ctrl + Backspace"), button("Copy all", copyAll), adder);
  const scroll = make("div", { class: "scroll", role: "region", "aria-label": file, tabindex: -1 }, make("table", { class: "sheet" }, head, body));
  // Columns that do not fit are told of, with a button that brings them: none hides without a word.
  const more = make("button", { type: "button", class: "link more", hidden: true, onclick: () => scroll.scrollBy({ left: scroll.clientWidth / 2, behavior: "smooth" }) });
  function tellHidden() {
    const edge = scroll.getBoundingClientRect().right, hidden = Array.from(head.querySelectorAll("th")).filter((th) => th.getBoundingClientRect().left > edge - 24);
    more.hidden = !hidden.length;
    more.textContent = "More to the right: " + hidden.map((th) => th.firstChild.textContent).join(", ") + " \u2192";
    scroll.classList.toggle("cut", hidden.length > 0);
  }
  scroll.addEventListener("scroll", tellHidden);
  new ResizeObserver(tellHidden).observe(scroll);
  const list = choiceList(holder);
  holder.replaceChildren(more, scroll, notes, bar, list.element);

  const cellAt = (row, col) => rows[row - 1] && rows[row - 1].inputs[col];
  const placeOf = (input) => ({ row: Number(input.dataset.row), col: Number(input.dataset.col) });
  const active = () => (body.contains(document.activeElement) && document.activeElement.matches("input") ? document.activeElement : null);
  const count = () => table.rows.length; // one more row stands under them, to go on in

  // ---- building and bringing up to date ----------------------------------------------------------
  function columnHead(column) {
    return make("th", { scope: "col", title: column.help, class: column.numeric ? "n" : "t" }, column.label, column.unit && make("span", { class: "unit" }, UNIT_NAMES[column.unit] || column.unit));
  }

  function makeRow(row) {
    const number = make("th", { scope: "row" });
    const inputs = table.columns.map((column, col) => make("input", {
      "data-row": row, "data-col": col, "data-column": column.column, autocomplete: "off", autocapitalize: "off", spellcheck: "false",
      enterkeyhint: "next", inputmode: column.numeric && !SIGNED.includes(column.column) ? "decimal" : "text",
      class: column.numeric ? "n" : "t", ...(column.choices ? { role: "combobox", "aria-haspopup": "listbox", "aria-expanded": "false" } : {}) }));
    const cells = inputs.map((input) => make("td", {}, input));
    const line = make("tr", {}, number, cells), told = make("tr", { class: "told", hidden: true }, make("td", { colspan: table.columns.length + 1 }));
    body.append(line, told);
    rows.push({ number, inputs, line, told });
    inputs.forEach((input) => { input.base = ""; });
  }

  function update(given) {
    const same = table && JSON.stringify(table.columns) === JSON.stringify(given.columns), at = active();
    const place = at && { ...placeOf(at), name: table.columns[at.dataset.col].name, text: at.value, dirty: at.value !== at.base };
    if (!table) order.value = localStorage.getItem(ORDER) || (byPoints(given) || given.kind === "points" ? "along" : "down"); // both numbers of a point are read at once
    table = given;
    if (!same) {
      rows = [];
      body.replaceChildren();
      head.replaceChildren(make("tr", {}, make("th", { scope: "col" }, make("span", { class: "unseen" }, "Row")), table.columns.map(columnHead)));
      const addable = table.addable || [];
      adder.replaceChildren(make("option", { value: "" }, "Add a column"), ...addable.map((one) => make("option", { value: one.name }, one.label)));
      adder.hidden = !addable.length;
    }
    const want = table.columns.length ? count() + (table.can_write === false ? 0 : 1) : 0;
    while (rows.length < want) makeRow(rows.length + 1);
    for (const gone of rows.splice(want)) { gone.line.remove(); gone.told.remove(); }
    rows.forEach((one, k) => fill(one, k + 1, at));
    mark();
    tellHidden();
    if (place && !same) {
      const input = cellAt(Math.min(place.row, rows.length), table.columns.findIndex((column) => column.name === place.name));
      if (input) { input.focus(); if (place.dirty) input.value = place.text; }
    }
  }

  function fill(one, row, at) {
    const cells = row <= count() ? table.rows[row - 1].cells : null, station = table.columns.findIndex((column) => column.column === "station");
    one.number.textContent = cells ? row : "+";
    one.line.classList.toggle("blank", !cells);
    one.inputs.forEach((input, col) => {
      const text = cells ? cells[col] || "" : "", column = table.columns[col];
      const typing = input === at && input.value !== input.base;
      if (!typing && input.value !== text) {
        const whole = input === at && !editing;
        input.value = text;
        if (whole) input.select();
      }
      input.base = text;
      input.readOnly = table.can_write === false;
      const where = cells && col !== station && station >= 0 && cells[station] ? ", station " + cells[station] : cells ? "" : ", a new row";
      input.setAttribute("aria-label", column.label + (column.unit ? ", " + (UNIT_NAMES[column.unit] || column.unit) : "") + ", row " + row + where);
      input.classList.toggle("unread", Boolean(cells) && table.kind === "sections" && !text && column.numeric && !isRead(table, row, column));
    });
  }

  // What is refused, what is missing, what would help next, which rows are left out.
  function mark() {
    const left = out.filter((row) => table.kind !== "sections" || isBegun(table, row)); // a row that is not begun is not left out
    const missing = new Set((table.missing || []).map(([row, name]) => row + " " + name));
    const typed = Boolean(document.activeElement && document.activeElement.closest(".outline .sheet")); // a half-typed outline is not closed yet
    const wrong = table.problems.filter((one) => !one.unfinished || !typed);
    const problems = new Map(), refused = new Set(wrong.map((problem) => problem.row));
    for (const one of wrong) {
      const name = one.column || one.name, key = one.row ? one.row + " " + name : "";
      problems.set(key, [...(problems.get(key) || []), one]);
    }
    rows.forEach((one, k) => {
      const told = [];
      one.line.classList.toggle("out", refused.has(k + 1));
      one.inputs.forEach((input, col) => {
        const column = table.columns[col], key = k + 1 + " " + column.name, found = problems.get(key) || [];
        problems.delete(key);
        const td = input.parentNode, why = td.querySelector(".why");
        input.classList.toggle("missing", missing.has(key));
        input.classList.toggle("suggested", Boolean(suggested) && suggested.row === k + 1 && suggested.column === column.name);
        if (!found.length) {
          input.removeAttribute("aria-invalid");
          input.removeAttribute("aria-describedby");
          if (why) why.remove();
          return;
        }
        const text = found.map(sentence).join(" "), id = "why-" + file.replace(/\W/g, "_") + "-" + (k + 1) + "-" + col;
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", id);
        if (why) why.textContent = text; else td.append(make("span", { class: "why unseen", id }, text));
        told.push(make("p", { "aria-hidden": "true" }, make("strong", {}, column.label + ": "), text));
      });
      for (const [key, found] of problems) if (key.startsWith(k + 1 + " ")) {
        found.forEach((problem) => told.push(make("p", {}, sentence(problem))));
        problems.delete(key);
      }
      one.told.hidden = !told.length;
      one.told.firstChild.replaceChildren(...(told.length ? [make("div", {}, told)] : []));
    });
    const rest = (count() ? Array.from(problems.values()).flat() : []).map(sentence).concat(table.notes || []);
    const beside = table.can_write === false && table.columns.length > 0;
    const text = JSON.stringify([rest, left, suggested, beside]);
    if (notes.dataset.text === text) return;
    notes.dataset.text = text;
    notes.replaceChildren(...(beside ? [make("p", {}, "A file of this kind is read and not written. ",
      button("Go on in a CSV beside it", () => desk.edit([{ op: "beside", file }])))] : []), ...rest.map((line) => make("p", {}, line)),
      ...(left.length ? [make("p", {}, `Not in the figures yet: row${left.length > 1 ? "s" : ""} ${left.join(", ")}.`)] : []),
      ...(suggested ? [make("p", {}, make("span", { class: "flag", "aria-hidden": "true" }), nextText())] : []));
  }
  const sentence = (problem) => problem.what[0].toUpperCase() + problem.what.slice(1) + (problem.hint ? ". " + problem.hint + "." : ".");
  function nextText() {
    const column = table.columns.find((one) => one.name === suggested.column);
    if (!suggested.row || !column) return [suggested.why[0].toUpperCase() + suggested.why.slice(1)];
    const station = rowOf(table, suggested.row).text.station;
    const there = make("button", { type: "button", class: "link", onclick: () => goNamed(suggested.row, suggested.column) },
      `${column.label}, row ${suggested.row}${station ? " at " + station : ""}`);
    return ["Next: ", there, suggested.why === "not read yet" ? "" : ". " + suggested.why[0].toUpperCase() + suggested.why.slice(1)];
  }

  // ---- typing --------------------------------------------------------------------------------
  function commit(input) {
    if (!input || input.value === input.base) return false;
    const { row, col } = placeOf(input), column = table.columns[col];
    let text = input.value.trim();
    if (column.choices && column.column !== "mark") {
      const like = column.choices.filter((choice) => text && choice.startsWith(text.toLowerCase()));
      if (like.length === 1) text = like[0];
    }
    input.value = input.base = text;
    const cells = [{ op: "cells", file, cells: [[row, column.name, text]] }];
    desk.edit(row > count() ? [{ op: "insert", file, at: row, count: 1 }, ...cells] : cells);
    return true;
  }

  function go(row, col) {
    const input = cellAt(row, col);
    if (!input) return false;
    input.focus();
    input.select();
    return true;
  }
  const goNamed = (row, name) => go(row, table.columns.findIndex((column) => column.name === name || column.column === name));

  // The next reading after a cell, or the one before it, in the order that the person chose.
  function after({ row, col }, back) {
    const step = back ? -1 : 1, columns = table.columns;
    const reads = (r, c) => isRead(table, r, columns[c]);
    if (order.value === "along") {
      for (let r = row, c = col + step; r >= 1 && r <= rows.length; r += step, c = back ? columns.length - 1 : 0)
        for (; c >= 0 && c < columns.length; c += step)
          if (reads(r, c) && !(r !== row && columns[c].column === "station" && cellAt(r, c).value)) return [r, c];
      return null;
    }
    const last = (c) => (columns[c].column === "station" || table.kind !== "sections" ? rows.length : count());
    for (let c = col, r = row + step; c >= 0 && c < columns.length; c += step, r = back ? last(Math.max(0, c)) : 1) {
      if (c !== col && !columns.some((_, k) => k === c && table.rows.some((__, i) => reads(i + 1, k)))) continue;
      for (; r >= 1 && r <= last(c); r += step)
        if (reads(r, c) || (c === col && !table.rows.some((_, i) => reads(i + 1, c)))) return [r, c];
    }
    return null;
  }

  function enter(input, back) {
    const place = placeOf(input), blank = place.row > count();
    if (blank && !input.value.trim() && !back && order.value === "down") {
      // Nothing more in this column: the next one from its top.
      for (let c = place.col + 1; c < table.columns.length; c++)
        for (let r = 1; r <= count(); r++) if (isRead(table, r, table.columns[c])) return go(r, c);
    }
    const added = commit(input) && blank && !back && order.value === "down";
    const next = added ? [place.row + 1, place.col] : after(place, back);
    return next ? go(...next) : input.select();
  }

  // ---- rows and cells at once ---------------------------------------------------------------------
  function insert(below) {
    const input = active() || cellAt(held.row, held.col);
    const row = input ? placeOf(input).row : count();
    const col = input ? placeOf(input).col : 0;
    commit(input);
    if (row > count()) return;
    desk.edit([{ op: "insert", file, at: row + below, count: 1 }]);
    go(row + below, col);
  }
  function remove() {
    const input = active() || cellAt(held.row, held.col);
    if (!input && !range) return;
    const [low, high] = range ? [Math.min(range[0], range[2]), Math.max(range[0], range[2])] : [placeOf(input).row, placeOf(input).row];
    const gone = Array.from({ length: Math.min(high, count()) - low + 1 }, (_, k) => low + k);
    if (!gone.length) return;
    if (input) input.value = input.base;
    select(null);
    desk.edit([...marksMoved(gone), { op: "remove", file, rows: gone }]);
    if (input) go(Math.min(low, rows.length), placeOf(input).col);
  }
  // Marks of rows that are taken out go to the nearest row that stays, and are told of: none is lost without a word.
  function marksMoved(gone) {
    const k = table.columns.findIndex((column) => column.column === "mark");
    if (table.kind !== "sections" || k < 0) return [];
    const moved = new Map(), words = (row) => (moved.get(row) || table.rows[row - 1].cells[k] || "").split(/[\s,]+/).filter(Boolean);
    const told = [];
    for (const row of gone) {
      const stay = Array.from({ length: count() }, (_, j) => j + 1).filter((j) => !gone.includes(j));
      if (!words(row).length || !stay.length) continue;
      const to = stay.reduce((best, j) => (Math.abs(j - row) < Math.abs(best - row) ? j : best));
      told.push(`${words(row).join(" and ")} from row ${row} to row ${to}`);
      moved.set(to, Array.from(new Set([...words(to), ...words(row)])).join(" "));
    }
    if (!moved.size) return [];
    say(`Mark moved: ${told.join("; ")}.`);
    return [{ op: "cells", file, cells: Array.from(moved, ([row, text]) => [row, table.columns[k].name, text]) }];
  }
  const box = () => [Math.min(range[0], range[2]), Math.min(range[1], range[3]), Math.max(range[0], range[2]), Math.max(range[1], range[3])];
  const many = () => range && (range[0] !== range[2] || range[1] !== range[3]);
  function select(given) {
    range = given;
    const [r0, c0, r1, c1] = range ? box() : [0, 0, -1, -1];
    rows.forEach((one, k) => one.inputs.forEach((input, col) =>
      input.parentNode.classList.toggle("ranged", Boolean(many()) && k + 1 >= r0 && k + 1 <= r1 && col >= c0 && col <= c1)));
  }
  function chosen() {
    const [r0, c0, r1, c1] = box();
    return rows.slice(r0 - 1, r1).map((one) => one.inputs.slice(c0, c1 + 1).map((input) => input.value));
  }
  function clear() {
    const [r0, c0, r1, c1] = box(), cells = [];
    for (let r = r0; r <= Math.min(r1, count()); r++)
      for (let c = c0; c <= c1; c++) if (cellAt(r, c).value) cells.push([r, table.columns[c].name, ""]);
    if (cells.length) desk.edit([{ op: "cells", file, cells }]);
  }
  function copyAll() {
    const text = textOf([table.columns.map((column) => column.name), ...table.rows.map((row) => row.cells)]);
    navigator.clipboard.writeText(text).then(() => say("Copied. Paste it into a spreadsheet."), () => say("The browser did not let it be copied."));
  }

  // Cells of a spreadsheet, from the one in hand on; under its own header they go by name.
  function paste(grid, row, col) {
    const named = grid[0].map((cell) => table.columns.findIndex((column) =>
      [column.name, column.label].some((name) => name.toLowerCase() === cell.toLowerCase())));
    const byName = grid.length > 1 && grid[0].some(Boolean) && grid[0].every((cell, k) => !cell || named[k] >= 0);
    const columns = byName ? named : grid[0].map((_, k) => col + k), lines = byName ? grid.slice(1) : grid;
    const edits = [], more = row + lines.length - 1 - count(), cells = [];
    let lost = 0;
    lines.forEach((line, k) => line.forEach((text, j) => {
      const column = table.columns[byName ? columns[j] : col + j];
      if (column) cells.push([row + k, column.name, text]); else lost++;
    }));
    if (more > 0) edits.push({ op: "insert", file, at: count() + 1, count: more });
    if (!cells.length) return;
    desk.edit([...edits, { op: "cells", file, cells }]);
    select([row, col, row + lines.length - 1, Math.min(table.columns.length - 1, col + grid[0].length - 1)]);
    if (lost) say(`${lost} cells to the right of the table were left out. Add their columns first.`);
  }

  // ---- listening --------------------------------------------------------------------------------
  let held = { row: 1, col: 0 }, dragging = false;
  body.addEventListener("focusin", (event) => {
    if (!event.target.matches("input")) return;
    editing = false;
    held = placeOf(event.target);
    if (!dragging && !event.target.extending) select(null);
    event.target.select();
    hand(held.row, table.columns[held.col]);
  });
  body.addEventListener("focusout", (event) => {
    if (!event.target.matches("input")) return;
    list.close();
    commit(event.target);
  });
  body.addEventListener("input", (event) => { editing = true; select(null); list.filter(event.target.value); });
  body.addEventListener("pointerdown", (event) => {
    const input = event.target.closest("input");
    if (!input) return;
    const { row, col } = placeOf(input);
    if (event.shiftKey) {
      event.preventDefault();
      return select([held.row, held.col, row, col]);
    }
    select(null);
    const again = input === document.activeElement;
    if (again && (editing || event.pointerType !== "mouse" || event.detail > 1)) editing = true; // the caret goes where it is pointed at
    else if (event.pointerType === "mouse") { event.preventDefault(); go(row, col); dragging = [row, col]; }
    if (table.columns[col].choices) list.open(input, table.columns[col], (text) => { input.value = text; if (table.columns[col].column !== "mark") commit(input); });
  });
  body.addEventListener("pointerover", (event) => {
    const input = dragging && event.target.closest("input");
    if (input) select([...dragging, ...Object.values(placeOf(input))]);
  });
  document.addEventListener("pointerup", () => { dragging = false; });
  body.addEventListener("keydown", (event) => {
    const input = event.target;
    if (!input.matches("input") || event.isComposing) return;
    const { row, col } = placeOf(input), key = event.key, control = event.ctrlKey || event.metaKey;
    const done = () => { event.preventDefault(); event.stopPropagation(); };
    if (list.keys(event)) return done();
    if (key === "Enter" && control) { insert(0); return done(); }
    if (key === "Backspace" && control) { remove(); return done(); }
    if (key === "Enter") { enter(input, event.shiftKey); return done(); }
    if (key === "Escape") {
      if (input.value !== input.base) done();
      input.value = input.base;
      editing = false;
      input.select();
      return select(null);
    }
    if (key === "F2") { editing = true; input.setSelectionRange(input.value.length, input.value.length); return done(); }
    if ((key === "Delete" || key === "Backspace") && many()) { clear(); return done(); }
    if (event.altKey && key === "ArrowDown" && table.columns[col].choices) {
      list.open(input, table.columns[col], (text) => { input.value = text; if (table.columns[col].column !== "mark") commit(input); });
      return done();
    }
    if (control || event.altKey) return;
    const by = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] }[key];
    if (!by) return;
    const ends = input.selectionStart === input.selectionEnd && input.selectionEnd === (by[1] > 0 ? input.value.length : 0);
    if (by[1] && editing && !ends) return;
    if (event.shiftKey) {
      if (editing) return;
      const from = range || [row, col, row, col];
      const to = [Math.max(1, Math.min(rows.length, from[2] + by[0])), Math.max(0, Math.min(table.columns.length - 1, from[3] + by[1]))];
      select([from[0], from[1], ...to]);
      return done();
    }
    commit(input);
    if (cellAt(row + by[0], col + by[1])) go(row + by[0], col + by[1]); else if (by[0]) input.select();
    done();
  });
  for (const name of ["copy", "cut"]) body.addEventListener(name, (event) => {
    if (!many()) return;
    event.clipboardData.setData("text/plain", textOf(chosen()));
    event.preventDefault();
    if (name === "cut") clear();
  });
  body.addEventListener("paste", (event) => {
    const grid = cellsOf(event.clipboardData.getData("text/plain")), input = event.target.closest("input");
    if (!input || (grid.length === 1 && grid[0].length === 1)) return;
    event.preventDefault();
    const [row, col] = many() ? box() : Object.values(placeOf(input));
    input.value = input.base;
    paste(grid, row, col);
  });

  return {
    update,
    mark() { if (table) mark(); },
    suggest(next, left) { suggested = next; out = left || []; if (table) mark(); },
    go: goNamed,
    commit: () => commit(active()),
    inHand: () => ({ row: held.row, column: table && table.columns[held.col] }),
  };
}
