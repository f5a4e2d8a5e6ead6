// Long answers: they run beside the typing, show how far they are and can be cancelled.
"use strict";

// done(task) : is told when one has its answer. Returns an object that starts one and takes what the server says.
function longAnswers(holder, { desk, say, done }) {
  const running = new Map();
  const list = make("ul", {});
  holder.replaceChildren(list);
  holder.hidden = true;

  function draw(task) {
    let one = running.get(task.id);
    if (!one) {
      const bar = make("progress", { max: 1, "aria-label": task.label || task.kind }), at = make("span", { class: "at" });
      const cancel = make("button", { type: "button", onclick: () => desk.ask(`task/${task.id}/cancel`, {}).catch(() => {}) }, "Cancel");
      one = { bar, at, item: list.appendChild(make("li", {}, make("b", {}, (task.label || task.kind) + " "), bar, at, cancel)) };
      running.set(task.id, one);
    }
    if (task.share === null || task.share === undefined) one.bar.removeAttribute("value"); else one.bar.value = task.share;
    one.at.textContent = task.at || "";
    if (task.done) {
      one.item.remove();
      running.delete(task.id);
    }
    holder.hidden = !running.size;
  }

  // When an answer was made, of which stage, and what has changed since: lines that stay true as things change.
  let lines = [], changed = {};
  function date(line) {
    const { kind, of, when } = line.answer, since = changed[kind] || [], stage = of && of.length ? `Of ${of.join(" to ")}, made ` : "Made ";
    line.classList.toggle("stale", since.length > 0);
    line.replaceChildren(`${stage}${new Date(when).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}.`, ...(since.length ? [" ", make("strong", {}, `Changed since: ${since.join(", ")}.`), " Work it out again before you cut."] : []));
  }

  return {
    made(answer) {
      const line = make("p", { class: "made" });
      line.answer = answer;
      lines.push(line);
      date(line);
      return line;
    },
    changed(given) {
      changed = given;
      lines = lines.filter((line) => line.isConnected);
      lines.forEach(date);
    },
    old: (kind) => (changed[kind] || []).length > 0,
    async start(kind, more = {}) {
      const { status, data } = await desk.ask("task", { kind, ...more }).catch(() => ({ status: 0, data: {} }));
      if (status !== 200) say((data.what || "That could not be started") + ". " + (data.hint || ""));
      return status === 200;
    },
    tell(task) {
      draw(task);
      if (!task.done) return;
      if (task.refusal) say(refusalElement(task).textContent);
      done(task);
    },
  };
}

// Why there is no answer, and what to do.
function refusalElement({ label, kind, refusal: { what, hint } }) {
  return make("p", { class: "problem" }, `${label || kind}: ${what}. ${hint ? hint + "." : ""}`);
}

// A line of a command's answer: its name, two spaces or more, and what it says.
function lineElement(line) {
  const [, name, rest] = /^(\S.*?)\s{2,}(.*)$/s.exec(line) || [null, "", line];
  const begun = (text) => text[0].toUpperCase() + text.slice(1);
  return name ? make("p", { class: "line" }, make("b", {}, begun(name)), make("span", {}, rest)) : make("p", {}, line && begun(line));
}

// Of a table as the server writes it. An answer is kept in the job's folder, and a folder can come from anybody: a table
// with anything else in it is shown by its texts.
const TABLE_PARTS = new Set(["DIV", "TABLE", "CAPTION", "THEAD", "TBODY", "TR", "TH", "TD", "SPAN", "SMALL", "ABBR", "B"]);
const TABLE_WORDS = /^(class|scope|role|tabindex|title|colspan|rowspan|id|aria-\w+|data-\w+)$/;

// A table as the server wrote it, or of its captions and texts.
function tableElement(table) {
  if (table.html) {
    const written = document.createElement("template");
    written.innerHTML = table.html;
    const plain = (one) => TABLE_PARTS.has(one.tagName) && one.getAttributeNames().every((name) => TABLE_WORDS.test(name));
    if (Array.from(written.content.querySelectorAll("*")).every(plain)) return written.content.firstElementChild;
  }
  return make("div", { class: "scroll", role: "region", tabindex: 0, "aria-label": table.caption }, make("table", {},
    make("caption", {}, table.caption),
    make("thead", {}, make("tr", {}, table.columns.map((name) => make("th", { scope: "col", class: "n" }, name)))),
    make("tbody", {}, table.rows.map((row) => make("tr", {}, row.map((cell, k) => make(k ? "td" : "th", { scope: k ? null : "row", class: "n" }, String(cell ?? ""))))))));
}

// What a long answer gave: its lines, its tables, its files.
function answerElements(result) {
  if (!result) return [];
  const files = (result.files || []).map((file) => make("li", {}, make("a", { href: "out/" + file.name.split("/").map(encodeURIComponent).join("/"), target: "_blank", rel: "noopener" }, file.label || file.name)));
  return [
    ...(result.lines || []).map(lineElement),
    files.length ? make("ul", { class: "files" }, files) : null,
    ...(result.tables || []).map(tableElement),
  ].filter(Boolean);
}
