// The stages of a port, as tabs: as cast, first cut, ... What a stage took off the one before it is said beside them.
"use strict";

// Rows of a stage whose height grew over the same station of the stage before, with the middle left where it was: floor or
// roof, one alone, was cut there, and then the middle moved by half of it.
function heightsGrown(before, now) {
  const earlier = before.rows.map((_, k) => rowOf(before, k + 1)), grown = [];
  now.rows.forEach((_, k) => {
    const at = rowOf(now, k + 1), was = earlier.find((one) => one.station !== null && one.station === at.station);
    if (!was || !(at.height > was.height) || !(was.height > 0) || (at.rise || 0) !== (was.rise || 0)) return;
    grown.push({ row: k + 1, station: at.text.station, by: at.height - was.height, rise: at.rise || 0, height: at.text.height });
  });
  return grown;
}

// offers : where what could be typed next is offered. chosen(stage) : is told when another stage is chosen.
function stageTabs(holder, { desk, offers, chosen, say }) {
  const tabs = make("div", { role: "tablist", "aria-label": "Stages" }), change = make("div", { class: "change", role: "status" });
  const offer = make("div", { class: "offer", hidden: true });
  const adder = make("button", { type: "button", onclick: () => ask.showModal() }, "New stage");
  const name = make("input", { type: "text", id: "stage-name", maxlength: 80, required: true, autocomplete: "off" });
  const from = make("select", { id: "stage-from" });
  const ask = make("dialog", { "aria-labelledby": "stage-title" }, make("form", { method: "dialog", onsubmit: add },
    make("h2", { id: "stage-title" }, "New stage"),
    make("p", {}, "It starts as a copy. Then type over what the micrometer says now."),
    make("label", { for: "stage-name" }, "Name", name), make("label", { for: "stage-from" }, "Copy of", from),
    make("div", { class: "actions" }, make("button", { type: "submit", class: "first" }, "Make it"),
      make("button", { type: "button", onclick: () => ask.close() }, "Leave it"))));
  holder.replaceChildren(make("div", { class: "tabs" }, tabs, adder), change, ask);
  offers.append(offer);
  let now = null, stages = [], lines = {}, waved = new Set(), tables = {}, wanted = null, units = "in";

  function add(event) {
    const said = name.value.trim();
    if (!said || stages.some((stage) => stage.name.toLowerCase() === said.toLowerCase())) {
      event.preventDefault();
      return say(said ? "There is a stage of that name. Choose another." : "Give the stage a name.");
    }
    desk.edit([{ op: "stage", name: said, copy: from.value || null, part: "port" }]);
    wanted = said;
    name.value = "";
  }
  function choose(stage) {
    now = stage;
    draw();
    chosen(stage);
  }

  function draw() {
    const text = JSON.stringify([stages.map((stage) => stage.name), now && now.name]);
    if (tabs.dataset.text !== text) {
      tabs.dataset.text = text;
      const had = tabs.contains(document.activeElement);
      tabs.replaceChildren(...stages.map((stage) => make("button", { type: "button", role: "tab",
        "aria-selected": String(stage === now), tabindex: stage === now ? 0 : -1, onclick: () => choose(stage), onkeydown: (event) => {
          const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
          if (!by) return;
          event.preventDefault();
          choose(stages[(stages.indexOf(now) + by + stages.length) % stages.length]);
        } }, stage.name)));
      if (had) tabs.querySelector("[aria-selected=true]").focus();
      from.replaceChildren(...stages.map((stage) => make("option", { value: stage.name }, stage.name)));
      if (now) from.value = now.name;
    }
    const said = now && lines[now.name];
    change.replaceChildren(...(said ? [make("p", {}, said.lines.join(" ")),
      said.walls && said.walls.length ? make("p", { class: "walls" }, said.walls.map((wall) => [make("span", {}, wall.name + " ", make("b", {}, wall.text)), " "])) : null]
      .filter(Boolean) : []));
    offerMiddle();
  }

  // A floor cut moves the middle: half of what the height grew by, down.
  function offerMiddle() {
    const before = stages[stages.indexOf(now) - 1], file = now && now.port, table = tables[file], earlier = before && tables[before.port];
    const grown = table && earlier && file !== before.port ? heightsGrown(earlier, table).filter((one) => !waved.has(file + one.row + " " + one.height)) : [];
    offer.hidden = !grown.length || offer.busy;
    if (!grown.length) return;
    const key = JSON.stringify([file, grown]);
    if (offer.dataset.key === key) return;
    offer.dataset.key = key;
    const rise = table.columns.find((column) => column.column === "rise"), decimals = rise && rise.unit === "mm" || !rise && units === "mm" ? 2 : 3;
    const move = (way) => {
      const name = rise ? rise.name : "rise_" + units;
      const cells = grown.map((one) => [one.row, name, fixed(one.rise + way * one.by / 2, decimals).replace("\u2212", "-")]);
      grown.forEach((one) => waved.add(file + one.row + " " + one.height));
      desk.edit([...(rise ? [] : [{ op: "column", file, name }]), { op: "cells", file, cells }]);
      offer.hidden = true;
    };
    const leave = () => { grown.forEach((one) => waved.add(file + one.row + " " + one.height)); offer.hidden = true; };
    const where = grown.length > 3 ? grown.length + " stations" : "station " + grown.map((one) => one.station).join(", ");
    const button = (text, take) => make("button", { type: "button", onclick: take }, text);
    offer.replaceChildren(make("p", {}, `Taller than before at ${where}. What was cut? The middle moves with a floor or a roof cut alone.`),
      make("div", { class: "actions" }, button("Floor: middle down", () => move(-1)), button("Roof: middle up", () => move(1)), button("Both alike: leave it", leave)));
  }
  return {
    update(state) {
      const was = now && now.name;
      stages = state.stages;
      tables = state.tables;
      units = state.units || "in";
      const made = wanted && stages.find((stage) => stage.name === wanted);
      const next = made || stages.find((stage) => stage.name === was) || stages[stages.length - 1] || null;
      adder.hidden = !stages.length;
      const other = !now || !next || next.name !== now.name;
      now = next;
      if (made) wanted = null;
      draw();
      if (other && now) chosen(now);
    },
    tell(event) { lines[event.stage] = event; draw(); },
    get now() { return now; },
    get before() { return stages[stages.indexOf(now) - 1] || null; },
  };
}
