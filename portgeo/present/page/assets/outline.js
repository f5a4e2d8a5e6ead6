// A traced section: its outline typed as a table of points, or a drawing of it, for the row in hand.
"use strict";
const DRAWN_OUTLINES = /\.(dxf|svg)$/i;

// Where an outline that a sheet names stands in the job, and its points as they are typed so far.
const outlineFile = (sheet, name) => (sheet.includes("/") ? sheet.replace(/[^/]*$/, "") : "") + name;
function outlinePoints(state, sheet, row) {
  const named = rowOf(state.tables[sheet], row).text.outline, table = named && state.tables[outlineFile(sheet, named)];
  if (!table) return null;
  return table.rows.map((_, k) => rowOf(table, k + 1)).filter((one) => Number.isFinite(one.x) && Number.isFinite(one.y)).map((one) => ({ row: one.row, x: one.x, y: one.y }));
}

// hand(row, point, column) : is told the row whose outline it is and the point in hand. crossed() : is told when its
// points are gone to or left: what is wrong with a half-typed one counts once it is left. upload(file) : brings a file into the
// job's folder and returns its name.
function outlinePart(holder, { desk, say, hand, crossed, upload }) {
  const title = make("h3", {}), actions = make("div", { class: "actions" }), typed = make("div"), note = make("p", { class: "note" });
  const chooser = make("input", { type: "file", accept: ".dxf,.svg,.csv,.txt", hidden: true, onchange: () => { if (chooser.files[0]) take(chooser.files[0]); chooser.value = ""; } });
  const box = make("section", { class: "outline", "aria-label": "Outline of the row in hand", hidden: true }, title, note, actions, typed, chooser);
  holder.append(box);
  let sheet = null, row = 0, shown = null, table = null;

  const type = action("Type its points", () => desk.edit([{ op: "trace", file: sheet, row }]), true);
  const open = action("Open a drawing", () => chooser.click());
  async function take(file) {
    const name = await upload(file);
    if (name) desk.edit([{ op: "trace", file: sheet, row, name }]);
  }
  for (const way of ["focusin", "focusout"]) typed.addEventListener(way, (event) => {
    if (!typed.contains(event.relatedTarget)) setTimeout(() => { if (table) table.mark(); crossed(); });
  });
  box.addEventListener("drop", (event) => {
    if (!event.dataTransfer.files[0] || PHOTOGRAPH.test(event.dataTransfer.files[0].name)) return; // the page takes a photograph
    event.preventDefault();
    event.stopPropagation();
    take(event.dataTransfer.files[0]);
  });

  return {
    take,
    update(state, file, at) {
      const given = file && state.tables[file], here = given && given.kind === "sections" && at <= given.rows.length && rowOf(given, at);
      box.hidden = !here || here.shape !== "outline";
      [sheet, row] = [file, at];
      if (box.hidden) return;
      const named = here.text.outline, trace = named ? outlineFile(file, named) : null, points = trace && state.tables[trace];
      title.textContent = `Outline of row ${at}${here.text.station ? ", station " + here.text.station : ""}`;
      note.textContent = points ? `In ${named}. Point by point round the section, looking into the entry; end with the point that you began with.`
        : named ? `Drawn in ${named}.` : "Trace the section on squared paper and type its points, or drop a drawing of it here: DXF, SVG or CSV.";
      actions.replaceChildren(...[!named && type, open].filter(Boolean));
      if (shown !== (points ? trace : null)) {
        shown = points ? trace : null;
        typed.replaceChildren();
        table = shown && sheetTable(typed.appendChild(make("div", { class: "typing" })), { desk, file: shown, say, hand: (point, column) => hand(row, point, column) });
      }
      if (table) table.update(points);
    },
  };
}
