// The dry run in slow motion: one pass after another crosses the bed, as a teacher would show it.

import { Bed, LEAD } from "./bed.js";
import { button, el, fill, newest } from "./dom.js";
import { ask, fetchFile } from "./line.js";
import { looked, on, store } from "./state.js";

/** What is told of the needle under the carriage. @type {Record<string, (yarns: string[]) => string>} */
const TELLS = {
  k: ([first]) => `goes forward until its loop lies behind the latch, takes ${first} into its hook, and draws it through: the old loop slips off over the latch`,
  c: ([, second]) => `knits ${second}: its old loop slips off over the latch, and ${second} lies in the hook`,
  t: ([first]) => `tucks: it goes forward only so far that its loop stays on the latch, and takes ${first} beside it; both hang in the hook`,
  m: ([first]) => `slips: it takes no yarn and keeps its loop, and ${first} floats past it`,
  h: ([first]) => `is held: it stays out, keeps its loops, and ${first} passes it by`,
  o: ([first, second]) => `knits ${first}; ${second} is laid over it`,
  u: ([first, second]) => `knits ${first}; ${second} is laid under it`,
  "-": () => "is out of work",
};
/** What the needles of a pass do, as they are counted. @type {Record<string, (yarns: string[]) => string>} */
const COUNTS = {
  k: ([first]) => `knit ${first}`, c: ([, second]) => `knit ${second}`, t: () => "tuck", m: () => "slip", h: () => "are held",
  o: ([first, second]) => `knit ${first} under ${second}`, u: ([first, second]) => `knit ${first} over ${second}`, "-": () => "are out of work",
};
const LIES = "The hooks point towards you, and the fabric hangs with its purl side to you. A filled square over a needle: it is selected in this pass.";
const SECOND_LIES = "The pattern bed is behind, its hooks towards you; the second bed is before you, its hooks away from you. The fabric goes down between them, and is drawn below. A filled square over a needle: it is selected in this pass.";
const PACES = [1, 2, 4, 8, 16, 32]; // needles a second
const UNSEEN = 12; // so many times quicker where nothing is seen
const PAUSE_MS = 900; // between two passes
const AT_ONCE = 12; // passes that are fetched together
const BELOW = 16; // passes of the fabric that hang below

/** @typedef {import("./bed.js").Pass} Pass */

const now = { number: 1, travel: 0, pace: 2, from: 0, playing: false, serial: 0 };
/** @type {{ passes: number, needles: string[], ahead: boolean, yarns: import("./bed.js").Yarn[], shown: Map<number, Pass> } | null} */
let run = null;
/** @type {Map<number, ImageBitmap | null>} */
let pictures = new Map();

const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export function slowPart() {
  const bed = new Bed();
  const says = el("p", { class: "caution", role: "status" });
  const head = el("div", { class: "slow-head" });
  const steps = el("ul", {});
  const before = el("div", { class: "slow-steps" }, el("strong", {}, "Before this pass"), steps);
  const view = el("div", { class: "bed-view" }, bed.picture, bed.canvas);
  const whole = el("canvas", { class: "bed", role: "img", width: 1, height: 30 });
  const caption = el("p", { class: "slow-caption", id: "slow-caption" });
  const counts = el("p", { id: "slow-counts" });
  const lies = el("p", { class: "soft" });
  const travel = el("input", { type: "range", id: "slow-travel", min: "0", step: "0.05", "aria-label": "where the carriage is", oninput: () => { halt(); to(Number(travel.value)); } });
  const pace = el("input", { type: "range", id: "slow-pace", min: "0", max: String(PACES.length - 1), step: "1", value: String(now.pace), oninput: () => { now.pace = Number(pace.value); paceSays(); } });
  const paceTold = el("span", {});
  const paceSays = () => { paceTold.textContent = `${PACES[now.pace]} needle${now.pace ? "s" : ""} a second`; pace.setAttribute("aria-valuetext", paceTold.textContent); };
  const play = button("play", () => (now.playing ? halt() : begin()), { id: "slow-play", class: "main" });
  const number = el("input", { type: "number", id: "slow-number", min: "1", onchange: () => { halt(); show(Number(number.value) || 1, 0); } });
  const passBefore = button("pass before", () => { halt(); show(now.number - 1, 0); }, { id: "slow-pass-before" });
  const passNext = button("next pass", () => { halt(); show(now.number + 1, 0); }, { id: "slow-pass-next" });
  const needleBefore = button("needle before", () => { halt(); to(Math.min(Math.ceil(now.travel - 1.001), Math.max(comes() + bed.count + 1, 0))); }, { id: "slow-needle-before" });
  const needleNext = button("next needle", () => { halt(); to(Math.max(Math.floor(now.travel + 1.001), now.travel < comes() ? comes() : 0)); }, { id: "slow-needle-next" });
  const across = button("to the end of the pass", () => { halt(); to(all()); }, { id: "slow-across" });
  const stretchBefore = button("stretch before", () => move(-bed.count), { id: "slow-stretch-before" });
  const stretchNext = button("next stretch", () => move(bed.count), { id: "slow-stretch-next" });
  const stretch = el("div", { class: "row" }, stretchBefore, stretchNext);
  const motionless = el("p", { class: "soft" }, "This device asks for no motion: step from needle to needle, or move the carriage by its slider.");
  const stage = el("div", { class: "slow-stage" }, head, el("div", { class: "row" }, play, needleBefore, needleNext, across), motionless, before, view, caption,
    lies,
    el("div", { class: "row slow-sliders" }, el("label", { for: "slow-travel" }, "carriage"), travel, el("label", { for: "slow-pace" }, "pace"), pace, paceTold),
    whole, stretch, el("div", { class: "row" }, passBefore, el("label", { for: "slow-number" }, "pass"), number, passNext), counts);
  const part = el("section", { class: "slow", "aria-label": "Dry run in slow motion" }, el("h1", {}, "A dry run in slow motion"), says, stage);

  const pass = () => run?.shown.get(now.number);
  const width = () => run?.needles.length ?? 0;
  const all = () => width() + 2 * LEAD - 1;
  const place = () => (pass()?.direction === "rightward" ? now.travel - LEAD : width() - 1 + LEAD - now.travel);

  /** Where the carriage comes to the stretch that is seen. */
  const comes = () => (pass()?.direction === "rightward" ? bed.first - 1 + LEAD : width() - 1 + LEAD - bed.first - bed.count);

  const halt = () => {
    now.playing = false;
    play.textContent = "play";
    tell();
  };
  const begin = () => {
    if (still() || !pass()) return;
    if (now.travel >= all()) to(0);
    now.playing = true;
    play.textContent = "pause";
    tell();
    let last = performance.now();
    let waits = 0;
    const frame = (/** @type {number} */ at) => {
      if (!now.playing) return;
      if (!part.isConnected) return halt();
      const passed = Math.min(100, at - last);
      last = at;
      if (waits > 0) {
        waits -= passed;
        if (waits <= 0) show(now.number + 1, 0);
      } else if (now.travel < all()) {
        const here = place();
        const seen = here > bed.first - LEAD - 1 && here < bed.first + bed.count + LEAD;
        to(Math.min(all(), now.travel + (passed / 1000) * PACES[now.pace] * (seen ? 1 : UNSEEN)));
      } else if (now.number < (run?.passes ?? 0)) waits = PAUSE_MS;
      else return halt();
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  };

  /** Move the carriage. @param {number} where */
  const to = (where) => {
    now.travel = Math.max(0, Math.min(all(), where));
    travel.value = String(now.travel);
    const one = pass();
    if (!one) return;
    bed.at(place());
    bed.hang(pictures.get(now.number - 1) ?? null, pictures.get(now.number) ?? null, place());
    part.dataset.travel = now.travel.toFixed(2);
    tell();
  };

  const tell = () => {
    const one = pass();
    if (!one || !run) return;
    const at = Math.round(place());
    const names = [one.first_yarn, one.second_yarn].map((yarn) => run?.yarns[yarn]?.name ?? "no yarn");
    const which = now.travel <= 0 || now.travel >= all() ? "" : run.needles[at];
    const selected = one.acting[at] === "1" ? "selected, " : "not selected, ";
    const opposite = one.second_does ? ` Beside it, the second bed's needle ${one.second_does[at] === "k" ? `knits ${names[0]}` : "rests and keeps its loop"}.` : "";
    const words = which ? `${which}: ${/[-h]/.test(one.does[at]) || !one.acting.includes("1") ? "" : selected}${TELLS[one.does[at]](names)}.${opposite}`
      : now.travel <= 0 ? `The carriage stands at the ${one.direction === "rightward" ? "left" : "right"}.` : now.travel >= all() ? "The pass is done." : "";
    caption.setAttribute("aria-live", now.playing ? "off" : "polite");
    if (caption.textContent !== words) caption.textContent = words;
    for (const [pressed, off] of /** @type {[HTMLButtonElement, boolean][]} */ ([[needleBefore, now.travel <= 0], [needleNext, now.travel >= all()], [across, now.travel >= all()],
      [passBefore, now.number <= 1], [passNext, now.number >= run.passes], [stretchBefore, bed.first <= 0], [stretchNext, bed.first + bed.count >= width()]])) pressed.disabled = off;
  };

  /** How many needles there is room for, and how wide each lies. */
  const layOut = () => {
    const one = pass();
    if (!one || !run || !view.clientWidth) return;
    const pitch = view.clientWidth < 600 ? 24 : view.clientWidth < 1100 ? 28 : 32;
    const count = Math.max(4, Math.min(width(), Math.floor(view.clientWidth / pitch) - 1));
    now.from = Math.max(0, Math.min(now.from, width() - count));
    if (pitch !== bed.pitch) pictures = new Map();
    bed.lay({ pass: one, ahead: run.ahead, names: run.needles, yarns: run.yarns }, now.from, count, pitch);
    bed.picture.setAttribute("aria-label", `needles ${run.needles[now.from]} to ${run.needles[now.from + count - 1]} in pass ${one.number}; the line below tells what happens`);
    view.style.setProperty("--below", `${bed.below}px`);
    view.classList.toggle("two-beds", !!one.second_does);
    lies.textContent = one.second_does ? SECOND_LIES : LIES;
    stretch.hidden = count >= width();
    showWhole(one, count);
    fetchPictures(now.number);
    to(now.travel);
  };
  const move = (/** @type {number} */ by) => { now.from += by; layOut(); };

  /** The whole bed with the stretch lit: tall where a needle is selected. @param {Pass} one @param {number} count */
  const showWhole = (one, count) => {
    whole.width = width() * 6;
    whole.setAttribute("aria-label", `the bed from ${run?.needles[0]} to ${run?.needles[width() - 1]}, selected needles tall`);
    const brush = whole.getContext("2d");
    if (!brush) return;
    brush.fillStyle = "#fffdf8";
    brush.fillRect(0, 0, whole.width, 30);
    brush.fillStyle = "#ffd98a";
    if (count < width()) brush.fillRect(now.from * 6, 0, count * 6, 30);
    brush.fillStyle = "#17252a";
    [...one.acting].forEach((mark, at) => one.does[at] === "-" || brush.fillRect(at * 6 + 1, mark === "1" ? 3 : 20, 4, mark === "1" ? 24 : 7));
  };
  whole.addEventListener("click", (event) => { now.from = Math.round((event.offsetX / whole.clientWidth) * width() - bed.count / 2); layOut(); });

  const fetchPictures = newest(async (/** @type {number} */ wanted) => {
    for (const last of [wanted - 1, wanted, wanted + 1]) {
      if (pictures.has(last) || last < 1 || last > (run?.passes ?? 0)) continue;
      const mine = pictures;
      const query = new URLSearchParams({ side: "purl", stitch_px: String(bed.pitch), first: String(Math.max(1, last - BELOW)), last: String(last) });
      const blob = await looked(() => fetchFile(`/api/fabric?${query}`));
      if (!blob || mine !== pictures) return;
      mine.set(last, await createImageBitmap(blob));
      for (const old of mine.keys()) if (Math.abs(old - wanted) > 3) { mine.get(old)?.close(); mine.delete(old); }
      bed.hang(pictures.get(now.number - 1) ?? null, pictures.get(now.number) ?? null, place());
    }
    part.dataset.hung = String(wanted);
  });

  /** Show a pass. @param {number} wanted @param {number} where */
  const show = newest2(async (wanted, where) => {
    if (!store.piece || store.piece.trouble) return;
    if (!run || now.serial !== store.piece.serial) {
      run = null;
      pictures = new Map();
    }
    const number_ = Math.max(1, Math.min(run?.passes ?? wanted, wanted));
    if (!run?.shown.has(number_)) {
      const told = await looked(() => ask(`/api/slow-motion?first=${number_}&last=${number_ + AT_ONCE - 1}`));
      if (!told) return;
      const known = run?.shown ?? new Map();
      if (!run) now.from = told.shown[0].direction === "rightward" ? 0 : told.needles.length; // where the carriage stands
      for (const one of told.shown) known.set(one.number, one);
      run = { ...told, shown: known };
      now.serial = told.serial;
    }
    now.number = Math.min(number_, run?.passes ?? 1);
    now.travel = where;
    showHead();
    layOut();
  });

  const showHead = () => {
    const one = pass();
    if (!one || !run) return;
    const yarns = [one.first_yarn, one.second_yarn].filter((yarn) => yarn >= 0).map((yarn) => run?.yarns[yarn]);
    fill(head, el("strong", { id: "slow-pass" }, `pass ${one.number} of ${run.passes}`), el("span", {}, one.direction),
      el("span", {}, `${one.band}, ${one.technique}${one.chart_row ? `, chart row ${one.chart_row}` : ""}`),
      ...yarns.map((yarn) => el("span", { class: "slow-yarn" }, el("span", { class: "swatch", style: { "background-color": yarn?.colour } }), yarn?.name)),
      one.second_bed && el("span", {}, `the second bed knits ${one.second_bed}`));
    fill(steps, ...one.steps.map((step) => el("li", {}, step)));
    before.hidden = !one.steps.length;
    const names = [one.first_yarn, one.second_yarn].map((yarn) => run?.yarns[yarn]?.name ?? "no yarn");
    const kinds = [...new Set(one.does)].map((kind) => `${[...one.does].filter((other) => other === kind).length} ${COUNTS[kind](names)}`);
    counts.textContent = `In this pass: ${kinds.join(", ")}.${one.why_empty ? ` ${one.why_empty[0].toUpperCase()}${one.why_empty.slice(1)}.` : ""}`;
    number.value = String(one.number);
    number.max = String(run.passes);
    travel.max = String(all());
    part.dataset.pass = String(one.number);
  };

  const again = () => {
    const trouble = store.piece?.trouble;
    says.textContent = trouble ? `Not as it stands: ${trouble.what}` : "";
    says.hidden = !trouble;
    stage.hidden = !!trouble;
    motionless.hidden = !still();
    play.hidden = still();
    if (still()) halt();
    if (part.isConnected && store.piece && !trouble && now.serial !== store.piece.serial) show(now.number, 0);
  };
  on("piece", again);
  matchMedia("(prefers-reduced-motion: reduce)").addEventListener("change", again);
  new ResizeObserver(() => { again(); layOut(); }).observe(view);
  paceSays();
  return part;
}

/** As `newest`, for a pass and where the carriage stands. @param {(number: number, where: number) => Promise<void>} work */
function newest2(work) {
  const go = newest((/** @type {[number, number]} */ [number, where]) => work(number, where));
  return (/** @type {number} */ number, /** @type {number} */ where) => go([number, where]);
}
