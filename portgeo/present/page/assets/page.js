// The report's page: charts that are read, the port in 3D, and tables that are folded away on the screen but open on paper.
"use strict";
(function () {
  followCharts(document);
  const models = document.getElementById("view-data");
  if (models) {
    const words = Array.from(document.querySelectorAll("[data-words]"));
    const view = portView(document.getElementById("view"),
      { shown: (k) => words.forEach((w) => { w.hidden = Number(w.dataset.words) !== k; }) });
    if (view) {
      document.body.classList.add("live");
      view.update(JSON.parse(models.textContent));
    }
  }

  const folds = () => Array.from(document.querySelectorAll("details"));
  window.addEventListener("beforeprint", () => {
    for (const fold of folds()) {
      if (!fold.open) fold.dataset.folded = "";
      fold.open = true;
    }
  });
  window.addEventListener("afterprint", () => {
    for (const fold of folds()) if ("folded" in fold.dataset) { fold.open = false; delete fold.dataset.folded; }
  });
})();
