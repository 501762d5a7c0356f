// Knitting: what reads across a room. The desk's session says what is so; the page shows it and carries answers back.

import { watchScreen } from "./awake.js";
import { atLastStretch, beadsView, seenStretch, stepStretch } from "./beads.js";
import { asked } from "./asked.js";
import { startView } from "./begin.js";
import { backBox, noteBox, pedalBox } from "./boxes.js";
import { button, el, fill, put } from "./dom.js";
import { Figures } from "./figures.js";
import { fit, fitWords, leastPx } from "./fit.js";
import { onPedal } from "./pedal.js";
import { answer, now, remark, wish } from "./session.js";
import { shape } from "./signs.js";
import { changed, on } from "./state.js";
import { setSpeaking, speaks } from "./voice.js";
import { MEANS, STATES, pressing, stateOf, titleOf } from "./words.js";

const STOP_MS = 4000;

/** What stays in its place while the rest changes, so that no press is lost. */
class Board {
  constructor() {
    this.state = el("div", { class: "state" });
    this.body = el("div", { class: "body" });
    this.figures = new Figures();
    this.big = button("", () => this.press?.(), { id: "big", class: "big main" });
    this.extra = el("div", { class: "row extra" });
    this.remark = el("span", { class: "remark", role: "status" });
    this.speak = button("speak", () => speakPressed(), { id: "wish-speak" });
    this.stop = button("stop", () => stopPressed(), { id: "wish-stop" });
    this.small = el("div", { class: "small" }, button("pause", () => wish({ wish: "pause" }), { id: "wish-pause" }),
      button("back", backBox, { id: "wish-back" }), button("note", noteBox, { id: "wish-note" }),
      this.speak, button("pedal", pedalBox, { id: "wish-pedal" }), this.stop, this.remark);
    this.politely = el("p", { class: "unseen", role: "status" });
    this.at_once = el("p", { class: "unseen", role: "alert" });
    this.all = el("div", { class: "board" }, this.state, this.body, this.big, this.extra, this.small, this.politely, this.at_once);
    /** @type {(() => void) | null} */
    this.press = null;
    this.seen = "";
    this.stated = "";
  }

  /** Show everything anew the next time. */
  forget() {
    this.seen = "";
    this.stated = "";
  }

  /** The page has another size: what is typed meanwhile stays. */
  fitAnew() {
    this.stated = "";
    this.figures.sizes.clear();
    fitAsked(this.body);
    this.show();
  }

  /** Show the newest view; what has not changed is left alone. */
  show() {
    const view = now.view;
    this.showState(view);
    const question = view.question && view.question.kind !== "pass" && !pressing(view) ? view.question : null;
    const { plain_rows, candidates } = view;
    const seen_now = question ? JSON.stringify([question, plain_rows, candidates.length, now.step]) : JSON.stringify([pressing(view), view.question, view.question && view.number, seenStretch()]);
    if (seen_now !== this.seen) {
      this.seen = seen_now;
      const shown = question ? asked(question, view) : this.pass(view);
      fill(this.body, ...shown.body);
      fill(this.extra, ...shown.extra);
      this.extra.hidden = !shown.extra.some((one) => one);
      this.press = shown.press;
      this.big.textContent = shown.words;
      this.big.disabled = !shown.press;
      this.big.hidden = !shown.words;
      fitAsked(this.body);
    }
    if (!question) this.figures.show(view);
    this.announce(view, question);
    const stopping = performance.now() - now.stopAt < STOP_MS;
    put(this.stop, stopping ? "press again to stop" : "stop");
    this.stop.className = stopping ? "warn" : "";
    put(this.speak, speaks() ? "hush" : "speak");
    this.speak.setAttribute("aria-pressed", String(speaks()));
    put(this.remark, now.note);
  }

  /** The band: a word, a shape, a colour. @param {any} view */
  showState(view) {
    const hand = view.question?.kind === "pass";
    const state = stateOf(view);
    if (state + hand === this.stated) return;
    this.stated = state + hand;
    const [word, form, urgency] = STATES[state] ?? [state, "query", "look"];
    const means = pressing(view) ? "" : hand ? "Bring the filled needles forward, knit, then confirm." : (MEANS[state] ?? "");
    const bold = el("b", {}, word);
    this.state.className = `state ${urgency}`;
    fill(this.state, shape(form), bold, el("span", { class: "means" }, means));
    const least = Math.min(80, leastPx());
    if (!fit(bold, least, 150)) fit(bold, least / 2, least);
  }

  /** The pass, and by hand its needles. @param {any} view @returns {import("./asked.js").Shown} */
  pass(view) {
    if (view.question?.kind !== "pass" || pressing(view)) return { body: [this.figures.all], extra: [], words: "", press: null };
    const beads = beadsView(view);
    const last = atLastStretch();
    return { body: [beads, this.figures.all], extra: [], words: last ? "knitted" : "next stretch", press: last ? () => answer("go-on") : () => stepStretch(1) };
  }

  /** For whoever hears the page: each pass when it comes, and at once what is due or wrong. @param {any} view @param {any} question */
  announce(view, question) {
    const state = stateOf(view);
    const prompt = question?.prompts[Math.min(now.step, question.prompts.length - 1)];
    const due = question ? `${titleOf(question)}: ${prompt?.line ?? question.why}` : pressing(view) ? `${STATES[state]?.[0] ?? state}: ${MEANS[state] ?? ""}` : "";
    put(this.at_once, due);
    if (!due) put(this.politely, `pass ${view.number}, ${view.row.direction}`);
  }
}

/** What is due as large as the page lets it be. @param {HTMLElement} body */
function fitAsked(body) {
  for (const one of body.querySelectorAll(".whole.same")) /** @type {HTMLElement} */ (one).hidden = true;
  for (const due of /** @type {NodeListOf<HTMLElement>} */ (body.querySelectorAll(".asked .due"))) {
    const whole = due.parentElement?.querySelector(".whole.same");
    if (!fitWords(due, leastPx(), 150) && whole) /** @type {HTMLElement} */ (whole).hidden = false; // too long for the screen at that size
  }
}

export function knitPart() {
  const box = el("div", { class: "knit" });
  const board = new Board();
  let begun = false;
  const show = () => {
    if (now.view && !now.over) {
      if (!board.all.isConnected) fill(box, board.all);
      begun = true;
      board.show();
    } else if (begun || !box.firstChild || now.over) {
      begun = false;
      board.forget();
      startView(box);
    }
  };
  on("knit", show);
  on("verdict", () => { if (box.isConnected && !board.all.isConnected) startView(box); });
  new ResizeObserver(() => {
    if (board.all.isConnected && now.view && !now.over) board.fitAnew();
  }).observe(box);
  new IntersectionObserver((seen) => { if (seen.some((one) => one.isIntersecting) && !board.all.isConnected) startView(box); }).observe(box);
  watchScreen(() => changed("knit"));
  onPedal(() => {
    if (document.body.dataset.part !== "knit" || document.body.classList.contains("unheard") || document.querySelector("dialog[open]")) return;
    /** @type {HTMLButtonElement | null} */ (document.getElementById("big"))?.click();
  });
  show();
  return box;
}

function speakPressed() {
  const why = setSpeaking(!speaks());
  if (why) remark(why);
  changed("knit");
}

/** A stop takes two presses, so that no stray one ends the work. */
function stopPressed() {
  if (performance.now() - now.stopAt < STOP_MS) {
    now.stopAt = -1e9;
    wish({ wish: "stop" });
  } else {
    now.stopAt = performance.now();
    setTimeout(() => changed("knit"), STOP_MS + 100);
  }
  changed("knit");
}
