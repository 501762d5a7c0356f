// What both beds are drawn with: where things lie on the screen, a needle's steel, a loop.

// Heights on the screen in CSS pixels. At rest the hook ends at HOOK, and the loop lies in it; a needle that goes
// forward moves down, towards the knitter, while its loop stays at LOOP until the hook is drawn back past it.
export const MARKS = 34, PLATE = 44, BUTT = 84, EDGE = 176, HOOK = 214, LOOP = 208;
export const FABRIC = 266;
export const PIVOT = 14, LATCH = 12; // from the hook's end back to the latch's rivet, and the latch's length

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} tag
 * @param {Record<string, string | number>} given
 * @param {...(Node | string)} children
 * @returns {SVGElement}
 */
export function svg(tag, given = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(given)) made.setAttribute(name, String(value));
  made.append(...children);
  return made;
}

/** From one value to another while u goes from a to b, at both ends gently. @param {number} u @param {number} a @param {number} b @param {number} from @param {number} to */
export function between(u, a, b, from, to) {
  const share = Math.max(0, Math.min(1, (u - a) / (b - a)));
  return from + (to - from) * share * share * (3 - 2 * share);
}

/**
 * A latch needle in work: its steel with the latch, and room for the loops that hang on it.
 * @param {number} x @param {number} butt height of its butt
 */
export function needleAt(x, butt) {
  const shaft = `M${x} ${butt - 20}V${HOOK - 5}q0 6 5 6t4.5-8`;
  const knob = svg("rect", { class: "butt", x: x - 4, y: butt - 7, width: 8, height: 14, rx: 2 });
  const latch = svg("line", { class: "latch", x1: x, y1: HOOK - PIVOT });
  const steel = svg("g", {}, svg("path", { class: "stem-edge", d: shaft }), svg("path", { class: "stem", d: shaft }), knob, latch);
  const loops = svg("g", {});
  return { group: svg("g", {}, steel, loops), steel, latch, loops };
}

/** The latch open, laid back, or shut over the hook. @param {SVGElement} latch @param {number} x @param {boolean} open */
export function turnLatch(latch, x, open) {
  latch.setAttribute("x2", String(x + (open ? 5 : 7)));
  latch.setAttribute("y2", String(HOOK - PIVOT + (open ? -LATCH : LATCH)));
}

/**
 * Loops of these yarns, heights of their tops and widths.
 * @param {[number, number, number][]} drawn @param {number} x @param {number} pitch @param {{ colour: string }[]} yarns
 */
export function loopsAt(drawn, x, pitch, yarns) {
  return drawn.flatMap(([yarn, top, wide]) => {
    const d = loop(x, top, Math.max(FABRIC + 4, top + 4), wide * pitch);
    return [svg("path", { class: "loop-edge", d }), svg("path", { class: "loop", d, stroke: yarns[yarn].colour, "data-yarn": yarn })];
  });
}

/** A loop round a needle. @param {number} x @param {number} top @param {number} foot @param {number} half */
function loop(x, top, foot, half) {
  return `M${x - half} ${foot}C${x - half - 2} ${top + 8} ${x - half} ${top} ${x} ${top}S${x + half + 2} ${top + 8} ${x + half} ${foot}`;
}
