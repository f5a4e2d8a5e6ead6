// The page to type into: puts the parts on it, and gives each what the desk and its server tell.
"use strict";
const PLACES = [["readings", "Readings"], ["stage", "Stage"], ["bench", "Bench"], ["walls", "Walls"], ["engine", "Engine"], ["gasket", "Gasket"],
  ["tool", "Tool"], ["set", "Set"], ["plan", "What to cut"], ["paper", "Paper"]];
const FORMS = { bench: ["bench"], walls: ["walls"], engine: ["", "engine", "metal"], tool: ["tool"], paper: ["templates", "loss"] };
const ANSWERED = { air: "air speed", compare: "what was cut", plan: "planned", calm: "calmed", loss: "drag on the wall" }; // what a model is called that an answer gave
const SIZES = [100, 120, 145], SAID_MS = 8000;

(function () {
  const at = (id) => document.getElementById(id);
  const desk = openDesk(), tables = new Map(), parts = {};
  let state = null, place = "readings", shownPart = "port", shownFigures = null, stationsShown = "";
  let traced = null; // the point in hand, of the outline of the row in hand
  const events = new Map(); // what was told last of each stage and part

  let hush = 0;
  function say(text) {
    at("said").textContent = text;
    clearTimeout(hush);
    hush = setTimeout(() => { at("said").textContent = ""; }, SAID_MS);
  }

  // ---- the pieces ----------------------------------------------------------------------------------
  const where = whereTaken(at("where"));
  const view = portView(at("view"), { brief: true });
  if (!view) at("view").append(make("p", { class: "note" }, "No 3D here: the browser has no WebGL. All else works."));
  at("view").append(make("p", { class: "none" }, "The port shows here once two rows are read."));
  at("view").classList.add("bare");
  const chart = lineChart(at("area"), "Area against station");
  const tasks = longAnswers(at("tasks"), { desk, say, done: answered });
  const perUnit = () => (state && state.units === "mm" ? 1 : 25.4);

  for (const [name, text] of PLACES) {
    at("places").append(make("button", { type: "button", "data-place": name, onclick: () => go(name) }, text));
    parts[name] = at("parts").appendChild(make("section", { class: "part", id: "part-" + name, "aria-label": text, hidden: true }));
  }
  const stages = stageTabs(at("stages"), { desk, chosen, say, offers: parts.readings });
  const which = parts.readings.appendChild(make("div", { class: "actions", role: "group", "aria-label": "Part" }));
  const outline = outlinePart(parts.readings, { desk, say, upload: brought, crossed: () => { const kept = tables.get("readings"); if (kept) kept.table.mark(); }, hand: (row, point, column) => { traced = { point, column }; inHand(row, column); } });
  const photographs = photographsPart(parts.readings, { desk });
  const forms = Object.entries(FORMS).map(([name, list]) => formPart(parts[name].appendChild(make("div", { class: "forms" })), { desk, tables: list }));
  const set = setPart(parts.set, { desk, say, start: (kind) => startTask(kind) });
  const others = [stagePart(parts.stage, { desk, now: () => stages.now }), gasketPart(parts.gasket, { desk, say }), set];
  const plan = planPart(parts.plan, { desk, chart, start: (kind, more) => startTask(kind, more), show: (of, model) => answerModel("calm", of, model) });
  const papers = make("div", { "aria-live": "polite" });
  const paper = (text, kind) => make("button", { type: "button", onclick: () => startTask(kind) }, text);
  parts.paper.append(make("p", { class: "note" }, "Each is made beside your typing and opens from here."),
    make("div", { class: "actions column" }, paper("Templates, 1:1", "templates"), paper("Customer\u2019s page", "customer"), paper("Whole report", "report"),
      paper("Air speed on the wall", "air"), paper("What changed, and how deep", "compare"), paper("Pressure lost, in minutes", "loss"),
      make("button", { type: "button", onclick: () => { document.body.dataset.print = "page"; window.print(); } }, "Print this page")), papers);
  parts.paper.append(parts.paper.querySelector(".forms"));

  function startTask(kind, said = {}) {
    const stage = stages.now && stages.now.name, before = stages.before && stages.before.name;
    const more = { air: { stage }, compare: { before, after: stage } }[kind] || {};
    if (kind === "compare" && !before) return say("There is one stage only. Make a new stage once metal is out.");
    tasks.start(kind, { ...more, ...said }).then((begun) => begun && say("Started. Go on typing."));
  }
  // An answer, just made or of before the page was loaded.
  function answered(task) {
    if (task.result) task.made = () => tasks.made(task);
    if (task.kind === "plan" || task.kind === "calm") plan.answer(task);
    else if (task.kind === "set") set.answer(task);
    else if (task.kind === "photographs") photographs.answer(task);
    else paperAnswer(task);
  }
  function paperAnswer(task) {
    const name = `[data-answer=${task.kind}]`, shown = papers.querySelector(name);
    if (shown && task.result) shown.remove();
    for (const refused of papers.querySelectorAll(".problem")) refused.remove();
    papers.prepend(task.refusal ? refusalElement(task)
      : make("section", { "data-answer": task.kind }, make("h3", {}, task.label || task.kind), task.made(), ...answerElements(task.result)));
  }
  async function bringBack() {
    const { status, data } = await desk.ask("answers").catch(() => ({ status: 0, data: [] }));
    if (status !== 200) return;
    changed(Object.fromEntries(data.map((one) => [one.kind, one.changed])));
    for (const one of data) {
      answered(one);
      if (one.model) answerModel(one.kind, one.of, one.model, true);
    }
  }
  function changed(given) {
    tasks.changed(given);
    const kept = stages.now && events.get(keyOf(stages.now.name, shownPart));
    if (kept && kept.answers) showModels(kept);
  }

  // ---- where one is ------------------------------------------------------------------------------------
  function go(name) {
    place = document.body.dataset.place = name;
    for (const button of at("places").children) {
      if (button.dataset.place === name) button.setAttribute("aria-current", "page"); else button.removeAttribute("aria-current");
    }
    for (const [key, part] of Object.entries(parts)) part.hidden = key !== name;
    plan.open(name === "plan");
    if (state) fillTables();
  }

  // The sheet that a part shows: the stage's own, or the one that the job names.
  function fileOf(name) {
    if (name === "readings") return stages.now && (stages.now[shownPart] || stages.now.port);
    return Object.keys(state.tables).find((file) => state.tables[file].kind === name) || null;
  }

  function fillTables() {
    for (const name of ["readings", "bench", "walls"]) {
      const file = fileOf(name), part = parts[name], given = file && state.tables[file];
      let kept = tables.get(name);
      if (!given) {
        if (kept && kept.holder) kept.holder.remove();
        tables.delete(name);
        noTable(name, part, file);
        continue;
      }
      if (!kept || kept.file !== file) {
        if (kept) kept.holder.remove();
        const holder = make("div", { class: "typing" });
        part.prepend(holder);
        if (name === "readings") part.prepend(which);
        const table = sheetTable(holder, { desk, file, say, hand: (row, column) => { if (name === "readings") { traced = null; inHand(row, column); } } });
        kept = { file, holder, table };
        tables.set(name, kept);
        const none = part.querySelector(".none");
        if (none) none.remove();
      }
      kept.table.update(given);
    }
    const readings = tables.get("readings");
    photographs.update(state, readings ? readings.file : null, readings ? readings.table.inHand().row : 1);
    at("where").hidden = place !== "readings" || !readings;
    if (!readings) {
      if (view) view.light(null);
      chart.light(null);
    } else {
      const hand = readings.table.inHand();
      if (hand.column) inHand(hand.row, hand.column);
    }
  }

  function noTable(name, part, file) {
    const scan = name === "readings" && file;
    const text = scan ? `This stage is a scan or a file that is not typed into: ${file}.`
      : { readings: "There is no sheet for this stage.", bench: "No flows yet.", walls: "No wall readings yet." }[name];
    const old = part.querySelector(".none");
    if (old) old.remove();
    part.prepend(make("div", { class: "none" }, make("p", {}, text), name !== "readings" && make("button", { type: "button", class: "first",
      onclick: () => desk.edit([{ op: "table", table: name }]) }, name === "bench" ? "Start the bench sheet" : "Start the wall sheet")));
  }

  function inHand(row, column) {
    const file = fileOf("readings"), table = state.tables[file];
    if (!table || !column) return;
    outline.update(state, file, row);
    photographs.update(state, file, row);
    const points = row <= table.rows.length && outlinePoints(state, file, row);
    const station = where.update(table, row, traced ? traced.column : column, new Map((shownFigures && shownFigures.rows_at) || []), points && { points, lit: traced && traced.point }); // mm
    if (view) view.light(station);
    chart.light(station === null ? null : station / perUnit());
  }

  // The model of what is typed, and beside it those that long answers gave.
  function showModels(kept, latest) {
    if (!view || !kept.model) return;
    at("view").classList.remove("bare");
    const answers = Array.from(kept.answers || [], ([kind, data]) => [ANSWERED[kind] + (tasks.old(kind) ? ", before the last change" : ""), data]);
    view.update(together([[null, kept.model.data], ...answers]));
    if (!latest) return;
    const [name, data] = answers[answers.findIndex(([text]) => text.startsWith(ANSWERED[latest]))];
    view.choose(name);
    view.paint(Object.keys(data.models[0].values).find((paint) => paint !== "area") || "area");
  }
  // A model that an answer gave stands with the stage that the answer is about. quietly : it is not turned to.
  function answerModel(kind, of, data, quietly) {
    for (const one of events.values()) if (one.answers) one.answers.delete(kind);
    const key = keyOf(of[of.length - 1], data.models[0].part), kept = events.get(key) || {};
    events.set(key, kept);
    kept.answers = (kept.answers || new Map()).set(kind, data);
    if (stages.now && key === keyOf(stages.now.name, shownPart)) showModels(kept, quietly ? null : kind);
  }
  const keyOf = (stage, which) => stage + "\n" + (which || "port");
  function chosen(stage) {
    if (!state) return;
    if (!stage[shownPart]) shownPart = stage.port ? "port" : "runner";
    const both = stage.port && stage.runner ? ["port", "runner"] : [];
    which.replaceChildren(...both.map((name) => make("button", { type: "button", "aria-pressed": String(name === shownPart),
      onclick: () => { shownPart = name; chosen(stage); } }, name === "port" ? "Port" : "Runner")));
    fillTables();
    const heard = events.get(keyOf(stage.name, shownPart)) || {};
    shownFigures = null;
    figures(heard.figures || null);
    showModels(heard);
    desk.ask("figures?stage=" + encodeURIComponent(stage.name) + "&part=" + shownPart).catch(() => {});
  }

  // ---- the answer --------------------------------------------------------------------------------------
  const old = (is) => { at("answer").classList.toggle("old", is); at("answer").setAttribute("aria-busy", String(is)); };

  function figures(event) {
    const given = event && event.figures;
    if (event && !given) at("view").classList.add("bare");
    for (const dd of document.querySelectorAll("[data-figure]")) {
      const one = given && given[dd.dataset.figure], [value, sure, note] = [".value", ".sure", ".at"].map((part) => dd.querySelector(part));
      if (one && one.label) dd.previousElementSibling.textContent = one.label;
      value.textContent = one ? one.text : "\u2014";
      const known = one && one.u_text;
      if (known || !one || event.sure) sure.textContent = known ? one.u_text.replace(/^(?!\u00b1)/, "\u00b1 ") : "";
      sure.classList.toggle("waiting", Boolean(one) && !known && !event.sure);
      note.textContent = (one && (one.where || one.note)) || (!given && event && event.problem ? "" : "");
    }
    const problem = event && event.problem;
    at("remarks").replaceChildren(...[
      problem ? make("p", { class: "problem" }, problem.what[0].toUpperCase() + problem.what.slice(1) + ". " + (problem.hint ? problem.hint + "." : "")) : null,
      ...(event && event.notices && event.notices.length ? [make("h2", {}, "Look at"), make("ul", {}, event.notices.map((notice) => make("li", {}, notice.message)))] : []),
    ].filter(Boolean));
    const readings = tables.get("readings");
    if (readings) readings.table.suggest(event && event.next && (event.next.row || event.next.why) ? event.next : null, event ? event.left_out : []);
    if (event && event.chart) {
      const series = event.chart.series.map((one) => ({ line: true, points: false, ...one, style: one.style ?? (one.ghost ? 0 : 1) }));
      const before = stages.before && events.get(keyOf(stages.before.name, shownPart)), was = before && before.figures && before.figures.chart;
      if (was && !series.some((one) => one.ghost)) series.unshift({ ...was.series[0], band: null, line: true, points: false, style: 0 });
      chart.update({ of: "station", spans: [], ...event.chart, series });
    } else if (event && !given) chart.update({ of: "station", units: ["", ""], decimals: [3, 3], x_label: "", y_label: "", series: [], spans: [] });
    if (given) plan.figures(given, event.chart);
    shownFigures = event;
    const rows = JSON.stringify((event && event.rows_at) || []), hand = readings && place === "readings" && readings.table.inHand();
    if (hand && hand.column && rows !== stationsShown) inHand(hand.row, hand.column);
    stationsShown = rows;
  }

  function hear(event) {
    if (event.type === "task") {
      tasks.tell(event);
      if (event.result && ["templates", "customer", "report"].includes(event.kind)) say(`Ready: ${event.label.toLowerCase()}.`);
      return;
    }
    if (event.type === "answers") return changed(event.changed);
    if (event.type === "tabs") return say(event.count > 1 ? `This job is open in ${event.count} tabs.` : "");
    if (event.type === "change") return stages.tell(event);
    if (event.type !== "figures" && event.type !== "model") return;
    if (event.kind) return answerModel(event.kind, event.of, event.data);
    const key = keyOf(event.stage, event.part || (event.data && event.data.models[0].part)), kept = events.get(key) || {};
    events.set(key, Object.assign(kept, { [event.type]: event }));
    if (!stages.now || key !== keyOf(stages.now.name, shownPart)) return;
    if (event.type === "model") return showModels(kept);
    if (event.version !== undefined && shownFigures && event.version < shownFigures.version) return;
    figures(event);
    old(!desk.settled() || Number(event.version) < desk.shown().version);
    document.body.dataset.figures = event.version; // of which version the figures are, for whoever waits for them
  }

  // ---- what the desk tells -------------------------------------------------------------------------
  desk.on("state", (given, what) => {
    state = given;
    const title = state.first ? "" : state.title;
    at("title").textContent = title || "portgeo";
    document.title = (title ? title + " \u2013 " : "") + "portgeo";
    const begun = !at("first").hidden && !state.first;
    at("first").hidden = !state.first;
    at("desk").hidden = Boolean(state.first);
    document.body.classList.toggle("typing-on", !state.first);
    at("rename").hidden = Boolean(state.first);
    at("undo").disabled = !state.can_undo && desk.settled();
    at("redo").disabled = !state.can_redo;
    if (state.first) { if (!at("first").firstChild) firstPage(at("first"), { desk, upload }); return; }
    if (what === "edit") old(true);
    else if (shownFigures && desk.settled() && !(shownFigures.version < desk.shown().version)) old(false);
    stages.update(state);
    fillTables();
    for (const form of forms) form.update(state.forms);
    for (const part of others) part.update(state);
    plan.update(state);
    if (begun && tables.get("readings")) { // straight to the first reading
      const table = state.tables[fileOf("readings")], missing = table.missing || [], station = (table.columns.find((one) => one.column === "station") || {}).name;
      const [row, name] = missing.find((place) => place[1] === station) || missing[0] || [1, byPoints(table) ? "floor_x" : "height"];
      tables.get("readings").table.go(row, name);
    }
  });
  desk.on("saving", (left, away) => {
    at("saved").className = away ? "away" : "";
    const changes = left === 1 ? "1 change" : `${left} changes`;
    at("saved").textContent = away ? (left ? `Not saved: ${changes}. portgeo does not answer. Start it again; they are sent then.` : "portgeo does not answer. Start it again.")
      : left ? "Saving" : state && !state.first ? "Saved" : "";
  });
  desk.on("refused", (what, hint) => say(what[0].toUpperCase() + what.slice(1) + ". " + hint));
  desk.on("ask", (question) => askAboutChange(at("ask"), desk, question));
  desk.on("event", hear);

  // Brings a file into the job's folder and returns the name it got there; none where it was not taken.
  async function brought(file) {
    say(`Reading ${file.name}`);
    const answer = await fetch("upload?name=" + encodeURIComponent(file.name), { method: "POST", body: file }).catch(() => null);
    const data = answer ? await answer.json().catch(() => ({})) : {};
    if (answer && answer.status === 200) return data.file;
    say((data.what || "That file was not taken") + ". " + (data.hint || ""));
    return null;
  }

  // Photographs that are dropped on the page are traced, to go into the sheet that is shown.
  function dropped(photos) {
    if (state.first) return say("Lay the sheet out first, then drop the photographs of its slices.");
    go("readings");
    if (!tables.get("readings")) return say("Slices go into a sheet of sections. This stage has none.");
    photographs.take(photos);
  }

  // A file that is dropped on the page: a drawing is the gasket's or the outline of the row in hand, all else a stage.
  async function upload(file) {
    if (DRAWN_OUTLINES.test(file.name) && place === "readings" && tables.get("readings")) return outline.take(file);
    if (DRAWN_OUTLINES.test(file.name) && place !== "gasket") return say("A drawing is the gasket\u2019s, or a row\u2019s outline. Open that part and drop it there.");
    const name = await brought(file);
    if (!name) return;
    if (place === "gasket") return desk.edit([{ op: "key", table: "gasket", index: 0, key: "file", text: name }]);
    const scan = !/\.(csv|tsv|xlsx|xls|ods)$/i.test(name), plain = name.replace(/\.[^.]*$/, "");
    const inUse = (text) => state.stages.some((stage) => stage.name === text);
    desk.edit([{ op: "stage", name: inUse(plain) ? plain + " 2" : plain, file: name, part: "port" }]);
    say(`${name} is in the job\u2019s folder, as a stage of its own${scan ? "" : ", to be typed into"}.`);
  }

  // ---- hands on the whole page ----------------------------------------------------------------------
  const typed = () => { const one = document.activeElement; return one && one.matches("input, textarea") && one.base !== undefined && one.value !== one.base; };
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    const undo = key === "z" && !event.shiftKey, redo = key === "y" || (key === "z" && event.shiftKey);
    if ((!undo && !redo) || typed() || document.querySelector("dialog[open]")) return;
    event.preventDefault();
    if (undo) desk.undo(); else desk.redo();
  });
  at("rename").addEventListener("click", () => askForName(at("ask"), state.title,
    (text) => desk.edit([{ op: "key", table: "", index: 0, key: "title", text }])));
  at("undo").addEventListener("click", () => desk.undo());
  at("redo").addEventListener("click", () => desk.redo());
  for (const id of ["undo", "redo"]) at(id).addEventListener("pointerdown", (event) => event.preventDefault());
  at("versions").addEventListener("click", () => showVersions(at("history"), desk));
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    const files = Array.from(event.dataTransfer.files), photos = files.filter((file) => PHOTOGRAPH.test(file.name));
    if (photos.length) dropped(photos); else if (files[0]) upload(files[0]);
  });
  window.addEventListener("beforeunload", (event) => {
    const readings = tables.get(place);
    if (readings) readings.table.commit();
    if (!desk.settled()) event.preventDefault();
  });
  const printed = at("view").appendChild(make("img", { class: "print-view", alt: "the port" }));
  window.addEventListener("beforeprint", () => { if (view && !at("view").classList.contains("bare")) printed.src = view.picture(); });
  window.addEventListener("afterprint", () => { delete document.body.dataset.print; });

  // Size of type and light or dark stay as chosen.
  function size(step) {
    const now = SIZES.indexOf(Number(localStorage.getItem("portgeo size")) || 100);
    const next = SIZES[(now + step + SIZES.length) % SIZES.length];
    localStorage.setItem("portgeo size", next);
    document.documentElement.style.fontSize = next + "%";
    document.documentElement.dataset.size = next;
  }
  function shade(name) {
    if (name) document.documentElement.dataset.shade = name;
    const dark = name ? name === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    at("shade").textContent = dark ? "Light" : "Dark";
  }
  at("larger").addEventListener("click", () => size(1));
  at("shade").addEventListener("click", () => {
    const next = at("shade").textContent.toLowerCase();
    localStorage.setItem("portgeo shade", next);
    shade(next);
  });
  size(0);
  shade(localStorage.getItem("portgeo shade"));
  go("readings");
  desk.start().then(bringBack).catch(() => say("portgeo does not answer. Start it again."));
})();
