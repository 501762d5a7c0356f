// The pass to be knitted: its number and its way fill the page, and what else is to be known has the room that is left.

import { el, fill, put } from "./dom.js";
import { fit, fitWords, holds, largest, leastPx } from "./fit.js";
import { skein, way } from "./signs.js";
import { MEANS, facts, nextWords, pressing, stateOf } from "./words.js";

const NEAR_PX = 17; // read by whoever steps up to it
const NAME_PX = 22; // the least for a yarn, whose skein shows its colour from afar

/** Made once, so that a pass changes a few words and no layout. */
export class Figures {
  constructor() {
    this.number = el("h1", { class: "pass" });
    this.direction = el("b");
    this.way = way();
    this.told = el("p", { class: "due told", tabIndex: 0 });
    this.now = el("section", { class: "now", "aria-label": "The pass" }, this.number, el("div", { class: "direction" }, this.direction, this.way), this.told);
    this.when = el("b", { class: "next-when" });
    this.skein = el("span", { class: "skein" });
    this.word = el("span", { class: "next-word" });
    this.what = el("p", { class: "next-what" });
    this.head = el("div", { class: "next-head" }, this.when, this.skein, this.word);
    this.next = el("div", { class: "next" }, this.head, this.what);
    this.yarns = el("ul", { class: "yarns" });
    this.facts = el("p", { class: "facts-line" });
    this.rest = el("section", { class: "rest", tabIndex: 0, "aria-label": "What comes next, and the yarns" }, this.next, this.yarns, this.facts);
    this.all = el("div", { class: "figures" }, this.now, this.rest);
    /** What was measured, by what was to be measured. @type {Map<string, () => void>} */
    this.sizes = new Map();
    this.shown = "";
  }

  /** @param {any} view */
  show(view) {
    const hand = view.question?.kind === "pass";
    const alarm = pressing(view);
    const { direction, yarns } = view.row;
    const [when, what, word] = nextWords(view);
    const coming = hand ? null : view.coming?.prompts?.[0]?.yarn;
    put(this.number, String(view.number));
    this.number.setAttribute("aria-label", `pass ${view.number} of ${view.passes}`);
    put(this.facts, facts(view));
    put(this.when, when);
    put(this.what, what);
    const told = alarm ? (MEANS[stateOf(view)] ?? "") : "";
    const shown = JSON.stringify([direction, yarns, !when, word, coming, told, hand]);
    if (shown !== this.shown) {
      this.shown = shown;
      put(this.direction, direction);
      this.way.setAttribute("class", `way ${direction}`);
      put(this.told, told);
      put(this.word, hand ? "" : word);
      this.all.className = `figures${hand ? " by-hand" : ""}${alarm ? " alarm" : ""}`;
      this.next.hidden = !when && !word; // nothing to know
      this.when.hidden = !when;
      this.skein.hidden = !when || !coming;
      if (coming) this.skein.style.setProperty("--yarn", coming.colour);
      fill(this.yarns, ...(yarns.length ? yarns.map(skein) : [el("li", {}, "–")]));
    }
    this.size(JSON.stringify([shown, figuresIn(this.number), figuresIn(this.when), figuresIn(this.what)]), hand, alarm);
  }

  /** Fit everything, or take the sizes that fitted before: figures are all equally wide. @param {string} key @param {boolean} hand @param {boolean} alarm */
  size(key, hand, alarm) {
    if (!this.all.clientWidth) return;
    key += `${this.all.clientWidth} ${this.all.clientHeight}`;
    const known = this.sizes.get(key);
    if (known) return known();
    this.measure(hand, alarm);
    const styles = [this.number, this.direction, this.told, this.rest].map((one) => /** @type {const} */ ([one, one.style.cssText]));
    const rest = this.rest.className;
    if (this.sizes.size > 200) this.sizes.clear();
    this.sizes.set(key, () => {
      for (const [one, style] of styles) if (one.style.cssText !== style) one.style.cssText = style;
      this.rest.className = rest;
    });
  }

  /** @param {boolean} hand @param {boolean} alarm */
  measure(hand, alarm) {
    const least = leastPx();
    const upright = matchMedia("(max-width: 760px) and (orientation: portrait)").matches;
    if (alarm) {
      fitWords(this.told, least, 150);
      fit(this.number, 40, 300);
      return;
    }
    fit(this.direction, hand ? 20 : least, hand ? 56 : upright ? least : innerHeight > 900 ? 170 : 96);
    this.facts.hidden = true; // it has what room is left, or is scrolled
    this.measureRest(hand ? 20 : least, hand ? 26 : upright ? least : least * 1.5, hand);
    this.facts.hidden = false;
    fit(this.number, 80, hand ? 160 : 900);
  }

  /**
   * First what reads from afar: when something comes, a word for it, the yarns. Then what comes in full, as large as the
   * room that is left; it is told again when it is due.
   * @param {number} least @param {number} most @param {boolean} hand
   */
  measureRest(least, most, hand) {
    const { rest } = this;
    const words = [...rest.querySelectorAll(".yarn-name, .next-what, .next-head")];
    const set = (/** @type {string} */ name) => (/** @type {number} */ px) => {
      rest.style.setProperty(name, `${px}px`);
      return holds(rest) && words.every((one) => one.scrollWidth <= one.clientWidth + 1);
    };
    const among = (/** @type {string} */ name, /** @type {number} */ low, /** @type {number} */ high) => {
      const px = largest(low, high, set(name));
      return set(name)(px) ? px : 0;
    };
    const name_least = hand ? least : NAME_PX;
    rest.className = "rest brief terse";
    set("--what")(NEAR_PX);
    set("--name")(name_least);
    if (!set("--least")(least) && !among("--least", least / 2, least)) {
      rest.className = "rest brief terse least"; // it is scrolled
      return;
    }
    const without = among("--name", name_least, most);
    rest.className = "rest brief";
    const beside = among("--name", name_least, most);
    if (beside < Math.min(without, least)) {
      rest.className = "rest brief terse";
      set("--name")(without);
      return;
    }
    const what_px = among("--what", NEAR_PX, most);
    if (what_px >= least || !this.word.textContent) rest.className = "rest";
  }
}

/** @param {Element} one */
const figuresIn = (one) => (one.textContent ?? "").replace(/\d/g, "0");
