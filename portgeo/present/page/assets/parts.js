// Parts of the job that are more than a form: a stage with its runner, the gasket by its three figures, a set of runners,
// flows of all cylinders.
"use strict";
const action = (text, take, first) => make("button", { type: "button", class: first ? "first" : null, onclick: take }, text);

// A stage: what is said of it, its runner, and taking it out. now() : the stage that is shown.
function stagePart(holder, { desk, now }) {
  const forms = make("div", { class: "forms" }), buttons = make("div", { class: "actions" });
  holder.append(forms, buttons);
  const index = () => (desk.state && now() ? desk.state.stages.findIndex((stage) => stage.name === now().name) : 0);
  const form = formPart(forms, { desk, tables: ["state"], only: (one) => (one.index || 0) === index() });
  return {
    update(state) {
      form.update(state.forms);
      const stage = now();
      if (!stage) return buttons.replaceChildren();
      const offered = JSON.stringify([stage, state.stages.length]);
      if (buttons.dataset.offered === offered) return;
      buttons.dataset.offered = offered;
      buttons.replaceChildren(...[
        !stage.runner && action("Add the runner before it", () => desk.edit([{ op: "table", table: "runner", stage: stage.name }])),
        state.stages.length > 1 && action("Take this stage out", () => desk.edit([{ op: "unstage", stage: stage.name }])),
      ].filter(Boolean));
    },
  };
}

// The gasket: a drawing that is named, or the opening's height, width and corner radius.
function gasketPart(holder, { desk, say }) {
  const unit = make("span"), fields = [["height", "Height"], ["width", "Width"], ["corner", "Corner radius"]].map(([key, text]) => {
    const input = make("input", { type: "text", id: "gasket-" + key, inputmode: "decimal", class: "n", autocomplete: "off" });
    return { key, input, element: make("div", { class: "field" }, make("label", { for: input.id }, text), input) };
  });
  const draw = make("form", { class: "form", onsubmit: (event) => {
    event.preventDefault();
    const said = Object.fromEntries(fields.map(({ key, input }) => [key, input.value.trim()]));
    if (!said.height || !said.width) return say("Give the opening\u2019s height and width.");
    desk.edit([{ op: "gasket", ...said, corner: said.corner || "0" }]);
    fields.forEach(({ input }) => { input.value = ""; });
  } }, make("h3", {}, "The opening by its figures, ", unit), fields.map(({ element }) => element),
    make("div", { class: "actions" }, make("button", { type: "submit", class: "first" }, "Draw the gasket")));
  const forms = make("div", { class: "forms" });
  holder.append(draw, forms);
  const form = formPart(forms, { desk, tables: ["gasket"] });
  return { update(state) { unit.textContent = state.units === "mm" ? "mm" : "inches"; form.update(state.forms); } };
}

// Flows of all cylinders, a field for each; Enter goes to the next. A job's flows stand in their order, so that one counts
// once those before it are typed.
function flowFields(holder, { desk }) {
  const title = make("h3", {}, "Flow of each on the bench"), list = make("div"), note = make("p", { class: "note", role: "status" });
  holder.append(title, make("p", { class: "note" }, "All at one depression and lift."), list, note);
  let inputs = [];
  const typed = () => inputs.map((input) => input.value.trim());
  const counted = (texts) => { const gap = texts.indexOf(""); return gap < 0 ? texts : texts.slice(0, gap); };
  const told = () => {
    const late = typed().length - counted(typed()).length - typed().filter((text) => !text).length;
    note.textContent = late > 0 ? "A flow counts, and is kept, once all before it are typed." : "";
  };
  function commit() {
    const text = counted(typed()).join(", ");
    if (text !== holder.dataset.kept) desk.edit([{ op: "key", table: "set", index: 0, key: "flows", text: text || null }]);
    told();
  }
  return {
    update(names, text, problem) {
      const flows = text.split(",").map((one) => one.trim()).filter(Boolean), count = Math.max(names.length, flows.length);
      while (inputs.length > count) inputs.pop().parentNode.remove();
      while (inputs.length < count) {
        const k = inputs.length, id = "flow-" + (k + 1), input = make("input", { type: "text", id, class: "n", inputmode: "decimal", autocomplete: "off", onblur: commit,
          onkeydown: (event) => {
            if (event.key !== "Enter") return;
            event.preventDefault();
            commit();
            const next = inputs[k + (event.shiftKey ? -1 : 1)];
            if (next) { next.focus(); next.select(); }
          } });
        inputs.push(input);
        list.append(make("div", { class: "field" }, make("label", { for: id }, `Cylinder ${k + 1}`, make("span", { class: "unit" }, " cfm")), input, make("span", { class: "help" })));
      }
      inputs.forEach((input, k) => {
        const here = document.activeElement === input && input.value.trim() !== (flows[k] || ""), late = !flows[k] && input.value && k > flows.length;
        if (!here && !late) input.value = flows[k] || "";
        input.parentNode.querySelector(".help").textContent = names[k] || "";
      });
      // The flow that is no number is what is wrong; where all are, it is their count or their spread.
      const wrong = inputs.filter((input) => input.value && !(numberOf(input.value) > 0));
      inputs.forEach((input) => { if (problem && (wrong.includes(input) || !wrong.length)) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid"); });
      holder.dataset.kept = flows.join(", ");
      told();
      if (problem) note.textContent = problem.what[0].toUpperCase() + problem.what.slice(1) + ". " + (problem.hint ? problem.hint + "." : "");
    },
  };
}

// A set of runners: how many, then a sheet for each, chosen by its name.
function setPart(holder, { desk, say, start }) {
  const count = make("input", { type: "number", id: "set-count", min: 2, max: 24, value: 4, class: "n" });
  const begin = make("div", { class: "none" }, make("p", {}, "Runners of one manifold, to find the odd one out."),
    make("div", { class: "field" }, make("label", { for: "set-count" }, "How many"), count),
    make("div", { class: "actions" }, action("Lay their sheets out", () => desk.edit([{ op: "table", table: "set", count: Number(count.value) }]), true)));
  const tabs = make("div", { class: "actions", role: "group", "aria-label": "Runner" }), sheet = make("div"), forms = make("div", { class: "forms" }), flows = make("div");
  const beside = action("Set them side by side", () => start("set"), true), answer = make("div", { "aria-live": "polite" }), refused = make("div", { role: "status" });
  const work = make("div", { class: "actions" }, beside);
  const each = make("div", { class: "forms" }), fields = flowFields(each, { desk });
  holder.append(begin, tabs, sheet, work, refused, answer, each, flows, forms);
  const form = formPart(forms, { desk, tables: ["set"], without: ["flows"] });
  let chosen = null, shown = null, table = null;
  return {
    update(state) {
      const own = state.forms.find((one) => one.table === "set"), entry = own && own.entries.find((one) => one.key === "files");
      const files = (entry ? entry.text : "").split(",").map((name) => name.trim()).filter((name) => state.tables[name]);
      begin.hidden = Boolean(entry && entry.text);
      forms.hidden = work.hidden = each.hidden = !begin.hidden;
      const said = own && own.entries.find((one) => one.key === "flows");
      if (said) fields.update((entry.text || "").split(",").map((name) => name.trim()).filter(Boolean), said.text || "", (own.problems || []).find((one) => one.key === "flows"));
      form.update(state.forms);
      if (!files.includes(chosen)) chosen = files[0] || null;
      tabs.replaceChildren(...files.map((name) => make("button", { type: "button", "aria-pressed": String(name === chosen), onclick: () => { chosen = name; this.update(desk.state); } }, name)));
      if (chosen !== shown) {
        shown = chosen;
        sheet.replaceChildren();
        table = chosen && sheetTable(sheet.appendChild(make("div", { class: "typing" })), { desk, file: chosen, say, hand() {} });
      }
      if (table) table.update(state.tables[chosen]);
      const told = JSON.stringify(state.flows || null);
      if (flows.dataset.told === told) return;
      flows.dataset.told = told;
      flows.replaceChildren(...(state.flows ? [make("h3", {}, "Flows of all cylinders"), ...answerElements(state.flows)] : []));
    },
    answer(task) {
      refused.replaceChildren(...(task.refusal ? [refusalElement(task)] : []));
      if (task.result) answer.replaceChildren(task.made(), ...answerElements(task.result));
    },
  };
}
