// The drawing part: chart, fabric, findings, bands and options side by side.

import { bandsPanel, optionsPanel } from "./bands.js";
import { chartPanel } from "./chart.js";
import { button, el, fill, keeping } from "./dom.js";
import { fabricPanel, findingsPanel } from "./fabric.js";
import { ask, keepFile, Refused } from "./line.js";
import { complain, on, redo, settled, store, takePiece, tried, undo } from "./state.js";

export function drawPart() {
  const strip = el("div", { class: "strip" });
  const show = () => {
    keeping(strip, () => fill(strip, ...stripOf()));
  };
  on("piece", show);
  show();
  return el("div", { class: "draw" }, strip,
    el("div", { class: "sheets" }, chartPanel(), fabricPanel()),
    el("div", { class: "sides" }, findingsPanel(), bandsPanel(), optionsPanel()));
}

function stripOf() {
  const piece = store.piece;
  if (!piece) return [];
  const file = piece.name.replace(/[^\w.]+/g, "-");
  return [
    el("h1", {}, piece.name),
    el("span", { class: "soft", id: "kept" }, piece.kept ? `saved as ${piece.file}` : piece.file ? `${piece.file}, changed` : "not saved yet"),
    button("save", () => save(), { id: "do-save", class: "main" }),
    button("undo", () => undo(), { id: "do-undo", disabled: !piece.can_undo }),
    button("redo", () => redo(), { id: "do-redo", disabled: !piece.can_redo }),
    button("set-up sheet", () => tried(() => settled().then(() => keepFile("/api/sheet", `${file}-sheet.pdf`))), { id: "do-sheet" }),
    button("working chart", () => tried(() => settled().then(() => keepFile("/api/working-chart", `${file}-working-chart.pdf`))), { id: "do-working-chart" }),
  ];
}

/** Save under the name that the piece has, or ask for one. */
export async function save() {
  const piece = store.piece;
  if (!piece) return;
  if (piece.file) return void tried(() => keep(piece.file, false));
  const box = el("dialog", { "aria-labelledby": "save-title" });
  const name = el("input", { type: "text", id: "save-name", value: piece.name.replace(/[^\w.]+/g, "-"), maxLength: 80 });
  const again = el("p", { role: "alert" });
  const over = el("input", { type: "checkbox", id: "save-over" });
  const close = () => { box.close(); box.remove(); };
  const go = async () => {
    try {
      await keep(name.value, over.checked);
      close();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      again.textContent = `${error.complaint.what}; ${error.complaint.hint}.`;
    }
  };
  box.append(el("h2", { id: "save-title" }, "Save the piece and its charts"), el("label", {}, "name ", name),
    el("label", {}, over, " replace a file of that name"), again,
    el("div", { class: "row" }, button("save", go, { class: "main", id: "save-go" }), button("not now", close)));
  box.addEventListener("close", () => box.remove());
  name.addEventListener("keydown", (event) => { if (event.key === "Enter") go(); });
  document.body.append(box);
  box.showModal();
  name.select();
}

/** @param {string} name @param {boolean} replace */
async function keep(name, replace) {
  await settled();
  const saved = await ask("/api/save", { name, replace });
  takePiece(saved.piece);
  store.desk = await ask("/api/desk");
  complain(null);
}
