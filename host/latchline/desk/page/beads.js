// The coming pass as beads: needles to bring forward stand high and are filled, the others low and hollow.
// They lie as on the bed, left is left, whatever way the carriage goes. The desk has folded the repeats.

import { button, el } from "./dom.js";
import { changed } from "./state.js";

/** The pass that is divided, its stretches, and which of them is looked at. @type {{ key: string, all: Part[][], stretch: number }} */
const seen = { key: "", all: [], stretch: 0 };

/** Which stretch is looked at. */
export const seenStretch = () => seen.stretch;

/** Whether it is the last one: only then may the pass be counted. */
export const atLastStretch = () => seen.stretch >= seen.all.length - 1;

/** @param {number} by */
export function stepStretch(by) {
  seen.stretch = Math.max(0, Math.min(seen.all.length - 1, seen.stretch + by));
  changed("knit");
}

/** @typedef {{ times: number, runs: [number, string][], first: string, last: string, line: string }} Part */

/** @param {Part[]} parts @returns {Part[][]} */
function stretches(parts) {
  /** @type {Part[][]} */
  const found = [[]];
  let runs = 0;
  const most = innerWidth < 760 || innerHeight < 900 ? 8 : 14;
  for (const part of parts) {
    if (runs && runs + part.runs.length > most) {
      found.push([]);
      runs = 0;
    }
    found[found.length - 1].push(part);
    runs += part.runs.length;
  }
  return found;
}

/** Divide a pass once, so that no needle is left out when the screen changes amid it. @param {any} view */
function divided(view) {
  const key = `${view.number} ${view.beads.map((/** @type {Part} */ part) => part.line).join()}`;
  if (key !== seen.key) [seen.key, seen.all, seen.stretch] = [key, stretches(view.beads), 0];
  return seen.all;
}

/** @param {any} view */
export function beadsView(view) {
  const all = divided(view);
  const mine = all[seen.stretch];
  return el("section", { class: "beads", "aria-label": "Needles to bring forward" },
    el("div", { class: "stretch" }, ...mine.map(partView)),
    bed(view, mine),
    all.length > 1 ? el("div", { class: "row" },
      button("stretch before", () => stepStretch(-1), { disabled: seen.stretch === 0, id: "stretch-before" }),
      el("span", {}, `${mine[0].first} to ${mine[mine.length - 1].last}, stretch ${seen.stretch + 1} of ${all.length}`),
      button("next stretch", () => stepStretch(1), { disabled: atLastStretch(), id: "stretch-next" })) : null);
}

/** @param {Part} part */
function partView(part) {
  const looks = /** @type {Record<string, string>} */ ({ 1: "bead up", 0: "bead down", "-": "bead out" });
  const runs = part.runs.map(([count, mark]) => el("span", { class: looks[mark], "data-count": count, "data-mark": mark }, String(count)));
  return el("span", { class: part.times > 1 ? "part repeat" : "part", "data-times": part.times, role: "img", "aria-label": part.line },
    ...runs, part.times > 1 ? el("span", { class: "times" }, `${part.times} times`) : null);
}

/** The whole bed with the stretch lit. @param {any} view @param {Part[]} mine */
function bed(view, mine) {
  const count = (/** @type {Part} */ part) => part.times * part.runs.reduce((sum, [needles]) => sum + needles, 0);
  const before = seen.all.slice(0, seen.stretch).flat().reduce((/** @type {number} */ sum, /** @type {Part} */ part) => sum + count(part), 0);
  const marks = view.beads.map((/** @type {Part} */ part) => part.runs.map(([needles, mark]) => mark.repeat(needles)).join("").repeat(part.times)).join("");
  const width = mine.reduce((sum, part) => sum + count(part), 0);
  const canvas = el("canvas", { class: "bed", role: "img", "aria-label": `the bed from ${view.row.first} to ${view.row.last}`, width: marks.length * 6, height: 30 });
  const brush = canvas.getContext("2d");
  if (brush) {
    brush.fillStyle = "#fffdf8";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.fillStyle = "#ffd98a";
    brush.fillRect(before * 6, 0, width * 6, 30);
    brush.fillStyle = "#17252a";
    [...marks].forEach((mark, at) => mark === "-" || brush.fillRect(at * 6 + 1, mark === "1" ? 3 : 20, 4, mark === "1" ? 24 : 7));
  }
  return canvas;
}
