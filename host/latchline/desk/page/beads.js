// The coming pass as beads: needles to bring forward stand high and are filled, the others low and hollow.
// They lie as on the bed, left is left, whatever way the carriage goes. The desk has folded the repeats.

import { button, el } from "./dom.js";
import { changed } from "./state.js";

const RUNS_A_STRETCH = 14;
const seen = { number: 0, stretch: 0 };

/** Which stretch is looked at. */
export const seenStretch = () => seen.stretch;

/** @typedef {{ times: number, runs: [number, boolean][], first: string, last: string }} Part */

/** @param {Part[]} parts @returns {Part[][]} */
function stretches(parts) {
  /** @type {Part[][]} */
  const found = [[]];
  let runs = 0;
  for (const part of parts) {
    if (runs && runs + part.runs.length > RUNS_A_STRETCH) {
      found.push([]);
      runs = 0;
    }
    found[found.length - 1].push(part);
    runs += part.runs.length;
  }
  return found;
}

/** @param {any} view */
export function beadsView(view) {
  const all = stretches(view.beads);
  if (seen.number !== view.number) {
    seen.number = view.number;
    seen.stretch = 0;
  }
  seen.stretch = Math.min(seen.stretch, all.length - 1);
  const mine = all[seen.stretch];
  const step = (/** @type {number} */ by) => () => {
    seen.stretch = Math.max(0, Math.min(all.length - 1, seen.stretch + by));
    changed("knit");
  };
  return el("section", { class: "beads", "aria-label": "Needles to bring forward" },
    el("div", { class: "stretch" }, ...mine.map(partView)),
    bed(view, mine),
    all.length > 1 ? el("div", { class: "row" },
      button("stretch before", step(-1), { disabled: seen.stretch === 0, id: "stretch-before" }),
      el("span", {}, `${mine[0].first} to ${mine[mine.length - 1].last}, stretch ${seen.stretch + 1} of ${all.length}`),
      button("next stretch", step(1), { disabled: seen.stretch === all.length - 1, id: "stretch-next" })) : null);
}

/** @param {Part} part */
function partView(part) {
  const runs = part.runs.map(([count, up]) =>
    el("span", { class: up ? "bead up" : "bead down", "data-count": count, "data-up": up ? 1 : 0 }, String(count)));
  const words = part.runs.map(([count, up]) => `${count} ${up ? "forward" : "back"}`).join(", ");
  return el("span", { class: part.times > 1 ? "part repeat" : "part", "data-times": part.times, role: "img", "aria-label": `${part.first} to ${part.last}: ${words}${part.times > 1 ? `, ${part.times} times` : ""}` },
    ...runs, part.times > 1 ? el("span", { class: "times" }, `${part.times} times`) : null);
}

/** The whole bed with the stretch lit. @param {any} view @param {Part[]} mine */
function bed(view, mine) {
  const count = (/** @type {Part} */ part) => part.times * part.runs.reduce((sum, [needles]) => sum + needles, 0);
  const before = view.beads.slice(0, view.beads.indexOf(mine[0])).reduce((/** @type {number} */ sum, /** @type {Part} */ part) => sum + count(part), 0);
  const width = mine.reduce((sum, part) => sum + count(part), 0);
  const canvas = el("canvas", { class: "bed", role: "img", "aria-label": `the bed from ${view.row.first} to ${view.row.last}`, width: view.row.selected.length * 6, height: 30 });
  const brush = canvas.getContext("2d");
  if (brush) {
    brush.fillStyle = "#fffdf8";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.fillStyle = "#ffd98a";
    brush.fillRect(before * 6, 0, width * 6, 30);
    brush.fillStyle = "#17252a";
    [...view.row.selected].forEach((mark, at) => brush.fillRect(at * 6 + 1, mark === "1" ? 3 : 20, 4, mark === "1" ? 24 : 7));
  }
  return canvas;
}
