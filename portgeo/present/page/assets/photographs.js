// Photographs of slices on the printed frame: traced beside the typing, the line put right on the picture, and taken into
// the row that the slice belongs to.
"use strict";
const PHOTOGRAPH = /\.(jpe?g|png|tiff?|webp|bmp|heic|heif)$/i;
const ASKED = { thick: "portgeo slice thickness", across: "portgeo bar across", up: "portgeo bar up" }; // what was typed last stays

// The sheet that slices go into, and the row in hand, come with every update.
function photographsPart(holder, { desk }) {
  let state = null, file = null, row = 1, photos = [], slices = [], busy = false, rowsOffered = "";
  const chooser = make("input", { type: "file", accept: "image/*", multiple: true, hidden: true, onchange: () => { take(Array.from(chooser.files)); chooser.value = ""; } });
  const open = action("Trace photographs of slices", () => chooser.click()), unit = make("span", { class: "unit" });
  const field = (id, text, help) => {
    const input = make("input", { type: "text", id: "photo-" + id, class: "n", inputmode: "decimal", autocomplete: "off", onchange: () => localStorage.setItem(ASKED[id], input.value.trim()) });
    input.value = localStorage.getItem(ASKED[id]) || "";
    return { input, element: make("div", { class: "field" }, make("label", { for: input.id }, text), input, make("span", { class: "help" }, help)) };
  };
  const thick = field("thick", ["How thick the slices are", unit], "By caliper. A slice\u2019s upper face is nearer to the camera than the paper.");
  const across = field("across", ["Bar across", make("span", { class: "unit" }, " mm")], "The print\u2019s two bars are drawn 150 mm long. Type what they read.");
  const up = field("up", ["Upright bar", make("span", { class: "unit" }, " mm")], "Leave both empty if you did not measure the print: the \u00b1 is then larger.");
  const names = make("p", { class: "note" }), refused = make("div", { role: "alert" }), list = make("div");
  const joined = make("input", { type: "checkbox", id: "photo-joined" }), same = make("div", { class: "field tick", hidden: true }, joined,
    make("label", { for: "photo-joined" }, "These are all of the same slices on one page"), make("span", { class: "help" }, "Taken with one camera, at one zoom: their lines are joined, surer than one."));
  const trace = make("button", { type: "submit", class: "first" }, "Trace");
  const form = make("form", { class: "form", hidden: true, onsubmit: (event) => { event.preventDefault(); send(); } }, names, thick.element, across.element, up.element, same,
    make("div", { class: "actions" }, trace, action("Add photographs", () => chooser.click()), action("Close", close)));
  const title = make("h3", { hidden: true }, "Slices on the printed frame");
  const box = make("section", { class: "photographs", "aria-label": "Photographs of slices" }, title,
    make("div", { class: "actions" }, open), form, refused, list, chooser);
  holder.append(box);

  function close() { photos = []; slices = []; list.replaceChildren(); refused.replaceChildren(); draw(); }
  function draw() {
    form.hidden = title.hidden = !photos.length;
    open.hidden = Boolean(photos.length);
    same.hidden = photos.length < 2;
    names.textContent = photos.map((photo) => photo.name).join(", ");
    trace.disabled = busy;
  }
  function take(files) {
    photos = [...photos.filter((one) => !files.some((each) => each.name === one.name)), ...files];
    refused.replaceChildren();
    draw();
    box.scrollIntoView({ block: "start", behavior: "smooth" });
    if (!thick.input.value) thick.input.focus({ preventScroll: true });
  }
  const problem = ({ what, hint }) => make("p", { class: "problem" }, what[0].toUpperCase() + what.slice(1) + ". " + (hint ? hint + "." : ""));

  // The photographs go to the server, which keeps them until they are traced.
  async function send() {
    const name = Array.from(crypto.getRandomValues(new Uint8Array(8)), (byte) => byte.toString(16).padStart(2, "0")).join("");
    busy = true;
    refused.replaceChildren();
    draw();
    try {
      const there = [];
      for (const photo of photos) {
        const answer = await fetch(`upload?trace=${name}&name=${encodeURIComponent(photo.name)}`, { method: "POST", body: photo });
        const data = await answer.json();
        if (answer.status !== 200) throw data;
        there.push(data.file);
      }
      const { status, data } = await desk.ask("task", { kind: "photographs", trace: name, photos: there, thick: thick.input.value, bar_across: across.input.value, bar_up: up.input.value, joined: joined.checked && photos.length > 1 });
      if (status !== 200) throw data;
    } catch (data) {
      refused.replaceChildren(problem(data.what ? data : { what: "portgeo did not take the photograph", hint: "Start it again and drop it once more" }));
    }
    busy = false;
    draw();
  }

  // ---- a slice that was traced ---------------------------------------------------------------------
  const places = () => (state && state.tables[file] ? state.tables[file].rows.map((_, k) => rowOf(state.tables[file], k + 1)) : []);
  function options(chosen) {
    const rows = places().map((one) => make("option", { value: one.row, selected: one.row === chosen },
      `Row ${one.row}${one.text.station ? ", station " + one.text.station : ""}${one.text.outline ? " (has an outline)" : ""}`));
    return [make("option", { value: "", selected: !chosen }, "Choose its row"), ...rows, make("option", { value: rows.length + 1 }, "A new row")];
  }
  const metric = () => state.units === "mm", squared = (mm2) => (metric() ? fixed(mm2, 1) : fixed(mm2 / 645.16, 3));

  function sliceBox(slice, name, number) {
    const size = make("p", { "data-traced": "area" }), choice = make("select", { "aria-label": `Row of slice ${number + 1}` }), status = make("p", { role: "status" }), picture = make("div");
    const kept = { status, choice, asked: null, taken: null };
    const told = (moves) => {
      const area = areaOf(movedLine(slice, moves)), byHand = slice.hand_mm * Array.from(moves.keys()).reduce((sum, k) => sum + slice.reaches[k], 0);
      size.replaceChildren(make("strong", {}, `${squared(area)} \u00b1 ${squared(2 * Math.hypot(slice.area_u_mm2, byHand))} ${metric() ? "mm\u00b2" : "sq in"}`),
        moves.size ? `. Corrected by hand at ${moves.size} point${moves.size > 1 ? "s" : ""}: the \u00b1 allows ${metric() ? fixed(2 * slice.hand_mm, 2) + " mm" : fixed(2 * slice.hand_mm / 25.4, 3) + " in"} there.` : ", as traced.");
      reset.disabled = !moves.size;
      kept.taken = null;
      status.textContent = "";
    };
    const reset = action("As it was traced", () => over.reset());
    const put = action("Put it into the row", () => {
      const to = Number(choice.value), count = places().length;
      if (!to) { status.textContent = "Choose the row that this slice belongs to."; return choice.focus(); }
      kept.asked = { row: to, before: to > count ? "" : places()[to - 1].text.outline };
      const edit = { op: "traced", file, row: to, trace: name, slice: number, moves: Array.from(over.moves, ([k, by]) => [k, ...by]) };
      desk.edit(to > count ? [{ op: "insert", file, at: to, count: 1 }, edit] : [edit]);
    }, true);
    const element = make("section", { class: "slice", "aria-label": `Slice ${number + 1}` }, make("h4", {}, slice.pictures.map((one) => one.photo).join(" and ")), size,
      make("p", { class: "note" }, "The line must run round the upper face. Drag its points where it does not, or press the arrow keys."), picture,
      slice.notices.length ? make("ul", {}, slice.notices.map((line) => make("li", {}, line[0].toUpperCase() + line.slice(1) + "."))) : null,
      make("div", { class: "actions" }, choice, put, reset), status);
    const over = lineOver(picture, slice, state.units, (k) => `traced/${name}/${slice.pictures[k].name}`, told);
    choice.replaceChildren(...options(number === 0 ? row : 0));
    told(over.moves);
    slices.push(kept);
    return element;
  }

  return {
    take,
    answer(task) {
      if (task.refusal) return refused.replaceChildren(...(task.refusal.hint || task.refusal.what !== "cancelled" ? [problem(task.refusal)] : []));
      slices = [];
      list.replaceChildren();
      list.append(...task.result.slices.map((slice, k) => sliceBox(slice, task.result.trace, k)));
      refused.replaceChildren(...task.result.refused.map(problem));
      list.firstChild.scrollIntoView({ block: "start", behavior: "smooth" });
    },
    update(given, sheet, at) {
      [state, file, row] = [given, sheet, at];
      const table = file && state.tables[file];
      box.hidden = !table || table.kind !== "sections" || table.can_write === false;
      if (box.hidden) return;
      unit.textContent = state.units === "mm" ? " mm" : " in";
      const offered = JSON.stringify(places().map((one) => [one.text.station, one.text.outline]));
      for (const one of slices) {
        const here = (asked) => places()[asked.row - 1] && places()[asked.row - 1].text.outline;
        if (one.asked && desk.settled()) {
          const now = here(one.asked);
          if (now && now !== one.asked.before) one.taken = { row: one.asked.row, name: now };
          one.asked = null;
        }
        if (one.taken) one.status.textContent = here(one.taken) === one.taken.name ? `In row ${one.taken.row}, as ${one.taken.name}.` : "";
        if (offered !== rowsOffered) one.choice.replaceChildren(...options(Number(one.choice.value)));
      }
      rowsOffered = offered;
    },
  };
}
