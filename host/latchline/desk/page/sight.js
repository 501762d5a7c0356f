// What is seen of the chart: its cells in the fabric's proportions, of which only those in sight are painted.

import { el } from "./dom.js";
import { hand } from "./hand.js";
import { chartName, drawing, shownColour, store, yarnNames } from "./state.js";

/** @typedef {import("./hand.js").Point} Point */

/** What is seen of the chart. */
export class Sight {
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
    this.due = false;
    scroller.addEventListener("scroll", () => this.refresh());
    for (const look of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) matchMedia(look).addEventListener("change", () => {
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
        if (hand.numbered && wide >= 10 && tall >= 9) this.number(brush, drawn.cells[row * drawn.stitches + stitch], colours, x + wide / 2, y + tall / 2);
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
   * The colour's number in its cell, for whoever cannot tell the colours apart.
   * @param {CanvasRenderingContext2D} brush
   * @param {number} colour
   * @param {string[]} colours
   * @param {number} x
   * @param {number} y
   */
  number(brush, colour, colours, x, y) {
    brush.fillStyle = isDark(colours[colour]) ? "#ffffff" : "#000000";
    brush.font = "9px sans-serif";
    brush.textAlign = "center";
    brush.textBaseline = "middle";
    brush.fillText(String(colour), x, y);
    brush.textAlign = "start";
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
    const two = hand.from && hand.way.length ? { from: hand.from, to: hand.way[hand.way.length - 1] } : null;
    const frame = two && !hand.moving && hand.tool !== "pencil" ? two : hand.tool === "frame" ? hand.frame : null;
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
      const [by, bx] = hand.moving && two ? [two.to[0] - two.from[0], two.to[1] - two.from[1]] : [0, 0];
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

/** Whether white reads better than black on a colour, by their contrast (WCAG 2.2, relative luminance). @param {string} colour */
function isDark(colour) {
  const parts = (resolved(colour).match(/[\d.]+/g) ?? ["0", "0", "0"]).slice(0, 3).map((one) => Number(one) / 255);
  const [red, green, blue] = parts.map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue < 0.179;
}
