"use strict";
// Tables sort by a button in each heading; without this script they stand as written.
(function () {
  const SCALE = { p: 1e-12, n: 1e-9, "µ": 1e-6, u: 1e-6, m: 1e-3, "": 1, k: 1e3, M: 1e6, G: 1e9 };
  const NUMBER = /^[^\d−+\-∞.a-zA-Z]*([−+\-]?(?:\d[\d\u202f]*(?:\.\d+)?|∞)(?:[eE][−+\-]?\d+)?)\s*(?:([pnµumkMG])(?=Hz|F|Ω|H|V|A|W))?/;

  function value(text) {
    const found = NUMBER.exec(text.trim());
    if (!found) return NaN;
    const plain = found[1].replace(/\u202f/g, "").replace(/−/g, "-").replace("∞", "Infinity");
    return Number(plain) * SCALE[found[2] || ""];
  }

  function sort(table, place, way) {
    const body = table.tBodies[0];
    const rows = Array.from(body.rows);
    const texts = new Map(rows.map((row) => [row, row.cells[place].textContent.trim()]));
    const told = Array.from(texts.values()).filter((text) => text && text !== "–");
    const numbers = told.length > 0 && told.every((text) => !Number.isNaN(value(text)));
    rows.sort(function (one, other) {
      if (!way) return one.dataset.place - other.dataset.place;
      const a = texts.get(one), b = texts.get(other);
      const none = (a && a !== "–" ? 0 : 1) - (b && b !== "–" ? 0 : 1);
      if (none) return none; // what was not measured stands last, either way
      const x = value(a), y = value(b);
      const order = numbers ? (x === y ? 0 : x < y ? -1 : 1) : a.localeCompare(b, "en", { numeric: true });
      return order * way || one.dataset.place - other.dataset.place;
    });
    body.append(...rows);
  }

  for (const table of document.querySelectorAll("table.sorts")) {
    if (table.tBodies[0].rows.length < 2) continue;
    Array.from(table.tBodies[0].rows).forEach((row, place) => (row.dataset.place = place));
    const heads = Array.from(table.tHead.rows[0].cells);
    heads.forEach(function (head, place) {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", function () {
        const was = head.getAttribute("aria-sort");
        const next = was === "ascending" ? "descending" : was === "descending" ? "" : "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        if (next) head.setAttribute("aria-sort", next);
        sort(table, place, next === "ascending" ? 1 : next ? -1 : 0);
      });
    });
  }

  // A link into a folded part opens it; paper has nothing folded.
  function reveal() {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let at = target; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    if (target) target.scrollIntoView();
  }
  window.addEventListener("hashchange", reveal);
  reveal();
  window.addEventListener("beforeprint", function () {
    for (const part of document.querySelectorAll("details:not([open])")) {
      part.open = true;
      part.dataset.folded = "";
    }
  });
  window.addEventListener("afterprint", function () {
    for (const part of document.querySelectorAll("details[data-folded]")) {
      part.open = false;
      delete part.dataset.folded;
    }
  });
})();
