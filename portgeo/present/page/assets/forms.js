// Forms for what the job says once: engine, gasket, target, tool, ... A key goes to the server when it is left or Enter is
// pressed; what is refused is told beside it.
"use strict";

const SCANS = { port_scan: "Where the port is a scan", runner_scan: "Where the runner is a scan", scan: "Where they are scans" };

// One field. take(text) : is told what was typed. Returns an object that takes the entry anew.
function formField(entry, id, take) {
  let kept = entry.text || "";
  const choices = entry.kind === "choice" && entry.choices;
  const input = choices
    ? make("select", { id }, make("option", { value: "" }, "not said"), entry.choices.map((choice) => make("option", { value: choice }, choice)))
    : make(entry.kind === "text" && entry.long ? "textarea" : "input", { id, type: entry.kind === "date" ? "date" : "text", autocomplete: "off",
      spellcheck: "false", inputmode: entry.kind === "number" ? "decimal" : null, class: entry.kind === "number" ? "n" : "t" });
  const why = make("span", { class: "why", id: id + "-why", hidden: true });
  const help = entry.help && make("span", { class: "help", id: id + "-help" }, entry.help);
  const label = make("label", { for: id }, entry.label, entry.unit && make("span", { class: "unit" }, " " + entry.unit));
  const commit = () => {
    if (input.value.trim() === kept) return;
    kept = input.value.trim();
    take(kept || null);
  };
  input.addEventListener("change", commit);
  input.addEventListener("blur", commit);
  input.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && input.value !== kept) { input.value = kept; event.stopPropagation(); }
    if (event.key !== "Enter" || input.tagName === "TEXTAREA") return;
    event.preventDefault();
    commit();
    const all = Array.from(document.querySelectorAll(".part:not([hidden]) .field input, .part:not([hidden]) .field select"));
    const next = all[all.indexOf(input) + 1];
    if (next) { next.focus(); if (next.select) next.select(); }
  });
  const describe = () => {
    const ids = [!why.hidden && why.id, help && help.id].filter(Boolean).join(" ");
    if (ids) input.setAttribute("aria-describedby", ids); else input.removeAttribute("aria-describedby");
  };
  const field = {
    element: make("div", { class: "field", "data-key": entry.key }, label, input, why, help),
    update(given, problem) {
      const text = given.text || "";
      if (!(document.activeElement === input && input.value.trim() !== kept)) input.value = text;
      kept = text;
      why.hidden = !problem;
      why.textContent = problem ? problem.what[0].toUpperCase() + problem.what.slice(1) + ". " + (problem.hint ? problem.hint + "." : "") : "";
      if (problem) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
      describe();
    },
  };
  field.update(entry, null);
  return field;
}

// All forms of some tables, in their order. tables : names, as the server calls them. only : those of them that are shown.
// fold : a form in which nothing is said yet is folded away. without : keys that are typed elsewhere.
function formPart(holder, { desk, tables, empty, only = () => true, fold = false, without = [] }) {
  let shape = null, fields = new Map();
  const keyOf = (form, entry) => form.table + " " + (form.index || 0) + " " + entry.key;
  const keyed = (problem) => (problem.key || problem.column || "").replace(/_(in|mm)$/, "");
  const problemOf = (form, key) => (form.problems || []).find((one) => keyed(one) === key);

  function build(forms) {
    fields = new Map();
    const parts = [];
    for (const form of forms) {
      const index = form.index || 0, folded = fold && form.given === false;
      const box = make(folded ? "details" : "section", { class: "form" });
      const counted = form.many && form.given && form.table !== "state";
      box.append(make(folded ? "summary" : "h3", {}, form.title, counted && ` ${index + 1}`));
      if (form.given && form.many && form.table !== "state") box.append(make("button", { type: "button", class: "link away",
        onclick: () => desk.edit([{ op: "form", table: form.table, index, remove: true }]) }, "Remove"));
      const scans = {};
      for (const entry of form.entries.filter((one) => !without.includes(one.key))) {
        const id = "f-" + keyOf(form, entry).replace(/\W+/g, "-");
        const field = formField(entry, id, (text) => desk.edit([{ op: "key", table: form.table, index, key: entry.key, text }]));
        fields.set(keyOf(form, entry), field);
        // What is said of a scan, and of nothing else, is folded away.
        const [scan, inner] = entry.key.split(".");
        if (inner && !scans[scan]) box.append(scans[scan] = make("details", {}, make("summary", {}, SCANS[scan] || "Scan")));
        (inner ? scans[scan] : box).append(field.element);
      }
      const last = !forms.some((other) => other.table === form.table && (other.index || 0) > index);
      parts.push(box, form.many && last && form.given && form.table !== "state" ? make("p", {}, make("button", { type: "button",
        onclick: () => desk.edit([{ op: "form", table: form.table, index: null, remove: false }]) }, "Add another")) : null);
    }
    holder.replaceChildren(...(parts.length ? parts.filter(Boolean) : [make("p", { class: "note" }, empty || "A sheet alone has no job yet. One is written beside it when something is said here."),
      make("p", {}, make("button", { type: "button", class: "first",
        onclick: () => desk.edit([{ op: "key", table: "", index: 0, key: "title", text: desk.state.title || "Port" }]) }, "Begin a job of this sheet"))]));
  }

  return {
    update(all) {
      const forms = tables.flatMap((name) => all.filter((form) => form.table === name && only(form)));
      const now = JSON.stringify(forms.map((form) => [form.table, form.index, form.title, form.given, form.entries.map((e) => [e.key, e.kind, e.choices])]));
      if (now !== shape) {
        const focused = holder.contains(document.activeElement) && document.activeElement.id;
        build(forms);
        shape = now;
        const again = focused && document.getElementById(focused);
        if (again) again.focus();
      }
      for (const form of forms) for (const entry of form.entries) if (!without.includes(entry.key)) fields.get(keyOf(form, entry)).update(entry, problemOf(form, entry.key));
      let rest = holder.querySelector(".form-problems");
      const told = forms.flatMap((form) => (form.problems || []).filter((one) => !form.entries.some((entry) => entry.key === keyed(one))));
      if (!rest && told.length) rest = holder.appendChild(make("div", { class: "form-problems notes", role: "status" }));
      if (rest) rest.replaceChildren(...told.map((one) => make("p", {}, one.what + ". " + (one.hint || ""))));
    },
  };
}
