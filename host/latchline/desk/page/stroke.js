// The hand upon the chart: pointer and keys, and what a stroke asks of the desk.

import { hand } from "./hand.js";
import { answered, chartName, draw, drawing, echo } from "./state.js";

/** @typedef {import("./hand.js").Point} Point */

/** Takes the strokes of pointer and keys on the chart that is in sight. */
export class Strokes {
  /** @param {import("./sight.js").Sight} sight */
  constructor(sight) {
    this.sight = sight;
    /** What the stroke under way has coloured. @type {import("./state.js").Echo | null} */
    this.echoed = null;
    const canvas = sight.canvas;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", () => this.up());
    canvas.addEventListener("pointercancel", () => this.cancel());
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {PointerEvent} event */
  down(event) {
    const at = this.sight.under(event);
    if (!at || event.button) return;
    this.sight.canvas.setPointerCapture(event.pointerId);
    hand.cursor = at;
    this.begin(at);
    this.sight.refresh();
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
      hand.from = at;
      hand.way = [at];
      hand.moving = hand.tool === "frame" && !!hand.frame && inside(hand.frame, at);
      if (hand.tool === "pencil") this.echo(drawn, at);
    }
  }

  /** @param {PointerEvent} event */
  move(event) {
    const drawn = drawing();
    const at = this.sight.under(event);
    if (!at || !drawn) return;
    hand.cursor = at;
    const last = hand.way[hand.way.length - 1];
    if (hand.from && (!last || last[0] !== at[0] || last[1] !== at[1])) {
      const leaps = last && hand.tiled && (Math.abs(last[0] - at[0]) > drawn.rows / 2 || Math.abs(last[1] - at[1]) > drawn.stitches / 2);
      if (leaps && hand.tool === "pencil") {
        this.up();
        hand.from = at;
        hand.way = [];
      }
      hand.way.push(at);
      if (hand.tool === "pencil") this.echo(drawn, at, leaps ? undefined : last);
    }
    this.sight.refresh();
  }

  /**
   * Show the pencil's cells in this very frame, those that the desk will colour (Bresenham, IBM Systems J. 4 (1965) 25).
   * @param {import("./state.js").Drawing} drawn
   * @param {Point} to
   * @param {Point} [from]
   */
  echo(drawn, to, from = to) {
    this.echoed ??= { chart: chartName(), stitches: drawn.stitches, cells: new Map() };
    let [row, stitch] = from;
    const [tall, wide] = [Math.abs(to[0] - row), Math.abs(to[1] - stitch)];
    const [up, right] = [to[0] > row ? 1 : -1, to[1] > stitch ? 1 : -1];
    let error = wide - tall;
    echo(this.echoed, row * drawn.stitches + stitch, hand.colour);
    while (row !== to[0] || stitch !== to[1]) {
      const double = 2 * error;
      if (double > -tall) [error, stitch] = [error - tall, stitch + right];
      if (double < wide) [error, row] = [error + wide, row + up];
      echo(this.echoed, row * drawn.stitches + stitch, hand.colour);
    }
    this.sight.refresh();
  }

  /** The desk's own cells hold again. @param {import("./state.js").Echo | null} echoed */
  settle(echoed) {
    if (echoed) answered(echoed);
  }

  up() {
    const [from, way] = [hand.from, hand.way];
    const to = way[way.length - 1];
    hand.from = null;
    hand.way = [];
    if (!from || !to) return;
    const given = { colour: hand.colour, mirrored: hand.mirrored };
    const echoed = this.echoed;
    this.echoed = null;
    if (hand.tool === "pencil") draw("paint", { points: way, ...given }).finally(() => this.settle(echoed));
    else if (hand.tool === "line") draw("paint", { points: [from, to], ...given });
    else if (hand.tool === "box" || hand.tool === "full box") draw("box", { from, to, filled: hand.tool === "full box", ...given });
    else if (hand.moving && hand.frame) {
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
    hand.moving = false;
    this.sight.refresh();
  }

  cancel() {
    this.settle(this.echoed);
    this.echoed = null;
    hand.from = null;
    hand.way = [];
    hand.moving = false;
    this.sight.refresh();
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
      if (hand.from) hand.way.push(hand.cursor);
    } else if (event.key === " " || event.key === "Enter") {
      if (event.repeat) return;
      hand.cursor ??= [0, 0];
      if (hand.from) this.up();
      else {
        this.begin(hand.cursor);
        if (hand.tool === "pencil") this.up();
      }
    } else if (event.key === "Escape") this.cancel();
    else return;
    event.preventDefault();
    this.sight.refresh();
  }
}

/**
 * @param {{ from: Point, to: Point }} frame
 * @param {Point} at
 */
function inside({ from, to }, at) {
  return [0, 1].every((axis) => at[axis] >= Math.min(from[axis], to[axis]) && at[axis] <= Math.max(from[axis], to[axis]));
}
