// The first page: what is to be measured, and then the sheet is laid out.
"use strict";
function firstPage(holder, { desk, upload }) {
  const choice = (name, title, options) => make("fieldset", { class: "choice" }, make("legend", {}, title),
    options.map(([value, text, hint], k) => make("label", {}, make("input", { type: "radio", name, value, checked: k === 0 }), make("span", {}, text, hint && make("small", {}, hint)))));
  const title = make("input", { type: "text", id: "first-name", value: "", placeholder: "Intake port 1", maxlength: 200, autocomplete: "off" });
  const file = make("input", { type: "file", id: "first-file", onchange: () => file.files[0] && upload(file.files[0]) });
  const form = make("form", { onsubmit: (event) => {
    event.preventDefault();
    const said = (name) => form.elements[name].value;
    desk.edit([{ op: "begin", what: said("what"), valve: said("valve"), units: said("units"), tool: said("tool"), title: title.value.trim() || "Port" }]);
  } },
    make("h2", { id: "first-title" }, "What is to be measured?"),
    choice("what", "Part", [["port", "A port", "in the head"], ["runner", "A runner", "of the manifold"]]),
    choice("valve", "Side", [["intake", "Intake"], ["exhaust", "Exhaust"]]),
    choice("units", "Units", [["in", "Inches"], ["mm", "Millimeters"]]),
    choice("tool", "Read with", [["micrometer", "Inside micrometer"], ["caliper", "Caliper"], ["rule", "Rule"], ["template", "Templates"]]),
    make("div", { class: "field" }, make("label", { for: "first-name" }, "Call it"), title),
    make("div", { class: "actions" }, make("button", { type: "submit", class: "first" }, "Lay the sheet out")),
    make("p", { class: "note" }, "Or drop a scan or a sheet on this page. ", make("label", { for: "first-file" }, "Choose a file"), file));
  holder.replaceChildren(form);
}
