// The first page: what is to be measured, and then the sheet is laid out.
"use strict";
const STATIONS = 8; // laid out unless the person says otherwise: about what a port of 4 in wants

function firstPage(holder, { desk, upload }) {
  const choice = (name, title, options) => make("fieldset", { class: "choice" }, make("legend", {}, title),
    options.map(([value, text, hint], k) => make("label", {}, make("input", { type: "radio", name, value, checked: k === 0 }), make("span", {}, text, hint && make("small", {}, hint)))));
  const title = make("input", { type: "text", id: "first-name", value: "", maxlength: 80, autocomplete: "off" });
  const length = make("input", { type: "text", id: "first-length", class: "n", inputmode: "decimal", autocomplete: "off" });
  const stations = make("input", { type: "number", id: "first-stations", class: "n", min: 2, max: 60, value: STATIONS });
  const file = make("input", { type: "file", id: "first-file", hidden: true, onchange: () => file.files[0] && upload(file.files[0]) });
  const unit = make("span", { class: "unit" });
  const said = (name) => form.elements[name].value;
  const named = () => { // what it is called where no name is typed, in which unit its length is, and what its rows are
    const side = said("valve")[0].toUpperCase() + said("valve").slice(1);
    title.placeholder = `${side} ${said("what")}`;
    unit.textContent = said("units") === "mm" ? " mm" : " in";
    const mold = said("by") === "points";
    long.hidden = mold;
    [many.textContent, rows.textContent] = mold ? ["How many lines on the mold", "Scribe them round the mold, square to it by eye, closer together where it turns. Rows can be added and taken out later."]
      : ["How many stations", "Places along the port where you take readings. Rows can be added and taken out later."];
  };
  const many = make("label", { for: "first-stations" }), rows = make("span", { class: "help" });
  const long = make("div", { class: "field" }, make("label", { for: "first-length" }, "How long it is", unit), length,
    make("span", { class: "help" }, "Along the middle, entry to exit. Stations are spread evenly over it. Leave it empty to type each station yourself."));
  const usualTool = (event) => { // of what is measured: the person may choose another after it
    if (event.target.name === "by") form.elements.tool.value = said("by") === "points" ? "caliper" : "micrometer";
    named();
  };
  const form = make("form", { onchange: usualTool, onsubmit: (event) => {
    event.preventDefault();
    desk.edit([{ op: "begin", what: said("what"), valve: said("valve"), by: said("by"), units: said("units"), tool: said("tool"),
      title: title.value.trim() || title.placeholder, length: said("by") === "points" ? "" : length.value.trim(), stations: stations.value }]);
  } },
    make("h2", { id: "first-title" }, "What is to be measured?"),
    choice("what", "Part", [["port", "A port", "in the head"], ["runner", "A runner", "of the manifold"]]),
    choice("valve", "Side", [["intake", "Intake"], ["exhaust", "Exhaust"]]),
    choice("by", "How", [["stations", "In the port", "height and width at stations"], ["points", "A mold on squared paper", "both ends of lines scribed round it"]]),
    choice("units", "Units", [["in", "Inches"], ["mm", "Millimeters"]]),
    choice("tool", "Read with", [["micrometer", "Inside micrometer"], ["caliper", "Caliper"], ["rule", "Rule"], ["template", "Templates"]]),
    make("div", { class: "field" }, many, stations, rows), long,
    make("div", { class: "field" }, make("label", { for: "first-name" }, "Call it"), title),
    make("div", { class: "actions" }, make("button", { type: "submit", class: "first" }, "Lay the sheet out")),
    make("p", { class: "note" }, "Have a scan or a sheet already? Drop it on this page, or "), file,
    make("div", { class: "actions" }, make("button", { type: "button", onclick: () => file.click() }, "Open a file")));
  holder.replaceChildren(form);
  named();
}
