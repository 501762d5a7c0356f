// What the hand on the chart holds: tool, colour, frame, and the stroke under way.

/** @typedef {[number, number]} Point row and stitch, from 0 at the bottom left */

export const CELL_LEAST = 5;
export const CELL_MOST = 40;

export const hand = {
  tool: "pencil",
  colour: 1,
  mirrored: "",
  tiled: false,
  /** Whether each cell has its colour's number in it. */
  numbered: false,
  cell: 0,
  /** @type {Point | null} */
  cursor: null,
  /** @type {{ from: Point, to: Point } | null} */
  frame: null,
  copying: false,
  /** Where the stroke under way began, and the cells that it has come by since. @type {Point | null} */
  from: null,
  /** @type {Point[]} */
  way: [],
  /** Whether the stroke carries the framed part along. */
  moving: false,
};
