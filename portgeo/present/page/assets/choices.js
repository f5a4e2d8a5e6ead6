// The list under a cell that takes one of a few words. The cell can still be typed into.
"use strict";
function choiceList(holder) {
  const element = make("ul", { class: "choices", role: "listbox", id: "choices-" + Math.random().toString(36).slice(2), hidden: true });
  let input = null, column = null, take = null, at = -1;

  const several = () => column.column === "mark";
  const words = () => input.value.toLowerCase().split(/[\s,]+/).filter(Boolean);
  function draw() {
    element.replaceChildren(...column.choices.map((choice, k) => make("li", {
      role: "option", id: element.id + "-" + k, "aria-selected": String(words().includes(choice)), class: k === at ? "at" : null,
      onpointerdown: (event) => { event.preventDefault(); choose(choice); } }, choice)));
    if (at >= 0) input.setAttribute("aria-activedescendant", element.id + "-" + at);
    else input.removeAttribute("aria-activedescendant");
  }
  function choose(choice) {
    const now = words();
    take(!several() ? choice : column.choices.filter((one) => now.includes(one) !== (one === choice)).join(" "));
    if (several()) draw(); else close();
  }
  function close() {
    if (!input) return;
    input.removeAttribute("aria-activedescendant");
    input.setAttribute("aria-expanded", "false");
    input = null;
    element.hidden = true;
  }
  return {
    element,
    open(given, of, taken) {
      [input, column, take, at] = [given, of, taken, -1];
      input.setAttribute("aria-expanded", "true");
      input.setAttribute("aria-controls", element.id);
      draw();
      element.hidden = false;
      const cell = input.getBoundingClientRect(), frame = holder.getBoundingClientRect();
      element.style.left = Math.max(0, Math.min(cell.left - frame.left, frame.width - element.offsetWidth)) + "px";
      element.style.top = cell.bottom - frame.top + "px";
    },
    close,
    filter(text) { if (input) { at = column.choices.findIndex((one) => text && one.startsWith(text.toLowerCase())); draw(); } },
    // Whether a key was the list's own.
    keys(event) {
      if (!input) return false;
      const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (step) { at = (at + step + column.choices.length) % column.choices.length; draw(); return true; }
      if (event.key === "Escape") { close(); return true; }
      if (event.key === "Enter" && at >= 0) { const choice = column.choices[at]; at = -1; choose(choice); return true; }
      return false;
    },
  };
}
