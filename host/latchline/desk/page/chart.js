// The chart: cells in the fabric's proportions, and the tools that a hand draws with.

import { button, el, fill } from "./dom.js";
import { bands, chartName, draw, drawing, on, store } from "./state.js";

const TOOLS = [
  ["pencil", "pencil"],
  ["line", "line"],
  ["box", "box"],
  ["full box", "full box"],
  ["fill", "fill"],
  ["pick up", "pick up a colour"],
  ["frame", "frame a part"],
];
const CELL_LEAST = 5;
const CELL_MOST = 40;

/** @typedef {[number, number]} Point row and stitch, from 0 at the bottom left */

const hand = {
  tool: "pencil",
  colour: 1,
  mirrored: "",
  tiled: false,
  cell: 0,
  /** @type {Point | null} */
  cursor: null,
  /** @type {{ from: Point, to: Point } | null} */
  frame: null,
  copying: false,
};

/** @type {Sight | null} */
let sightNow = null;

/**
 * Where the middle of a cell lies on the screen, from 0 at the bottom left.
 * @param {number} row
 * @param {number} stitch
 * @returns {Point | null}
 */
export function spotOf(row, stitch) {
  const drawn = drawing();
  if (!drawn || !sightNow) return null;
  const [wide, tall] = sightNow.cell();
  const [x, y] = sightNow.spot(drawn, [row, stitch]);
  const box = sightNow.canvas.getBoundingClientRect();
  return [box.left + x + wide / 2, box.top + y + tall / 2];
}

/** The chart with its tools. */
export function chartPanel() {
  const canvas = el("canvas", { tabIndex: 0, role: "application", "aria-roledescription": "chart" });
  const spacer = el("div", { class: "spacer" }, canvas);
  const scroller = el("div", { class: "scroller" }, spacer);
  const where = el("p", { class: "where", role: "status" });
  const tools = el("div", { class: "tools" });
  const none = el("p", { class: "none" });
  const panel = el("section", { class: "panel chart", "aria-label": "Chart" }, tools, none, scroller, where);
  const sight = new Sight(canvas, spacer, scroller, where);
  sightNow = sight;

  const show = () => {
    const drawn = drawing();
    scroller.hidden = where.hidden = !drawn;
    none.hidden = !!drawn;
    none.textContent = chartName()
      ? "The chart of this band cannot be drawn on as it is; the complaint says why."
      : "This band knits without a chart.";
    fillTools(tools, sight);
    sight.refresh();
  };
  on("piece", show);
  on("band", () => {
    hand.frame = hand.cursor = null;
    hand.cell = 0;
    show();
  });
  on("verdict", () => sight.refresh());
  on("shown", () => sight.lookAt());
  new ResizeObserver(() => sight.refresh()).observe(scroller);
  show();
  return panel;
}

/**
 * @param {HTMLElement} tools
 * @param {Sight} sight
 */
function fillTools(tools, sight) {
  const drawn = drawing();
  tools.hidden = !drawn;
  if (!drawn) return;
  const focused = document.activeElement?.id;
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
  fill(
    tools,
    el("div", { class: "row", role: "group", "aria-label": "Draw with" }, ...kinds),
    el("div", { class: "row", role: "group", "aria-label": "Colours" }, ...colours, colourMore(drawn)),
    el("div", { class: "row" }, mirrorChoice(again), tiledChoice(again), nearer(again), frameMore(again)),
    rowsMore(drawn),
  );
  if (focused) document.getElementById(focused)?.focus();
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

/** Names of the yarns that knit each colour, where the band says so. @returns {string[]} */
function yarnNames() {
  const names = bands()[store.band]?.yarns;
  return Array.isArray(names) ? names : [];
}

/** The colour that a palette entry is shown in: that of its yarn, else its own. @param {number} index */
function shownColour(index) {
  const yarn = store.piece?.values.yarns?.[yarnNames()[index]];
  return typeof yarn?.colour === "string" ? yarn.colour : (drawing()?.palette[index]?.hex ?? "#000000");
}

/** @param {import("./state.js").Drawing} drawn */
function colourMore(drawn) {
  const chosen = el("input", { type: "color", id: "colour-look", value: drawn.palette[hand.colour].hex, "aria-label": "Look of this colour" });
  chosen.addEventListener("change", () => draw("colour", { index: hand.colour, hex: chosen.value, name: drawn.palette[hand.colour].name }));
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

/** @param {() => void} again */
function tiledChoice(again) {
  return pressed("tiled", "with its repeats around", hand.tiled, () => {
    hand.tiled = !hand.tiled;
    hand.cell = 0;
    again();
    if (hand.tiled) sightNow?.centre();
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
      button("put in", () => draw("insert", given()), { id: "lines-in" }),
      button("take out", () => draw("remove", given()), { id: "lines-out" }),
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
      button("cut or fill up", () => draw("resize", { rows: Number(rows.value), stitches: Number(stitches.value) }), { id: "size-set" }),
    ),
  );
}
let linesOpen = false;

/** What is seen of the chart, and the hand upon it. Only what is in sight is painted. */
class Sight {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {HTMLElement} spacer
   * @param {HTMLElement} scroller
   * @param {HTMLElement} where
   */
  constructor(canvas, spacer, scroller, where) {
    this.canvas = canvas;
    this.spacer = spacer;
    this.scroller = scroller;
    this.where = where;
    this.brush = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
    /** @type {Point[]} */
    this.way = [];
    /** @type {Point | null} */
    this.from = null;
    this.moving = false;
    this.due = false;
    scroller.addEventListener("scroll", () => this.refresh());
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", () => this.up());
    canvas.addEventListener("pointercancel", () => this.cancel());
    canvas.addEventListener("keydown", (event) => this.key(event));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      looks.clear();
      this.refresh();
    });
  }

  refresh() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.paint();
    });
  }

  /** Width and height of a cell: as a stitch lies in the fabric. @returns {[number, number]} */
  cell() {
    const drawn = drawing();
    if (!hand.cell && drawn) {
      const room = (this.scroller.clientWidth - 60) / (drawn.stitches * (hand.tiled ? 2 : 1));
      hand.cell = Math.max(10, Math.min(28, Math.floor(room)));
    }
    const gauge = store.verdict?.gauge ?? [30, 39];
    return [hand.cell, Math.max(3, Math.round((hand.cell * gauge[0]) / gauge[1]))];
  }

  times() {
    return hand.tiled ? 3 : 1;
  }

  /** Bring the chart itself, amid its repeats, to the middle. */
  centre() {
    this.paint();
    const { scroller } = this;
    scroller.scrollLeft = (scroller.scrollWidth - scroller.clientWidth) / 2;
    scroller.scrollTop = (scroller.scrollHeight - scroller.clientHeight) / 2;
  }

  paint() {
    const drawn = drawing();
    if (!drawn || !this.scroller.clientWidth) return;
    const [wide, tall] = this.cell();
    const times = this.times();
    const edge = 34;
    this.spacer.style.width = `${drawn.stitches * wide * times + edge + 1}px`;
    this.spacer.style.height = `${drawn.rows * tall * times + 20}px`;
    const width = Math.min(this.scroller.clientWidth, drawn.stitches * wide * times + edge + 1);
    const height = Math.min(this.scroller.clientHeight, drawn.rows * tall * times + 20);
    const dots = window.devicePixelRatio || 1;
    const [dotsWide, dotsTall] = [Math.round(width * dots), Math.round(height * dots)];
    if (this.canvas.width !== dotsWide || this.canvas.height !== dotsTall) {
      this.canvas.width = dotsWide;
      this.canvas.height = dotsTall;
      this.canvas.style.width = `${width}px`;
      this.canvas.style.height = `${height}px`;
    }
    const brush = this.brush;
    brush.setTransform(dots, 0, 0, dots, 0, 0);
    const look = getComputedStyle(document.body);
    const [ground, ink] = [look.getPropertyValue("--sheet"), look.getPropertyValue("--ink")].map((name) => resolved(name));
    brush.fillStyle = ground;
    brush.fillRect(0, 0, width, height);
    const [left, top] = [this.scroller.scrollLeft, this.scroller.scrollTop];
    const allRows = drawn.rows * times;
    const first = Math.floor(left / wide);
    const last = Math.min(drawn.stitches * times - 1, Math.floor((left + width) / wide));
    const high = Math.floor(top / tall);
    const low = Math.min(allRows - 1, Math.floor((top + height) / tall));
    const colours = drawn.palette.map((_, index) => shownColour(index));
    const lines = wide >= 7 && tall >= 5;
    const middle = hand.tiled ? 1 : 0;
    for (let down = high; down <= low; down++) {
      const up = allRows - 1 - down;
      const row = up % drawn.rows;
      const y = down * tall - top;
      for (let across = first; across <= last; across++) {
        const stitch = across % drawn.stitches;
        const x = across * wide - left;
        brush.fillStyle = colours[drawn.cells[row * drawn.stitches + stitch]];
        brush.fillRect(x, y, wide - (lines ? 1 : 0), tall - (lines ? 1 : 0));
      }
      const here = Math.floor(up / drawn.rows) === middle;
      if (here && (tall >= 12 || (row + 1) % 5 === 0)) {
        const x = Math.min(drawn.stitches * wide * times - left, width - edge);
        brush.fillStyle = ground;
        brush.fillRect(x, y, edge, tall);
        brush.fillStyle = ink;
        brush.font = "11px sans-serif";
        brush.textBaseline = "middle";
        brush.fillText(String(row + 1), x + 6, y + tall / 2);
      }
    }
    if (hand.tiled) this.outline(brush, ink, drawn.stitches, drawn.rows, wide, tall, left, top, allRows);
    this.marks(brush, drawn, wide, tall);
    this.name(drawn);
  }

  /**
   * @param {CanvasRenderingContext2D} brush
   * @param {string} ink
   * @param {number} stitches
   * @param {number} rows
   * @param {number} wide
   * @param {number} tall
   * @param {number} left
   * @param {number} top
   * @param {number} allRows
   */
  outline(brush, ink, stitches, rows, wide, tall, left, top, allRows) {
    brush.strokeStyle = ink;
    brush.lineWidth = 2;
    brush.strokeRect(stitches * wide - left, (allRows - 2 * rows) * tall - top, stitches * wide, rows * tall);
  }

  /** Where a cell lies on the canvas, its top left corner; in the middle repeat when tiled.
   * @param {import("./state.js").Drawing} drawn
   * @param {Point} point
   * @returns {[number, number]}
   */
  spot(drawn, [row, stitch]) {
    const [wide, tall] = this.cell();
    const shift = hand.tiled ? 1 : 0;
    const down = drawn.rows * this.times() - 1 - (row + shift * drawn.rows);
    return [(stitch + shift * drawn.stitches) * wide - this.scroller.scrollLeft, down * tall - this.scroller.scrollTop];
  }

  /**
   * What a finding speaks of, the frame, the line being drawn, the place of the keyboard.
   * @param {CanvasRenderingContext2D} brush
   * @param {import("./state.js").Drawing} drawn
   * @param {number} wide
   * @param {number} tall
   */
  marks(brush, drawn, wide, tall) {
    const ring = (/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ w, /** @type {number} */ h, /** @type {number[]} */ dash = []) => {
      brush.setLineDash([]);
      brush.lineWidth = 4;
      brush.strokeStyle = "#ffffff";
      brush.strokeRect(x + 1, y + 1, w - 2, h - 2);
      brush.setLineDash(dash);
      brush.lineWidth = 2;
      brush.strokeStyle = "#9c1b3b";
      brush.strokeRect(x + 1, y + 1, w - 2, h - 2);
      brush.setLineDash([]);
    };
    if (store.shown && store.shown.chart === chartName()) {
      for (const cell of store.shown.cells) {
        const [x, y] = this.spot(drawn, cell);
        ring(x, y, wide, tall);
      }
    }
    const two = this.from && this.way.length ? { from: this.from, to: this.way[this.way.length - 1] } : null;
    const frame = two && !this.moving && hand.tool !== "pencil" ? two : hand.tool === "frame" ? hand.frame : null;
    if (frame && hand.tool === "line") {
      const [x, y] = this.spot(drawn, frame.from);
      const [toX, toY] = this.spot(drawn, frame.to);
      brush.lineWidth = 2;
      brush.strokeStyle = "#9c1b3b";
      brush.beginPath();
      brush.moveTo(x + wide / 2, y + tall / 2);
      brush.lineTo(toX + wide / 2, toY + tall / 2);
      brush.stroke();
    } else if (frame) {
      const [r0, r1] = [Math.min(frame.from[0], frame.to[0]), Math.max(frame.from[0], frame.to[0])];
      const [s0, s1] = [Math.min(frame.from[1], frame.to[1]), Math.max(frame.from[1], frame.to[1])];
      const [by, bx] = this.moving && two ? [two.to[0] - two.from[0], two.to[1] - two.from[1]] : [0, 0];
      const [x, y] = this.spot(drawn, [r1 + by, s0 + bx]);
      ring(x, y, (s1 - s0 + 1) * wide, (r1 - r0 + 1) * tall, [6, 4]);
    }
    if (hand.cursor && document.activeElement === this.canvas) {
      const [x, y] = this.spot(drawn, hand.cursor);
      ring(x, y, wide, tall, [2, 2]);
    }
  }

  /** Tell where the hand is. @param {import("./state.js").Drawing} drawn */
  name(drawn) {
    this.canvas.setAttribute("aria-label", `Chart of ${drawn.stitches} stitches and ${drawn.rows} rows. Arrow keys move, space draws.`);
    const at = hand.cursor;
    if (!at || at[0] >= drawn.rows || at[1] >= drawn.stitches) {
      hand.cursor = null; // of another chart
      this.where.textContent = "";
      return;
    }
    const colour = drawn.cells[at[0] * drawn.stitches + at[1]];
    this.where.textContent = `row ${at[0] + 1}, stitch ${at[1] + 1}: ${yarnNames()[colour] ?? (drawn.palette[colour].name || drawn.palette[colour].hex)}`;
  }

  /** Bring what a finding speaks of into sight. */
  lookAt() {
    const drawn = drawing();
    const first = store.shown?.cells[0];
    if (drawn && first && store.shown?.chart === chartName()) {
      const [x, y] = this.spot(drawn, first);
      this.scroller.scrollBy(x - this.scroller.clientWidth / 2, y - this.scroller.clientHeight / 2);
    }
    this.refresh();
  }

  /** The cell under the pointer. @param {PointerEvent} event @returns {Point | null} */
  under(event) {
    const drawn = drawing();
    if (!drawn) return null;
    const [wide, tall] = this.cell();
    const box = this.canvas.getBoundingClientRect();
    const across = Math.floor((event.clientX - box.left + this.scroller.scrollLeft) / wide);
    const down = Math.floor((event.clientY - box.top + this.scroller.scrollTop) / tall);
    const up = drawn.rows * this.times() - 1 - down;
    if (across < 0 || up < 0 || across >= drawn.stitches * this.times() || up >= drawn.rows * this.times()) return null;
    return [up % drawn.rows, across % drawn.stitches];
  }

  /** @param {PointerEvent} event */
  down(event) {
    const at = this.under(event);
    if (!at || event.button) return;
    this.canvas.setPointerCapture(event.pointerId);
    hand.cursor = at;
    this.begin(at);
    this.refresh();
  }

  /** @param {Point} at */
  begin(at) {
    const drawn = drawing();
    if (!drawn) return;
    if (hand.tool === "fill") draw("fill", { at, colour: hand.colour });
    else if (hand.tool === "pick up") {
      hand.colour = drawn.cells[at[0] * drawn.stitches + at[1]];
      hand.tool = "pencil";
      document.getElementById(`colour-${hand.colour}`)?.click();
    } else {
      this.from = at;
      this.way = [at];
      this.moving = hand.tool === "frame" && !!hand.frame && inside(hand.frame, at);
      if (hand.tool === "pencil") this.echo(drawn, at);
    }
  }

  /** @param {PointerEvent} event */
  move(event) {
    const drawn = drawing();
    const at = this.under(event);
    if (!at || !drawn) return;
    hand.cursor = at;
    const last = this.way[this.way.length - 1];
    if (this.from && (!last || last[0] !== at[0] || last[1] !== at[1])) {
      const leaps = last && hand.tiled && (Math.abs(last[0] - at[0]) > drawn.rows / 2 || Math.abs(last[1] - at[1]) > drawn.stitches / 2);
      if (leaps && hand.tool === "pencil") {
        this.up();
        this.from = at;
        this.way = [];
      }
      this.way.push(at);
      if (hand.tool === "pencil") this.echo(drawn, at, leaps ? undefined : last);
    }
    this.refresh();
  }

  /**
   * Show the pencil's cell in this very frame; the desk's answer puts it right.
   * @param {import("./state.js").Drawing} drawn
   * @param {Point} to
   * @param {Point} [from]
   */
  echo(drawn, to, from = to) {
    const steps = Math.max(Math.abs(to[0] - from[0]), Math.abs(to[1] - from[1]), 1);
    for (let step = 0; step <= steps; step++) {
      const row = Math.round(from[0] + ((to[0] - from[0]) * step) / steps);
      const stitch = Math.round(from[1] + ((to[1] - from[1]) * step) / steps);
      drawn.cells[row * drawn.stitches + stitch] = hand.colour;
    }
    this.refresh();
  }

  up() {
    const [from, way] = [this.from, this.way];
    const to = way[way.length - 1];
    this.from = null;
    this.way = [];
    if (!from || !to) return;
    const given = { colour: hand.colour, mirrored: hand.mirrored };
    if (hand.tool === "pencil") draw("paint", { points: way, ...given });
    else if (hand.tool === "line") draw("paint", { points: [from, to], ...given });
    else if (hand.tool === "box" || hand.tool === "full box") draw("box", { from, to, filled: hand.tool === "full box", ...given });
    else if (this.moving && hand.frame) {
      const [by, bx] = [to[0] - from[0], to[1] - from[1]];
      const frame = hand.frame;
      /** @type {Point} */
      const corner = [Math.min(frame.from[0], frame.to[0]) + by, Math.min(frame.from[1], frame.to[1]) + bx];
      hand.frame = { from: [frame.from[0] + by, frame.from[1] + bx], to: [frame.to[0] + by, frame.to[1] + bx] };
      if (by || bx) draw("move", { ...frame, at: corner, copy: hand.copying });
    } else if (hand.tool === "frame") {
      hand.frame = { from, to };
      document.getElementById("tool-frame")?.click();
    }
    this.moving = false;
    this.refresh();
  }

  cancel() {
    this.from = null;
    this.way = [];
    this.moving = false;
    this.refresh();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const drawn = drawing();
    if (!drawn) return;
    const ways = /** @type {Record<string, Point>} */ ({ ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] });
    const way = ways[event.key];
    if (way) {
      const [row, stitch] = hand.cursor ?? [0, 0];
      hand.cursor = [
        Math.max(0, Math.min(drawn.rows - 1, row + way[0])),
        Math.max(0, Math.min(drawn.stitches - 1, stitch + way[1])),
      ];
      if (this.from) this.way.push(hand.cursor);
    } else if (event.key === " " || event.key === "Enter") {
      if (event.repeat) return;
      hand.cursor ??= [0, 0];
      if (this.from) this.up();
      else {
        this.begin(hand.cursor);
        if (hand.tool === "pencil") this.up();
      }
    } else if (event.key === "Escape") this.cancel();
    else return;
    event.preventDefault();
    this.refresh();
  }
}

/**
 * @param {{ from: Point, to: Point }} frame
 * @param {Point} at
 */
function inside({ from, to }, at) {
  return [0, 1].every((axis) => at[axis] >= Math.min(from[axis], to[axis]) && at[axis] <= Math.max(from[axis], to[axis]));
}

/** Colours as the canvas takes them, by their text, for the scheme that is on. @type {Map<string, string>} */
const looks = new Map();

/** @param {string} text */
function resolved(text) {
  const known = looks.get(text);
  if (known) return known;
  const probe = el("span", { hidden: true });
  probe.style.color = text;
  document.body.append(probe);
  const colour = getComputedStyle(probe).color;
  probe.remove();
  looks.set(text, colour);
  return colour;
}
