// The chart with its tools.

import { el } from "./dom.js";
import { hand } from "./hand.js";
import { Sight } from "./sight.js";
import { chartName, drawing, on } from "./state.js";
import { Strokes } from "./stroke.js";
import { fillTools } from "./tools.js";

/** @type {Sight | null} */
let sightNow = null;

/**
 * Where the middle of a cell lies on the screen, from 0 at the bottom left.
 * @param {number} row
 * @param {number} stitch
 * @returns {import("./hand.js").Point | null}
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
  new Strokes(sight);

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
  on("cells", () => sight.refresh());
  on("verdict", () => sight.refresh());
  on("shown", () => sight.lookAt());
  new ResizeObserver(() => sight.refresh()).observe(scroller);
  show();
  return panel;
}
