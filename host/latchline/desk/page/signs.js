// The small pictures of the knitting page: the state's shape, the carriage's way, a skein, a row of needles.

import { el } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg";

const SHAPES = /** @type {Record<string, string>} */ ({
  ring: "M50 8a42 42 0 1 0 0 84a42 42 0 1 0 0-84zm0 18a24 24 0 1 1 0 48a24 24 0 1 1 0-48z",
  disc: "M50 6a44 44 0 1 0 0 88a44 44 0 1 0 0-88z",
  query: "M50 4L96 50L50 96L4 50zM50 28L28 50L50 72L72 50z",
  bars: "M16 10h24v80h-24zM60 10h24v80h-24z",
  block: "M10 10h80v80h-80z",
  cross: "M18 6L50 38L82 6L94 18L62 50L94 82L82 94L50 62L18 94L6 82L38 50L6 18z",
  down: "M12 8h76v42L50 94L12 50z",
  tick: "M8 52L22 38L42 58L80 14L94 28L42 86z",
});

/** @param {string} name */
export function shape(name) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("class", "shape");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", SHAPES[name]);
  path.setAttribute("fill-rule", "evenodd");
  svg.append(path);
  return svg;
}

/** The carriage's way: a bed with its ends, and a head at the end that it goes to, rightward unless it is turned. Never moves. */
export function way() {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 300 40");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", "M4 14H240V2L296 20L240 38V26H4z");
  svg.append(path);
  return svg;
}

/** A skein in the yarn's colour, and its name. @param {{ name: string, colour: string }} yarn */
export function skein(yarn) {
  return el("li", { class: "yarn" }, el("span", { class: "skein", style: { "--yarn": yarn.colour } }), el("span", { class: "yarn-name" }, yarn.name));
}

/** A row of needles as it lies: selected ones tall and filled, held ones tall and open, the others short; out of work a line. @param {any} row */
export function needles(row) {
  const wide = 6;
  const canvas = el("canvas", { class: "needles", role: "img", "aria-label": `needles ${row.first} to ${row.last}`, width: row.marks.length * wide, height: 34 });
  const brush = canvas.getContext("2d");
  if (brush) {
    brush.fillStyle = "#fffdf8";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.fillStyle = brush.strokeStyle = "#17252a";
    [...row.marks].forEach((mark, at) => {
      if (mark === "○") brush.strokeRect(at * wide + 1.5, 3.5, wide - 3, 28);
      else if (mark === "–") brush.fillRect(at * wide + 1, 31, wide - 2, 1);
      else brush.fillRect(at * wide + 1, mark === "■" ? 3 : 24, wide - 2, mark === "■" ? 29 : 8);
    });
  }
  return canvas;
}
