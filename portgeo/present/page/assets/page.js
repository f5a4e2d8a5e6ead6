// The report's page: charts that are read, and the port in 3D. A table folded away is left off the paper.
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
})();
