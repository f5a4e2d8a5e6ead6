// The job as this page has it: what the server last told, and edits on their way to it. Nothing typed waits for an answer,
// and what cannot be sent is kept and sent again.
"use strict";
const AWAY_MS = 1500; // until it is tried again where the server does not answer
const KEPT = "portgeo edits not saved";

// Applies an edit to a copy of the tables and forms, as the server will.
function applyEdit({ tables, forms }, edit) {
  if (edit.op === "key") {
    const form = forms.find((one) => one.table === edit.table && (one.index || 0) === (edit.index || 0));
    const entry = form && form.entries.find((one) => one.key === edit.key);
    if (entry) entry.text = edit.text || "";
  }
  const table = tables[edit.file];
  if (!table) return;
  const rows = table.rows;
  if (edit.op === "cells") {
    for (const [row, name, text] of edit.cells) {
      const k = table.columns.findIndex((column) => column.name === name);
      if (rows[row - 1] && k >= 0) rows[row - 1].cells[k] = text;
    }
  } else if (edit.op === "insert") {
    const blank = () => ({ row: 0, cells: table.columns.map(() => "") });
    rows.splice(edit.at - 1, 0, ...Array.from({ length: edit.count }, blank));
    const place = (one) => Object.assign({}, one, { row: one.row && one.row >= edit.at ? one.row + edit.count : one.row });
    table.problems = table.problems.map(place);
  } else if (edit.op === "remove") {
    const gone = new Set(edit.rows);
    table.rows = rows.filter((_, k) => !gone.has(k + 1));
    table.problems = table.problems.filter((one) => !gone.has(one.row))
      .map((one) => Object.assign({}, one, { row: one.row - edit.rows.filter((row) => row < one.row).length }));
  }
  table.rows.forEach((row, k) => { row.row = k + 1; });
}

// Whether what an edit is about stands in one state as in another: then it can go on top of either.
function untouched(edit, was, now) {
  if (edit.op === "key") {
    const text = ({ forms }) => {
      const form = forms.find((one) => one.table === edit.table && (one.index || 0) === (edit.index || 0));
      return form && (form.entries.find((entry) => entry.key === edit.key) || {}).text;
    };
    return text(was) === text(now);
  }
  const [before, after] = [was.tables[edit.file], now.tables[edit.file]];
  if (!before || !after) return before === after;
  if (edit.op !== "cells") return JSON.stringify(before.rows) === JSON.stringify(after.rows);
  const text = (table, row, name) => {
    const k = table.columns.findIndex((column) => column.name === name);
    return table.rows[row - 1] && table.rows[row - 1].cells[k];
  };
  return before.rows.length === after.rows.length &&
    edit.cells.every(([row, name]) => text(before, row, name) === text(after, row, name));
}

// Returns the desk. It tells listeners: "state" (something changed, with what), "saving" (how many wait, whether the server
// is away), "event" (what the server says of itself), "ask" (a question only the person can answer).
function openDesk() {
  const heard = { state: [], saving: [], event: [], ask: [], refused: [] };
  const tell = (name, ...values) => heard[name].forEach((take) => take(...values));
  let told = null, waiting = [], sending = null, away = false, stopped = false, singly = false, turns = 0;
  let sure = Promise.resolve(); // what is on its way
  const desk = { state: null, on: (name, take) => heard[name].push(take) };

  async function ask(path, body) {
    const answer = await fetch(path, body === undefined ? {} : {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
    const text = await answer.text();
    let data = {};
    try { data = text ? JSON.parse(text) : {}; } catch { data = { what: text.slice(0, 200), hint: "" }; }
    return { status: answer.status, data };
  }
  desk.ask = ask;

  // What is told and what is on its way, as one.
  function merge(what) {
    const open = [...(sending && sending.edits || []), ...waiting];
    const state = Object.assign({}, told, { tables: Object.assign({}, told.tables) });
    for (const file of new Set(open.map((edit) => edit.file).filter((file) => file && told.tables[file])))
      state.tables[file] = structuredClone(told.tables[file]);
    if (open.some((edit) => edit.op === "key")) state.forms = structuredClone(told.forms);
    for (const edit of open) applyEdit(state, edit);
    desk.state = state;
    tell("state", state, what);
  }

  function take(data) {
    // An answer to an edit: what changed of the state.
    const changed = data.changed || {};
    for (const [key, value] of Object.entries(changed))
      told[key] = key === "tables" ? Object.assign({}, told.tables, value) : value;
    for (const key of ["version", "can_undo", "can_redo"]) if (key in data) told[key] = data[key];
    if (changed.files) told.tables = Object.fromEntries(Object.entries(told.tables).filter(([file]) => changed.files.includes(file)));
  }

  function saving() {
    const left = waiting.length + (sending ? sending.edits.length : 0);
    if (left) sessionStorage.setItem(KEPT, JSON.stringify([told.folder, told.title, [...(sending ? sending.edits : []), ...waiting]]));
    else sessionStorage.removeItem(KEPT);
    tell("saving", left + turns, away);
  }

  async function load() {
    const { status, data } = await ask("state");
    if (status !== 200) throw new Error(String(status));
    told = data;
    merge("all");
  }

  desk.start = async () => {
    await load();
    const kept = JSON.parse(sessionStorage.getItem(KEPT) || "null");
    if (kept && kept[0] === told.folder && kept[1] === told.title) waiting = kept[2];
    merge("all");
    send();
    listen();
  };

  // ---- edits -------------------------------------------------------------------------------
  desk.edit = (edits) => {
    waiting.push(...edits);
    merge("edit");
    send();
  };
  desk.settled = () => !sending && !waiting.length;

  function send() {
    saving();
    if (sending || !waiting.length || stopped) return;
    sending = { edits: singly ? waiting.slice(0, 1) : waiting };
    waiting = singly ? waiting.slice(1) : [];
    if (!waiting.length) singly = false;
    sure = post("edit", () => ({ version: told.version, edits: sending.edits }));
  }

  async function post(path, body) {
    let answer;
    try {
      answer = await ask(path, body());
    } catch {
      away = true;
      saving();
      await new Promise((done) => setTimeout(done, AWAY_MS));
      // What was sent may have been taken before the server went: its version says so.
      const now = await ask("state").catch(() => null);
      if (now && now.status === 200) {
        away = false;
        if (path === "edit" && now.data.version !== told.version && holds(now.data, sending.edits)) {
          told = now.data;
          return done();
        }
        if (now.data.version !== told.version && path !== "edit") { told = now.data; return done(); }
      }
      return post(path, body);
    }
    away = false;
    if (answer.status === 409) return conflict(answer.data);
    if (answer.status !== 200 && sending.edits.length > 1) {
      waiting = [...sending.edits, ...waiting]; // one that is refused must not take the others with it
      singly = true;
    } else if (answer.status !== 200) {
      tell("refused", answer.data.what || "the edit was refused", answer.data.hint || "");
      await load().catch(() => {});
    } else take(answer.data);
    return done();
  }

  const holds = (state, edits) => edits.every((edit) => edit.op !== "cells" || edit.cells.every(([row, name, text]) => {
    const table = state.tables[edit.file], k = table ? table.columns.findIndex((column) => column.name === name) : -1;
    return k >= 0 && table.rows[row - 1] && table.rows[row - 1].cells[k] === text;
  }));

  function done() {
    sending = null;
    merge("answer");
    send();
  }

  // Another tab, or the file on the disk, was changed: what waits here goes on top of it, or is let go.
  async function conflict(data) {
    const mine = [...(sending ? sending.edits || [] : []), ...waiting];
    sending = null;
    waiting = [];
    stopped = true;
    const was = told;
    if (data.state) told = data.state;
    else await load().catch(() => {});
    merge("all");
    const again = () => { stopped = false; waiting = mine; merge("edit"); send(); };
    const disk = told.on_disk || [];
    if (disk.length) tell("ask", { kind: "disk", files: disk, count: mine.length, again, drop: () => { stopped = false; saving(); } });
    else if (mine.every((edit) => untouched(edit, was, told))) again(); // another place was changed: both stay
    else if (mine.length) tell("ask", { kind: "tab", count: mine.length, again, drop: () => { stopped = false; saving(); } });
  }

  // Undo, redo, restore: after all that was typed is on the disk.
  async function step(path, more = {}) {
    while (!desk.settled() && !stopped) await sure.then(() => new Promise((next) => setTimeout(next, 5)));
    if (stopped) return;
    sending = { edits: [] };
    sure = post(path, () => Object.assign({ version: told.version }, more));
    await sure;
  }
  let steps = Promise.resolve();
  const inTurn = (path, more) => {
    turns++;
    saving();
    return steps = steps.then(() => step(path, more)).finally(() => { turns--; saving(); });
  };
  desk.undo = () => inTurn("undo");
  desk.redo = () => inTurn("redo");
  desk.restore = (to) => inTurn("restore", { to });
  desk.keep = async (which) => {
    const { status, data } = await ask("disk", { keep: which });
    if (status === 200) { take(data); if (!data.changed) await load(); }
    stopped = false;
    merge("all");
  };

  // ---- what the server says of itself ----------------------------------------------------------
  function listen() {
    const events = new EventSource("events");
    events.onmessage = (message) => hear(JSON.parse(message.data));
    for (const type of ["figures", "model", "change", "task", "disk", "tabs", "version", "versions"])
      events.addEventListener(type, (message) => message.data && hear(Object.assign({ type }, JSON.parse(message.data))));
    events.onerror = () => { if (!away) { away = true; saving(); } };
    events.onopen = () => {
      if (away) { away = false; saving(); }
      if (desk.settled() && !stopped) load().catch(() => {});
    };
  }
  function hear(event) {
    tell("event", event);
    const newer = Number(event.version) > told.version;
    if (newer && desk.settled() && !stopped) load().catch(() => {});
    if (event.type === "disk" && event.files && event.files.length && !stopped) {
      stopped = true;
      tell("ask", { kind: "disk", files: event.files, count: waiting.length, again: () => { stopped = false; send(); },
        drop: () => { stopped = false; waiting = []; saving(); } });
    }
  }
  desk.shown = () => told;
  return desk;
}
