// Questions that only the person can answer, and the earlier versions.
"use strict";

// One question with two plain buttons. The first is the one that loses nothing.
function askPerson(dialog, title, text, choices) {
  const button = ([says, take], k) => make("button", { type: "button", class: k ? null : "first", onclick: () => { dialog.close(); take(); } }, says);
  dialog.replaceChildren(make("h2", { id: "ask-title" }, title), make("p", {}, text), make("div", { class: "actions" }, choices.map(button)));
  dialog.oncancel = (event) => event.preventDefault();
  if (!dialog.open) dialog.showModal();
}

// What the job is called.
function askForName(dialog, title, take) {
  const name = make("input", { type: "text", id: "rename-name", value: title, maxlength: 80, required: true, autocomplete: "off" });
  dialog.oncancel = null;
  dialog.replaceChildren(make("form", { onsubmit: (event) => {
    event.preventDefault();
    dialog.close();
    if (name.value.trim() && name.value.trim() !== title) take(name.value.trim());
  } }, make("h2", { id: "ask-title" }, "What is it called?"), make("label", { for: "rename-name" }, "Name", name),
    make("div", { class: "actions" }, make("button", { type: "submit", class: "first" }, "Rename"),
      make("button", { type: "button", onclick: () => dialog.close() }, "Leave it"))));
  dialog.showModal();
  name.select();
}

function askAboutChange(dialog, desk, question) {
  const mine = question.count === 1 ? "the change you made" : `the ${question.count} changes you made`;
  if (question.kind === "tab") {
    return askPerson(dialog, "Changed in another tab",
      `This job was changed elsewhere while you typed. Put ${mine} on top of that, or leave ${question.count === 1 ? "it" : "them"} out?`,
      [["Put mine on top", question.again], ["Leave mine out", question.drop]]);
  }
  const files = question.files.join(" and "), one = question.files.length === 1;
  const settle = (which, after) => () => desk.keep(which).then(after);
  askPerson(dialog, `${files} changed on disk`,
    `Another program changed ${one ? "it" : "them"} since this page read ${one ? "it" : "them"}. Which is to stay? The other is kept among the versions.`,
    [["Keep what is typed here", settle("mine", question.again)], ["Take what is on disk", settle("disk", question.drop)]]);
}

// When a version was made: the time alone where it was today.
function whenText(text) {
  const when = new Date(text);
  if (when.toString() === "Invalid Date") return String(text);
  const today = when.toDateString() === new Date().toDateString();
  return today ? when.toLocaleTimeString() : when.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
}

async function showVersions(dialog, desk) {
  const { status, data } = await desk.ask("versions").catch(() => ({ status: 0, data: [] }));
  const list = status === 200 ? (Array.isArray(data) ? data : data.versions || []) : [];
  const now = desk.shown().version;
  const items = list.slice().sort((a, b) => b.version - a.version).map((one) => make("li", {},
    make("time", {}, whenText(one.when)), make("span", {}, one.what),
    one.version === now ? make("em", {}, "now") : make("button", { type: "button", "aria-label": `Go back to version ${one.version}, ${one.what}`,
      onclick: () => { dialog.close(); desk.restore(one.version); } }, "Go back to this")));
  dialog.replaceChildren(make("h2", { id: "history-title" }, "Versions"),
    make("p", { class: "note" }, "Every change is kept. Going back is a change too, so nothing is lost by it."),
    items.length ? make("ol", { class: "versions" }, items) : make("p", {}, "None yet."),
    make("div", { class: "actions" }, make("button", { type: "button", class: "first", onclick: () => dialog.close() }, "Close")));
  dialog.showModal();
}
