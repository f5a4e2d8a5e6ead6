// Tables folded away on the screen are open on paper.
"use strict";
(function () {
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
