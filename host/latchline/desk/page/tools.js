// The tools that a hand draws with, as buttons and fields over the chart.

import { button, el, fill, keeping, sent, valid } from "./dom.js";
import { CELL_LEAST, CELL_MOST, hand } from "./hand.js";
import { draw, drawing, shownColour, yarnNames } from "./state.js";

/** @typedef {import("./hand.js").Point} Point */
/** @typedef {import("./sight.js").Sight} Sight */

const TOOLS = [
  ["pencil", "pencil"],
  ["line", "line"],
  ["box", "box"],
  ["full box", "full box"],
  ["fill", "fill"],
  ["pick up", "pick up a colour"],
  ["frame", "frame a part"],
];

/**
 * @param {HTMLElement} tools
 * @param {Sight} sight
 */
export function fillTools(tools, sight) {
  const drawn = drawing();
  tools.hidden = !drawn;
  if (!drawn) return;
  hand.colour = Math.min(hand.colour, drawn.palette.length - 1);
  const again = () => {
    fillTools(tools, sight);
    sight.refresh();
  };
  const kinds = TOOLS.map(([name, words]) =>
    pressed(`tool-${name.replace(" ", "-")}`, words, hand.tool === name, () => {
      hand.tool = name;
      again();
    }),
  );
  const yarns = yarnNames();
  const colours = drawn.palette.map((colour, index) =>
    el(
      "button",
      {
        type: "button",
        id: `colour-${index}`,
        class: "colour",
        "aria-pressed": String(index === hand.colour),
        title: colour.hex,
        onclick: () => {
          hand.colour = index;
          again();
        },
      },
      el("span", { class: "swatch", style: { "background-color": shownColour(index) } }),
      `${index}: ${yarns[index] ?? (colour.name || colour.hex)}`,
    ),
  );
  keeping(tools, () => fill(
    tools,
    el("div", { class: "row", role: "group", "aria-label": "Draw with" }, ...kinds),
    el("div", { class: "row", role: "group", "aria-label": "Colours" }, ...colours, colourMore(drawn)),
    el("div", { class: "row" }, mirrorChoice(again), tiledChoice(again, sight), numberedChoice(again), nearer(again), frameMore(again)),
    rowsMore(drawn),
  ));
}

/**
 * @param {string} id
 * @param {string} words
 * @param {boolean} on
 * @param {() => void} press
 */
function pressed(id, words, on, press) {
  return button(words, press, { id, "aria-pressed": String(on) });
}

/** @param {import("./state.js").Drawing} drawn */
function colourMore(drawn) {
  const chosen = el("input", { type: "color", id: "colour-look", value: drawn.palette[hand.colour].hex, "aria-label": "Look of this colour" });
  chosen.addEventListener("change", () => { sent(chosen); draw("colour", { index: hand.colour, hex: chosen.value, name: drawn.palette[hand.colour].name }); });
  const add = button(
    "another colour",
    () => draw("colour", { index: drawn.palette.length, hex: unlike(drawn) }).then((made) => made && (hand.colour = drawn.palette.length)),
    { id: "colour-add", disabled: drawn.palette.length >= 16 },
  );
  const out = button("take this colour out", () => draw("no-colour", { index: hand.colour }), {
    id: "colour-out",
    disabled: drawn.palette.length <= 2 || hand.colour === 0,
  });
  return el("span", { class: "row" }, chosen, add, out);
}

const FRESH = ["#b8502e", "#3f6b45", "#c9a227", "#6a4c7d", "#2f7d7a", "#8a5a3c", "#c76b86", "#4a5a6a", "#a3b86c", "#d98e4a"];

/** A colour that the drawing has not got yet. @param {import("./state.js").Drawing} drawn */
function unlike(drawn) {
  return FRESH.find((hex) => drawn.palette.every((colour) => colour.hex !== hex)) ?? "#777777";
}

/** @param {() => void} again */
function mirrorChoice(again) {
  const choice = el(
    "select",
    { id: "mirrored" },
    ...[
      ["", "as drawn"],
      ["sideways", "and mirrored sideways"],
      ["upward", "and mirrored upward"],
      ["both", "and mirrored both ways"],
    ].map(([value, words]) => el("option", { value, selected: value === hand.mirrored }, words)),
  );
  choice.addEventListener("change", () => {
    hand.mirrored = choice.value;
    again();
  });
  return el("label", {}, "strokes ", choice);
}

/** @param {() => void} again @param {Sight} sight */
function tiledChoice(again, sight) {
  return pressed("tiled", "with its repeats around", hand.tiled, () => {
    hand.tiled = !hand.tiled;
    hand.cell = 0;
    again();
    if (hand.tiled) sight.centre();
  });
}

/** @param {() => void} again */
function numberedChoice(again) {
  return pressed("numbered", "with numbers", hand.numbered, () => {
    hand.numbered = !hand.numbered;
    if (hand.numbered) hand.cell = Math.max(hand.cell, 14);
    again();
  });
}

/** @param {() => void} again */
function nearer(again) {
  const step = (/** @type {number} */ by) => () => {
    hand.cell = Math.max(CELL_LEAST, Math.min(CELL_MOST, Math.round((hand.cell || 16) * by)));
    again();
  };
  return el(
    "span",
    { class: "row" },
    button("nearer", step(1.3), { id: "chart-nearer" }),
    button("farther", step(1 / 1.3), { id: "chart-farther" }),
  );
}

/** What can be done with a framed part. @param {() => void} again */
function frameMore(again) {
  const frame = hand.frame;
  if (!frame || hand.tool !== "frame") return null;
  const corner = /** @type {Point} */ ([Math.min(frame.from[0], frame.to[0]), Math.min(frame.from[1], frame.to[1])]);
  const turned = (/** @type {string} */ way) => () => draw("move", { ...frame, at: corner, turned: way });
  return el(
    "span",
    { class: "row", role: "group", "aria-label": "The framed part" },
    pressed("copying", "drag a copy", hand.copying, () => {
      hand.copying = !hand.copying;
      again();
    }),
    button("mirror it sideways", turned("sideways"), { id: "part-sideways" }),
    button("mirror it upward", turned("upward"), { id: "part-upward" }),
    button("clear it", () => draw("box", { from: frame.from, to: frame.to, colour: 0, filled: true }), { id: "part-clear" }),
  );
}

/** Rows and stitches: in, out, shifted, and how many. @param {import("./state.js").Drawing} drawn */
function rowsMore(drawn) {
  const what = el("select", { id: "lines-what" }, el("option", { value: "rows" }, "rows"), el("option", { value: "stitches" }, "stitches"));
  const number = (/** @type {string} */ id, /** @type {number} */ value, /** @type {number} */ least = 1) =>
    el("input", { type: "number", id, value: String(value), min: String(least), max: "10000", required: true });
  const at = number("lines-at", 1);
  const count = number("lines-count", 1);
  const given = () => ({ what: what.value, at: Number(at.value) - 1, count: Number(count.value) });
  const stitches = number("size-stitches", drawn.stitches);
  const rows = number("size-rows", drawn.rows);
  const shift = (/** @type {number} */ up, /** @type {number} */ right) => () => draw("shift", { rows: up, stitches: right });
  return el(
    "details",
    { id: "lines", open: linesOpen, ontoggle: (/** @type {Event} */ event) => (linesOpen = /** @type {HTMLDetailsElement} */ (event.target).open) },
    el("summary", {}, `rows and stitches: ${drawn.stitches} × ${drawn.rows}`),
    el(
      "div",
      { class: "row" },
      el("label", {}, count, " "),
      el("label", {}, what),
      el("label", {}, " at number ", at),
      button("put in", () => valid(count, at) && draw("insert", given()), { id: "lines-in" }),
      button("take out", () => valid(count, at) && draw("remove", given()), { id: "lines-out" }),
    ),
    el(
      "div",
      { class: "row" },
      "shift round: ",
      button("up", shift(1, 0), { id: "shift-up" }),
      button("down", shift(-1, 0), { id: "shift-down" }),
      button("left", shift(0, -1), { id: "shift-left" }),
      button("right", shift(0, 1), { id: "shift-right" }),
    ),
    el(
      "div",
      { class: "row" },
      el("label", {}, "make it ", stitches, " stitches"),
      el("label", {}, " by ", rows, " rows"),
      button("cut or fill up", () => {
        if (!valid(stitches, rows)) return;
        sent(rows, stitches);
        draw("resize", { rows: Number(rows.value), stitches: Number(stitches.value) });
      }, { id: "size-set" }),
    ),
  );
}
let linesOpen = false;
