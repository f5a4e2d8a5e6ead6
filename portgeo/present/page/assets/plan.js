// The next cut: areas dragged on the chart, the short side's radius on a slider, the limits, and the cut sheet beside them.
"use strict";
const PLAN_TABLES = ["target.area", "target.taper", "target.short_side", "target.limits", "target.cut", "target.keep", "target.copy", "target"];
const MORE_AREA = 1.03; // of what is there: where a new handle begins, to be seen apart from the line

// The cut that calms the air: asked for with a flow, then one of its amounts of metal is chosen. start(kind, more) : begins
// a long answer. show(model) : the port as it will be.
function calmPart(holder, { desk, start, show }) {
  const flow = make("input", { type: "text", id: "calm-flow", class: "n", inputmode: "decimal", autocomplete: "off" });
  const help = make("span", { class: "help" });
  const refused = make("div", { role: "status" }), found = make("div", { "aria-live": "polite" }), cut = make("div", { class: "cutsheet calmed" }), drawing = make("div");
  const chart = lineChart(drawing, "The fastest air on the wall against the metal to come out");
  let state = null;
  const bench = () => {
    const form = state && state.forms.find((one) => one.table === "bench"), text = (key) => ((form && form.entries.find((entry) => entry.key === key)) || {}).text || "";
    return { file: text("file"), flow: text("flow_cfm") };
  };
  const ask = () => {
    const typed = flow.value.trim();
    if (typed && !bench().file && typed !== bench().flow) desk.edit([{ op: "key", table: "bench", index: 0, key: "flow_cfm", text: typed }]);
    start("calm", { ...(typed ? { cfm: typed } : {}), ...(hold.checked && !holding.hidden ? { hold_areas: true } : {}) });
  };
  // Areas that are wanted stop no cut, unless the person says so.
  const hold = make("input", { type: "checkbox", id: "calm-hold" });
  const holding = make("div", { class: "field tick", hidden: true }, hold, make("label", { for: "calm-hold" }, "No area over those wanted below"),
    make("span", { class: "help" }, "Without it they do not count here: wall, gasket, seat and the marked throat do."));
  flow.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); ask(); } });
  drawing.hidden = true;
  holder.append(make("h3", {}, "Where the air is too fast"),
    make("p", { class: "note" }, "Finds the cut that slows the air on the wall most, for each amount of metal, within the limits below. It takes some minutes; go on typing."),
    make("div", { class: "field" }, make("label", { for: "calm-flow" }, "Flow", make("span", { class: "unit" }, " cfm")), flow, help), holding,
    make("div", { class: "actions" }, make("button", { type: "button", class: "first", onclick: ask }, "Find where to cut")), refused, found, drawing, cut);
  const more = formPart(holder.insertBefore(make("div"), refused), { desk, tables: ["calm"], fold: true, empty: " " });

  function choose(task, k) {
    const one = task.result.choices[k];
    for (const button of found.querySelectorAll("[data-choice]")) button.setAttribute("aria-pressed", String(Number(button.dataset.choice) === k));
    cut.replaceChildren(make("h3", {}, `The cut of ${one.metal_cc.toFixed(2)} cc${one.knee ? ", the knee" : ""}`), task.made(),
      make("div", { class: "actions" }, printer()), ...answerElements(one));
    show(task.of, one.model);
  }
  return {
    update(given) {
      state = given;
      const { file, flow: cfm } = bench();
      if (state.job) more.update(state.forms);
      holding.hidden = !state.forms.some((form) => ["target.area", "target.taper"].includes(form.table) && form.given);
      if (document.activeElement !== flow && !flow.value) flow.value = cfm;
      help.textContent = file ? "Empty: the best of this stage\u2019s run on the bench sheet." : "Through the port on the bench, at the lift you care about.";
    },
    answer(task) {
      refused.replaceChildren(...(task.refusal ? [refusalElement(task)] : []));
      if (task.refusal) return; // the answer of before stays
      drawing.hidden = true;
      cut.replaceChildren();
      const result = task.result, choices = result.choices || [];
      const pick = choices.map((one, k) => make("button", { type: "button", "data-choice": k, "aria-pressed": "false", onclick: () => choose(task, k) },
        `${one.metal_cc.toFixed(2)} cc${one.knee ? " \u2013 knee" : ""}`));
      found.replaceChildren(task.made(), ...answerElements(result), pick.length ? make("fieldset", { class: "pick" }, make("legend", {}, "Metal to take"), pick) : "");
      if (!choices.length) return;
      drawing.hidden = false;
      chart.update(result.chart);
      choose(task, result.chosen);
    },
  };
}

// A button that prints the cut sheet that it stands in, and no other.
function printer() {
  return make("button", { type: "button", onclick: (event) => {
    for (const sheet of document.querySelectorAll(".cutsheet")) sheet.classList.toggle("printed", sheet.contains(event.target));
    document.body.dataset.print = "cutsheet";
    window.print();
  } }, "Print the cut sheet");
}


// chart : where the areas are dragged. start(kind) : begins a long answer. show(model) : the port as calmed.
function planPart(holder, { desk, chart, start, show }) {
  const calm = calmPart(holder.appendChild(make("section", { class: "calm" })), { desk, start, show });
  const slider = make("input", { type: "range", id: "plan-radius" }), radius = make("output", { for: "plan-radius" });
  const sliding = make("div", { class: "field slide", hidden: true }, make("label", { for: "plan-radius" }, "Short side radius wanted"), slider, radius);
  const forms = make("div"), refused = make("div", { role: "status" }), sheet = make("div", { class: "cutsheet planned", "aria-live": "polite" });
  const button = (text, take, first) => make("button", { type: "button", class: first ? "first" : null, onclick: take }, text);
  const add = button("Want another area", addArea);
  const begin = make("div", { class: "none" }, make("p", {}, "Areas, tapers and a short side radius to get to, and what limits the cut: wall, gasket, seat."),
    button("Say what is wanted", () => desk.edit([{ op: "table", table: "target" }])));
  const work = make("div");
  holder.append(make("h3", {}, "What you want of the next cut"), begin, work);
  work.append(
    make("p", { class: "note" }, "Drag the marks on the area chart up or down, or type below. Then work out the cut: the shallowest smooth one that gets there within wall, gasket and reach."),
    make("div", { class: "actions" }, button("Work out the cut", () => start("plan"), true), add),
    sliding, refused, sheet, forms);
  const part = formPart(forms, { desk, tables: PLAN_TABLES, fold: true });
  let state = null, figures = null, area = null, on = false;

  const entryOf = (form, begin) => form && form.entries.find((entry) => entry.key.startsWith(begin));
  const wanted = () => (state ? state.forms.filter((form) => form.table === "target.area" && form.given !== false) : []);
  const perArea = () => (state.units === "mm" ? 1 : 25.4 ** 2);

  // An area wanted, in the chart's unit, under which key it stands and how it is written.
  function areaOf(form) {
    const station = entryOf(form, "station"), own = entryOf(form, "area"), percent = entryOf(form, "percent");
    const x = station ? numberOf(station.text || "") : null, throat = figures && figures.throat && figures.throat.area_mm2 / perArea();
    if (x === null) return null;
    const y = own ? numberOf(own.text || "") : null, share = percent ? numberOf(percent.text || "") : null;
    if (y !== null) return { x, y, key: own.key, write: (v) => v.toFixed(state.units === "mm" ? 1 : 3) };
    if (share !== null && throat) return { x, y: share / 100 * throat, key: percent.key, write: (v) => (100 * v / throat).toFixed(1) };
    return null;
  }

  function handles() {
    if (!on || !state) return chart.handles([]);
    chart.handles(wanted().map((form) => [form, areaOf(form)]).filter((one) => one[1]).map(([form, at]) => ({
      x: at.x, y: at.y, name: `Area wanted at station ${at.x}`, step: state.units === "mm" ? 1 : 0.005, moved() {},
      done: (y) => desk.edit([{ op: "key", table: "target.area", index: form.index || 0, key: at.key, text: at.write(y) }]),
    })));
  }

  function addArea() {
    if (!area || !figures || !figures.least_area) return;
    const inUnit = (mm) => (state.units === "mm" ? mm.toFixed(1) : (mm / 25.4).toFixed(3)), least = figures.least_area;
    const index = wanted().length, key = (entryOf(state.forms.find((form) => form.table === "target.area"), "area") || { key: "area" }).key;
    const text = (least.area_mm2 / perArea() * MORE_AREA).toFixed(state.units === "mm" ? 1 : 3);
    desk.edit([{ op: "form", table: "target.area", index: null, remove: false },
      { op: "key", table: "target.area", index, key: "station", text: inUnit(least.station_mm) },
      { op: "key", table: "target.area", index, key, text }]);
  }

  function slide() {
    const form = state.forms.find((one) => one.table === "target.short_side"), entry = entryOf(form, "radius");
    const now = figures && figures.short_side && figures.short_side.radius_mm;
    sliding.hidden = !entry || !now;
    if (sliding.hidden || document.activeElement === slider) return;
    const per = state.units === "mm" ? 1 : 25.4, here = now / per, decimals = state.units === "mm" ? 1 : 3;
    Object.assign(slider, { min: (here * 0.7).toFixed(decimals), max: (here * 2).toFixed(decimals), step: state.units === "mm" ? 0.1 : 0.005 });
    slider.value = numberOf(entry.text || "") ?? here;
    const say = () => { radius.textContent = `${Number(slider.value).toFixed(decimals)} ${state.units} (now ${here.toFixed(decimals)})`; };
    say();
    slider.oninput = say;
    slider.onchange = () => desk.edit([{ op: "key", table: "target.short_side", index: 0, key: entry.key, text: Number(slider.value).toFixed(decimals) }]);
  }

  return {
    update(given) {
      state = given;
      const begun = state.forms.some((form) => form.table === "target.cut");
      calm.update(state);
      begin.hidden = begun;
      work.hidden = !begun;
      part.update(state.forms);
      slide();
      handles();
    },
    figures(given, chartData) { figures = given; area = chartData; if (state) { slide(); handles(); } },
    open(is) { on = is; handles(); },
    answer(task) {
      if (task.kind === "calm") return calm.answer(task);
      refused.replaceChildren(...(task.refusal ? [refusalElement(task)] : []));
      if (!task.result) return; // the answer of before stays
      sheet.replaceChildren(make("h3", {}, "The cut"), task.made(), make("div", { class: "actions" }, printer()), ...answerElements(task.result));
    },
  };
}
