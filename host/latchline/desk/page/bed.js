// A stretch of the bed as it lies before the knitter, hooks towards her, and the carriage somewhere upon it.
// Which needle is selected, what it does and what hangs on it is told by the desk; here it is only moved.

import { SecondBed } from "./second.js";
import { BUTT, EDGE, FABRIC, HOOK, LATCH, LOOP, MARKS, PIVOT, PLATE, between, loopsAt, needleAt, svg, turnLatch } from "./steel.js";

/**
 * @typedef {{ name: string, colour: string }} Yarn
 * @typedef {{
 *   number: number, direction: string, band: string, technique: string, chart_row: number, steps: string[],
 *   why_empty: string, second_bed: string, first_yarn: number, second_yarn: number, does: string, acting: string,
 *   driven: string, before: number[][], after: number[][], second_does: string, second_before: number[], second_after: number[],
 * }} Pass
 * @typedef {{ pass: Pass, ahead: boolean, names: string[], yarns: Yarn[] }} Scene
 */

export const LEAD = 4; // needles that the carriage stands beside the first and the last one
const REACH = 3; // needles on each side of the carriage's middle that its cams move


const FORWARD = { out: -34, rest: 0, selected: 14, tuck: 20, knit: 44, held: 44, cast_off: -8 };

const KNITS = "kcou";
const TAKES_FIRST = "ktou";
const TAKES_SECOND = "c";

/**
 * Where a needle stands and what it is about, the carriage's middle being u needles past it.
 * @param {Scene} scene @param {number} needle @param {number} u
 */
function motion({ pass, ahead }, needle, u) {
  const does = pass.does[needle];
  const selected = u < 1.7 ? pass.acting[needle] === "1" && (ahead || u > -REACH) : ahead && pass.driven[needle] === "1";
  if (does === "-") return { forward: FORWARD.out, selected: false, laid: false, off: false };
  if (does === "h") return { forward: FORWARD.held, selected, laid: false, off: false };
  const before = pass.acting[needle] === "1" ? (ahead ? FORWARD.selected : between(u, -REACH, -2.4, 0, FORWARD.selected)) : 0;
  const after = ahead && pass.driven[needle] === "1" ? FORWARD.selected : 0;
  if (does === "m") return { forward: u < 1.7 ? before : between(u, 1.7, 2.6, before, after), selected, laid: false, off: false };
  const knits = KNITS.includes(does);
  const peak = knits ? FORWARD.knit : FORWARD.tuck;
  const back = knits ? FORWARD.cast_off : 0;
  let forward = before;
  if (u > -2.2) forward = between(u, -2.2, -0.8, before, peak);
  if (u > 0.2) forward = between(u, 0.2, 1.6, peak, back);
  if (u > 1.7) forward = between(u, 1.7, 2.6, back, after);
  return { forward, selected, laid: u > -0.2, off: knits && (u > 1.7 || (u > 0.2 && forward < LOOP - HOOK)) };
}

export class Bed {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.canvas.className = "hanging";
    this.picture = svg("svg", { class: "bed-picture", role: "img" });
    this.first = 0;
    this.count = 0;
    this.pitch = 30;
    /** @type {{ group: SVGElement, steel: SVGElement, loops: SVGElement, latch: SVGElement, shown: string }[]} */
    this.needles = [];
    /** @type {Scene | null} */
    this.scene = null;
    this.behind = svg("g", { class: "yarn-behind" });
    this.front = svg("g", { class: "yarn-front" });
    this.carriage = svg("g", { class: "carriage" });
    this.second = new SecondBed();
  }

  /** Where the beds end and the fabric begins. */
  get below() {
    return this.scene?.pass.second_does ? this.second.below : FABRIC;
  }

  /** x of a needle's middle. @param {number} needle */
  x(needle) {
    return (needle - this.first + 1) * this.pitch;
  }

  /**
   * Lay out so many needles from `first` on.
   * @param {Scene} scene @param {number} first @param {number} count @param {number} pitch
   */
  lay(scene, first, count, pitch) {
    this.scene = scene;
    const same = first === this.first && count === this.count && pitch === this.pitch && this.needles.length > 0;
    [this.first, this.count, this.pitch] = [first, count, pitch];
    const wide = (count + 1) * pitch;
    this.picture.setAttribute("viewBox", `0 0 ${wide} ${this.below + 16}`);
    this.picture.setAttribute("width", String(wide));
    this.picture.setAttribute("height", String(this.below + 16));
    if (!same) this.build(wide);
    this.second.lay(scene.pass.second_does, this, wide);
    for (let place = 0; place < count; place++) {
      const mark = /** @type {SVGElement} */ (this.picture.querySelector(`[data-mark="${first + place}"]`));
      mark.setAttribute("class", scene.pass.acting[first + place] === "1" ? "mark on" : "mark");
      this.needles[place].shown = "";
    }
  }

  /** @param {number} wide */
  build(wide) {
    const { names } = /** @type {Scene} */ (this.scene);
    const [p, half] = [this.pitch, this.pitch / 2];
    this.needles = [];
    const plate = svg("g", {}, svg("rect", { class: "plate", x: half / 2, y: PLATE, width: wide - half, height: EDGE - PLATE }));
    const all = svg("g", {});
    for (let place = 0; place < this.count; place++) {
      const needle = this.first + place;
      const x = this.x(needle);
      const number = Number(names[needle].slice(1));
      if (number % 5 === 0 || number === 1 || place === 0 || place === this.count - 1) {
        const crowded = number !== 1 && number % 5 !== 0 && [names[needle - 1], names[needle + 1]].some((one) => one && (Number(one.slice(1)) % 5 === 0 || one.slice(1) === "1"));
        if (!crowded) plate.append(svg("text", { x, y: 20, "text-anchor": "middle", class: "needle-name" }, names[needle]));
      }
      plate.append(svg("rect", { "data-mark": needle, class: "mark", x: x - 5, y: MARKS - 6, width: 10, height: 8 }), svg("line", { class: "groove", x1: x, x2: x, y1: PLATE, y2: EDGE }));
      const made = needleAt(x, BUTT);
      made.group.dataset.needle = names[needle];
      all.append(made.group);
      this.needles.push({ ...made, shown: "" });
    }
    const reach = 2.6 * p;
    this.carriage.replaceChildren(
      svg("rect", { class: "block", x: -reach, y: PLATE + 8, width: 2 * reach, height: EDGE - PLATE - 22, rx: 6 }),
      this.second.block(reach), svg("line", { class: "mast", x1: 0, x2: 0, y1: 0, y2: EDGE + 20 }), svg("circle", { class: "feeder", cx: 0, cy: EDGE + 24, r: 5 }));
    this.picture.replaceChildren(plate, this.behind, all, this.second.all, this.front, this.carriage);
  }

  /** Show the pass with the carriage's middle at a needle's place, counted from 0 at the left of the span. @param {number} place */
  at(place) {
    const scene = this.scene;
    if (!scene) return;
    const way = scene.pass.direction === "rightward" ? 1 : -1;
    for (let at = 0; at < this.count; at++) {
      const u = (place - this.first - at) * way;
      const rest = u <= -REACH ? "before" : u >= REACH ? "after" : "";
      if (!rest || rest !== this.needles[at].shown) this.needle(at, u, rest);
    }
    this.carriage.setAttribute("transform", `translate(${this.x(place)} 0)`);
    this.second.at(scene, this, place, way);
    this.yarns(place, way);
  }

  /** @param {number} at @param {number} u @param {string} rest */
  needle(at, u, rest) {
    const scene = /** @type {Scene} */ (this.scene);
    const { pass, yarns } = scene;
    const one = this.needles[at];
    const needle = this.first + at;
    const x = this.x(needle);
    const { forward, selected, laid, off } = motion(scene, needle, u);
    one.shown = rest;
    one.group.setAttribute("class", `needle${selected ? " selected" : ""}${pass.does[needle] === "-" ? " out" : ""}`);
    one.group.dataset.does = pass.does[needle];
    one.group.dataset.forward = forward.toFixed(1);
    one.steel.setAttribute("transform", `translate(0 ${forward.toFixed(2)})`);
    const tip = HOOK + forward - PIVOT - LATCH; // of the latch laid back: the loop opens it on its way, and shuts it as the needle goes home
    const open = forward > 6 && (u < 0.2 || tip > LOOP || !KNITS.includes(pass.does[needle]));
    turnLatch(one.latch, x, open);
    /** @type {[number, number, number][]} colour, height of its top, width */
    const drawn = [];
    if (rest === "after" || !laid) {
      const hanging = rest === "after" ? pass.after[needle] : pass.before[needle];
      hanging.forEach((yarn, place) => drawn.push([yarn, LOOP - 6 * (hanging.length - 1 - place), 0.3]));
    } else {
      const before = pass.before[needle];
      const fallen = off ? between(u, 1.2, 1.7, 0, FABRIC - LOOP) : 0;
      const tucks = pass.does[needle] === "t" ? 1 : 0;
      if (fallen < FABRIC - LOOP) before.forEach((yarn, place) => drawn.push([yarn, LOOP + fallen - 6 * (before.length - 1 + tucks - place), 0.3]));
      const fresh = pass.after[needle][pass.after[needle].length - 1];
      drawn.push([fresh, Math.max(LOOP, HOOK + forward - 4), off || tucks ? 0.3 : 0.2]);
    }
    one.loops.replaceChildren(...loopsAt(drawn, x, this.pitch, yarns));
  }

  /** The yarns of the pass as far as the carriage has laid them, and on to its feeder. @param {number} place @param {number} way */
  yarns(place, way) {
    const { pass, yarns } = /** @type {Scene} */ (this.scene);
    const [front, behind] = [/** @type {SVGElement[]} */ ([]), /** @type {SVGElement[]} */ ([])];
    const order = [...Array(this.count).keys()].map((at) => this.first + at);
    if (way < 0) order.reverse();
    const passed = order.filter((needle) => (place - needle) * way > -0.2);
    for (const [slot, yarn] of [[1, pass.second_yarn], [0, pass.first_yarn]]) {
      if (yarn < 0 || !passed.length) continue;
      const laid_in = slot === 1 && /[ou]/.test(pass.does);
      const line = this.line(passed, way, slot, place, laid_in);
      const strands = [svg("path", { class: "strand-edge", d: line }), svg("path", { class: "strand", d: line, stroke: yarns[yarn].colour })];
      (laid_in ? front : slot ? behind : front).push(...strands);
    }
    this.front.replaceChildren(...front);
    this.behind.replaceChildren(...behind);
  }

  /**
   * From loop to loop, past the needles that do not take the yarn, and up to the feeder.
   * @param {number[]} passed @param {number} way @param {number} slot @param {number} place @param {boolean} laid_in
   */
  line(passed, way, slot, place, laid_in) {
    const foot = FABRIC + (slot ? 8 : 3);
    const takes = laid_in ? "" : slot ? TAKES_SECOND : TAKES_FIRST;
    const { pass } = /** @type {Scene} */ (this.scene);
    const half = 0.3 * this.pitch * way;
    let d = `M${this.x(passed[0]) - way * this.pitch * 0.6} ${foot}`;
    for (const needle of passed) {
      const x = this.x(needle);
      if (takes.includes(pass.does[needle])) d += `L${x - half} ${foot}M${x + half} ${foot}`;
      else if (laid_in && pass.does[needle] === "u") d += `L${x - half} ${foot}M${x + half} ${foot}`;
      else d += `L${x} ${foot + (laid_in ? -14 : 3)}`;
    }
    const end = this.x(place);
    return (end - this.x(passed[passed.length - 1])) * way > this.pitch * 8 ? d : `${d}L${end} ${EDGE + 24}`;
  }

  /**
   * The fabric below: behind the carriage with the pass that is being knitted, before it without.
   * @param {ImageBitmap | null} without @param {ImageBitmap | null} withIt @param {number} place
   */
  hang(without, withIt, place) {
    const tall = Math.max(without?.height ?? 0, withIt?.height ?? 0, 1);
    const wide = (this.count + 1) * this.pitch;
    if (this.canvas.width !== wide || this.canvas.height !== tall) [this.canvas.width, this.canvas.height] = [wide, tall];
    const brush = this.canvas.getContext("2d");
    if (!brush) return;
    brush.clearRect(0, 0, wide, tall);
    const edge = Math.max(0, Math.min(wide, this.x(place)));
    const right = this.scene?.pass.direction === "rightward";
    const part = (/** @type {ImageBitmap | null} */ picture, /** @type {number} */ from, /** @type {number} */ to) => {
      if (!picture || to <= from) return;
      const shift = this.first * this.pitch + this.pitch / 2; // the picture begins one stitch beside the first needle
      brush.drawImage(picture, from + shift, 0, to - from, picture.height, from, 0, to - from, picture.height);
    };
    part(right ? withIt : without, 0, edge);
    part(right ? without : withIt, edge, wide);
  }
}
