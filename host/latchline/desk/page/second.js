// The second bed, towards the knitter and with its hooks towards the pattern bed: the same needles, seen the other way up.

import { EDGE, FABRIC, HOOK, LOOP, between, loopsAt, needleAt, svg, turnLatch } from "./steel.js";

const GAP = FABRIC + 2; // the middle between the beds, where the fabric goes down and what is above is mirrored
const BUTT = 140, PLATE = 116; // as it is before it is mirrored; less of it is shown than of the pattern bed
const FORWARD = { rest: 0, knit: 44, cast_off: -8 };

/** @typedef {import("./bed.js").Scene} Scene */
/** @typedef {{ x: (needle: number) => number, first: number, count: number, pitch: number }} Stretch */

export class SecondBed {
  constructor() {
    this.all = svg("g", { class: "second-bed", transform: `translate(0 ${2 * GAP}) scale(1 -1)` });
    this.below = 2 * GAP - PLATE + 6;
    /** The carriage's part that runs on it. @type {SVGElement | null} */
    this.runs = null;
    /** @type {(ReturnType<typeof needleAt> & { x: number, shown: string })[]} */
    this.needles = [];
    this.laid = "";
  }

  /** The part of the carriage that runs on this bed. @param {number} reach */
  block(reach) {
    this.runs = svg("rect", { class: "block", x: -reach, y: 2 * GAP - EDGE + 14, width: 2 * reach, height: EDGE - PLATE - 22, rx: 6 });
    return this.runs;
  }

  /** Its needles lie half a pitch beside those of the pattern bed. @param {string} does empty where there is none @param {Stretch} stretch @param {number} wide */
  lay(does, stretch, wide) {
    this.runs?.setAttribute("visibility", does ? "visible" : "hidden");
    const laid = does ? `${stretch.first} ${stretch.count} ${stretch.pitch}` : "";
    for (const one of this.needles) one.shown = "";
    if (laid === this.laid) return;
    this.laid = laid;
    this.needles = [];
    const half = stretch.pitch / 2;
    const plate = svg("rect", { class: "plate", x: half / 2, y: PLATE, width: wide - half, height: EDGE - PLATE });
    for (let place = 0; does && place < stretch.count; place++) {
      const x = stretch.x(stretch.first + place) + half;
      this.needles.push({ ...needleAt(x, BUTT), x, shown: "" });
    }
    this.all.replaceChildren(...(does ? [plate] : []), ...this.needles.map((one) => one.group));
  }

  /** Show it with the carriage's middle at a place of the pattern bed. @param {Scene} scene @param {Stretch} stretch @param {number} place @param {number} way */
  at({ pass, yarns }, stretch, place, way) {
    for (const [at, one] of this.needles.entries()) {
      const needle = stretch.first + at;
      const u = (place - needle - 0.5) * way;
      const rest = u <= -3 ? "before" : u >= 3 ? "after" : "";
      if (rest && rest === one.shown) continue;
      one.shown = rest;
      const knits = pass.second_does[needle] === "k";
      let forward = FORWARD.rest;
      if (knits && u > -2.2) forward = between(u, -2.2, -0.8, FORWARD.rest, FORWARD.knit);
      if (knits && u > 0.2) forward = between(u, 0.2, 1.6, FORWARD.knit, FORWARD.cast_off);
      if (knits && u > 1.7) forward = between(u, 1.7, 2.6, FORWARD.cast_off, FORWARD.rest);
      one.group.setAttribute("class", "second-needle");
      one.group.dataset.does = pass.second_does[needle];
      one.steel.setAttribute("transform", `translate(0 ${forward.toFixed(2)})`);
      turnLatch(one.latch, one.x, forward > 6 && u < 0.2);
      const off = u > 1.7 || (u > 0.2 && forward < LOOP - HOOK);
      const fallen = off ? between(u, 1.2, 1.7, 0, FABRIC - LOOP) : 0;
      /** @type {[number, number, number][]} colour, height of its top, width */
      const drawn = [];
      if (!knits || u < -0.2) drawn.push([pass.second_before[needle], LOOP, 0.3]);
      else if (rest === "after") drawn.push([pass.second_after[needle], LOOP, 0.3]);
      else {
        if (fallen < FABRIC - LOOP) drawn.push([pass.second_before[needle], LOOP + fallen, 0.3]);
        drawn.push([pass.second_after[needle], Math.max(LOOP, HOOK + forward - 4), off ? 0.3 : 0.2]);
      }
      one.loops.replaceChildren(...loopsAt(drawn, one.x, stretch.pitch, yarns));
    }
  }
}
