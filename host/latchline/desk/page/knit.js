// Knitting: what reads across a room. The desk's session says what is so; the page shows it and carries answers back.

import { keepAwake, screenWords, watchScreen } from "./awake.js";
import { atLastStretch, beadsView, seenStretch, stepStretch } from "./beads.js";
import { button, el, fill } from "./dom.js";
import { ask } from "./line.js";
import { forgetPedal, learnPedal, onPedal, pedalKey, stopLearning } from "./pedal.js";
import { changed, looked, on, store, tried } from "./state.js";
import { say, setSpeaking, speaks, voiceChoices } from "./voice.js";

/** States as the session names them → the word that is shown, its shape, and how urgent it is. */
const STATES = /** @type {Record<string, [string, string, string]>} */ ({
  greeting: ["wait", "ring", "calm"],
  waiting: ["wait", "ring", "calm"],
  ready: ["go", "disc", "good"],
  "under-way": ["knit", "disc", "good"],
  lost: ["lost", "query", "look"],
  paused: ["pause", "bars", "look"],
  fault: ["stop", "block", "bad"],
  quiet: ["silent", "cross", "bad"],
  unplugged: ["cable", "cross", "bad"],
  unheard: ["no desk", "cross", "bad"],
  over: ["done", "tick", "calm"],
  due: ["do this", "down", "look"],
  asked: ["answer", "down", "look"],
});
const MEANS = /** @type {Record<string, string>} */ ({
  greeting: "Looking for the board.",
  waiting: "Wait until the lamp is lit.",
  ready: "The lamp is lit: take the carriage across.",
  "under-way": "The carriage is on its way.",
  lost: "Take the carriage past the end sensor.",
  paused: "Nothing is selected.",
  fault: "The board has stopped.",
  quiet: "Nothing is heard of the board: look at cable and power.",
  unplugged: "The port is gone: plug the cable in again.",
  unheard: "The desk is not heard: what stands here may be old.",
  over: "The session is over.",
  due: "Do what stands below, then confirm it.",
  asked: "Read what stands below, and answer.",
});
const SHAPES = /** @type {Record<string, string>} */ ({
  ring: "M50 8a42 42 0 1 0 0 84a42 42 0 1 0 0-84zm0 18a24 24 0 1 1 0 48a24 24 0 1 1 0-48z",
  disc: "M50 6a44 44 0 1 0 0 88a44 44 0 1 0 0-88z",
  query: "M50 4L96 50L50 96L4 50zM50 28L28 50L50 72L72 50z",
  bars: "M16 10h24v80h-24zM60 10h24v80h-24z",
  block: "M10 10h80v80h-80z",
  cross: "M18 6L50 38L82 6L94 18L62 50L94 82L82 94L50 62L18 94L6 82L38 50L6 18z",
  down: "M12 8h76v42L50 94L12 50z",
  tick: "M8 52L22 38L42 58L80 14L94 28L42 86z",
});
const TITLES = /** @type {Record<string, string>} */ ({
  caution: "Before this port is used",
  begun: "This piece was begun before",
  other: "The board is in the middle of another piece",
  hand: "By hand, before the next pass",
  after: "After the last pass",
  ready: "Before the first pass",
  band: "Before the next pass",
  change: "Another yarn",
  fault: "The board stopped",
  wrong: "Not as planned",
  row: "Which pass is the last whole one on the needles?",
  sure: "Is it really this one?",
  paused: "Paused",
  plain: "Plain rows, outside the plan",
  unknit: "Stepping back",
  pass: "Knit this pass",
});

/** @type {{ view: any, over: any, name: string, step: number, serial: number, stopAt: number, note: string, port: string }} */
const now = { view: null, over: null, name: "", step: 0, serial: 0, stopAt: -1e9, note: "", port: "" };

/** @param {string} name */
function shape(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("class", "shape");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", SHAPES[name]);
  path.setAttribute("fill-rule", "evenodd");
  svg.append(path);
  return svg;
}

/** The carriage's way: a bed with its ends, and a head at the end that it goes to. Never moves. @param {string} direction */
function way(direction) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 300 40");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("class", "way");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  const right = "M4 14H240V2L296 20L240 38V26H4z";
  path.setAttribute("d", right);
  if (direction === "leftward") path.setAttribute("transform", "matrix(-1 0 0 1 300 0)");
  svg.append(path);
  return svg;
}

/** A skein in the yarn's colour. @param {{ name: string, colour: string }} yarn */
function skein(yarn) {
  return el("li", { class: "yarn" }, el("span", { class: "skein", style: { "--yarn": yarn.colour } }),
    el("span", { class: "yarn-names" }, el("span", { class: "yarn-name" }, yarn.name), el("span", { class: "yarn-whole", hidden: true }, yarn.name)));
}

/**
 * Make a text as large as its box lets it be.
 * @param {HTMLElement} box
 * @param {number} least
 * @param {number} most
 * @returns {boolean} whether it has room
 */
function fit(box, least, most) {
  let [low, high] = [least, most];
  const fits = (/** @type {number} */ size) => {
    box.style.fontSize = `${size}px`;
    return box.scrollWidth <= box.clientWidth + 1 && box.scrollHeight <= box.clientHeight + 1;
  };
  if (fits(high)) return true;
  while (high - low > 1) {
    const middle = (low + high) / 2;
    if (fits(middle)) low = middle;
    else high = middle;
  }
  return fits(low);
}

/** What stays in its place while the rest changes, so that no press is lost. */
class Board {
  constructor() {
    this.state = el("div", { class: "state", role: "status" });
    this.body = el("div", { class: "body" });
    this.big = button("", () => this.press?.(), { id: "big", class: "big main" });
    this.extra = el("div", { class: "row extra" });
    this.remark = el("span", { class: "remark", role: "status" });
    this.speak = button("speak", () => speakPressed(), { id: "wish-speak" });
    this.stop = button("stop", () => stopPressed(), { id: "wish-stop" });
    const wish = (/** @type {any} */ given) => () => tried(() => ask("/api/knit/wish", given));
    this.small = el("div", { class: "small" }, button("pause", wish({ wish: "pause" }), { id: "wish-pause" }),
      button("back", () => backBox(now.view), { id: "wish-back" }), button("note", noteBox, { id: "wish-note" }),
      this.speak, button("pedal", pedalBox, { id: "wish-pedal" }), this.stop, this.remark);
    this.all = el("div", { class: "board" }, this.state, this.body, this.big, this.extra, this.small);
    /** @type {(() => void) | null} */
    this.press = null;
    this.seen = "";
    this.stated = "";
  }

  /** Show the newest view; what has not changed is left alone. */
  show() {
    const view = now.view;
    const hand = view.question?.kind === "pass";
    const state = stateOf(view);
    if (state + hand !== this.stated) {
      this.stated = state + hand;
      const [word, form, urgency] = STATES[state] ?? [state, "query", "look"];
      this.state.className = `state ${urgency}`;
      fill(this.state, shape(form), el("b", {}, word), el("span", { class: "means" }, hand ? "Bring the filled needles forward, knit, then confirm." : (MEANS[state] ?? "")));
      fitAll(this.all);
    }
    const { number, row, coming, question, plain_rows, candidates } = view;
    const seen = JSON.stringify([number, row, coming, question, plain_rows, candidates.length, now.step, seenStretch()]);
    if (seen !== this.seen) {
      this.seen = seen;
      const shown = question && question.kind !== "pass" ? asked(question, view) : coming_pass(view);
      fill(this.body, ...shown.body);
      fill(this.extra, ...shown.extra);
      this.extra.hidden = !shown.extra.some((one) => one);
      this.press = shown.press;
      this.big.textContent = shown.words;
      this.big.disabled = !shown.press;
      this.big.hidden = !shown.words;
      fitAll(this.all);
    }
    const stopping = performance.now() - now.stopAt < STOP_MS;
    this.stop.textContent = stopping ? "press again to stop" : "stop";
    this.stop.className = stopping ? "warn" : "";
    this.speak.textContent = speaks() ? "hush" : "speak";
    this.speak.setAttribute("aria-pressed", String(speaks()));
    const urgent = STATES[state]?.[2] !== "good" && matchMedia("(max-width: 760px)").matches; // where the band has no room for more than a word
    const words = now.note || (urgent ? `${MEANS[state] ?? ""} ` : "") + facts(view);
    if (this.remark.textContent !== words) {
      const tall = this.remark.offsetHeight;
      this.remark.textContent = words;
      if (this.remark.offsetHeight !== tall) fitAll(this.all);
    }
  }
}
const STOP_MS = 4000;

/** The session's state, but where all waits for the knitter: then what is wanted of her. @param {any} view @returns {string} */
function stateOf(view) {
  if (document.body.classList.contains("unheard")) return "unheard";
  const kind = view.question?.kind ?? "pass";
  if (kind === "pass" || !["greeting", "waiting", "ready", "lost"].includes(view.state)) return view.state;
  return ["caution", "begun", "other", "sure", "row"].includes(kind) ? "asked" : "due";
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
      board.seen = board.stated = "";
      startView(box);
    }
  };
  on("knit", show);
  on("verdict", () => { if (box.isConnected && !board.all.isConnected) startView(box); });
  new ResizeObserver(() => fitAll(box)).observe(box);
  new IntersectionObserver((seen) => { if (seen.some((one) => one.isIntersecting) && !board.all.isConnected) startView(box); }).observe(box);
  watchScreen(() => changed("knit"));
  onPedal(() => {
    if (document.body.dataset.part !== "knit" || document.body.classList.contains("unheard") || document.querySelector("dialog[open]")) return;
    /** @type {HTMLButtonElement | null} */ (document.getElementById("big"))?.click();
  });
  show();
  return box;
}

/** @param {HTMLElement} box */
function fitAll(box) {
  // CSS pixels of 16 minutes of arc at two metres: on a phone 65 mm wide, a tablet of 197 mm, a desk's screen of 531 mm
  const least = innerWidth < 600 ? 80 : innerWidth < 1200 ? 70 : 60;
  const sized = (/** @type {string} */ which, /** @type {number} */ low, /** @type {number} */ high) => {
    for (const one of box.querySelectorAll(which)) fit(/** @type {HTMLElement} */ (one), low, high);
  };
  sized(".state b", 80, 150);
  const upright = matchMedia("(max-width: 760px) and (orientation: portrait)").matches;
  const near = !!box.querySelector(".by-hand"); // whoever brings needles forward stands at the page
  sized(".direction b", near ? 36 : least, near ? 56 : upright ? least : innerHeight > 900 ? 170 : 96);
  sized(".next-when", near ? 20 : least, near ? 26 : innerHeight > 900 ? 90 : least);
  for (const next of /** @type {NodeListOf<HTMLElement>} */ (box.querySelectorAll(".next"))) fitNext(next, near ? 16 : least, near ? 26 : 90);
  for (const list of /** @type {NodeListOf<HTMLElement>} */ (box.querySelectorAll(".yarns"))) fitYarns(list, least, near, upright);
  for (const all of box.querySelectorAll(".figures, .facts-big")) {
    if (all.scrollHeight > all.clientHeight + 1) all.querySelector(".next.brief")?.classList.add("terse"); // it is told in full when it is due
  }
  sized(".pass", 80, near ? 160 : 900);
  for (const one of box.querySelectorAll(".whole.same")) /** @type {HTMLElement} */ (one).hidden = true;
  for (const due of /** @type {NodeListOf<HTMLElement>} */ (box.querySelectorAll(".due"))) {
    const whole = due.parentElement?.querySelector(".whole.same");
    if (!fit(due, 80, 150) && whole) /** @type {HTMLElement} */ (whole).hidden = false; // too long for the screen at that size
  }
}

/** What comes next in full where it reads from afar; else one word that does, and the sentence below it for the eye that is near. @param {HTMLElement} next @param {number} least @param {number} most */
function fitNext(next, least, most) {
  const [what, word] = [...next.querySelectorAll(".next-what, .next-word")].map((one) => /** @type {HTMLElement} */ (one));
  next.classList.remove("brief", "terse");
  if (!fit(what, least, most) && word) {
    next.classList.add("brief");
    what.style.fontSize = "";
    word.style.fontSize = `${least}px`;
  }
}

/** As many lines for each name as there is room for; what is cut stands in full below. @param {HTMLElement} list @param {number} least @param {boolean} near @param {boolean} upright */
function fitYarns(list, least, near, upright) {
  const names = /** @type {HTMLElement[]} */ ([...list.querySelectorAll(".yarn-name")]);
  const wholes = /** @type {HTMLElement[]} */ ([...list.querySelectorAll(".yarn-whole")]);
  const cut = (/** @type {HTMLElement} */ one) => one.scrollHeight > one.clientHeight + parseFloat(getComputedStyle(one).fontSize) / 2; // by a line, not by a tail
  const give = (/** @type {number} */ lines) => names.forEach((one) => one.style.setProperty("-webkit-line-clamp", String(lines)));
  wholes.forEach((one) => { one.hidden = true; });
  give(1);
  if (!near) {
    names.forEach((one) => { one.style.fontSize = `${least}px`; });
    if (!upright) {
      const room = (list.clientHeight - 4 * (names.length - 1)) / Math.max(1, names.length) - (innerWidth < 1200 ? 24 : 0);
      for (const size of innerWidth >= 1200 ? [80, 70, 60] : [least]) {
        names.forEach((one) => { one.style.fontSize = `${size}px`; });
        give(Math.max(1, Math.min(3, Math.floor(room / (size * 1.12)))));
        if (!names.some(cut)) break;
      }
    }
  }
  names.forEach((one, at) => { wholes[at].hidden = !cut(one); });
}

/** What the live line tells of the knitting. @param {any} message */
export function takeKnit(message) {
  const before = now.view;
  now.view = message.view;
  now.over = message.over;
  now.name = message.name;
  const serial = message.view?.question?.serial ?? 0;
  if (serial !== now.serial) {
    now.serial = serial;
    now.step = 0;
  }
  if (!stepping && serial) now.step = message.view.step ?? 0;
  for (const { event, told } of message.events) heard(event, told);
  if (message.view && before && before.number !== message.view.number) say("pass", `${message.view.number}, ${message.view.row.direction}`);
  keepAwake(!!message.view && !message.over, () => changed("knit"));
  changed("knit");
}

/** Presses of this page's own that the desk has not answered yet. */
let stepping = 0;

/** Go to another of the question's things to do, on every device. @param {number} step */
async function goTo(step) {
  now.step = step;
  changed("knit");
  stepping += 1;
  await tried(() => ask("/api/knit/step", { question: now.serial, step }));
  stepping -= 1;
}

/** @param {string} event @param {any} told */
function heard(event, told) {
  if (event === "asked") say("ask", (told.question.prompts ?? []).map((/** @type {any} */ prompt) => prompt.line).join(". ") || TITLES[told.question.kind] || "");
  else if (event === "due") say("ahead", told.prompts.map((/** @type {any} */ prompt) => prompt.line).join(". "));
  else if (event === "stopped" || event === "link-lost") say("trouble", told.error.what);
  else if (event === "link-quiet") say("trouble", "The board is silent.");
  else if (event === "answer-refused") remark(told.why);
  else if (event === "wished" && told.fate === "refused") remark(told.why);
  else if (event === "wished" && told.fate === "noted" && told.wish.wish !== "note") remark("noted");
  else if (event === "wished" && told.wish.wish === "note") remark("the note is in the journal");
}

/** @param {string} words */
function remark(words) {
  now.note = words;
  setTimeout(() => {
    if (now.note === words) {
      now.note = "";
      changed("knit");
    }
  }, 6000);
}

/**
 * @typedef {{ body: import("./dom.js").Child[], extra: import("./dom.js").Child[], words: string, press: (() => void) | null }} Shown
 */

/** The pass to be knitted. @param {any} view @returns {Shown} */
function coming_pass(view) {
  const hand = view.question?.kind === "pass";
  const figures = el("div", { class: hand ? "figures by-hand" : "figures" },
    el("div", { class: "pass", "aria-label": `pass ${view.number} of ${view.passes}` }, String(view.number)),
    el("div", { class: "facts-big" },
      el("div", { class: "direction" }, el("b", {}, view.row.direction), way(view.row.direction)),
      el("ul", { class: "yarns" }, ...(view.row.yarns.length ? view.row.yarns.map(skein) : [el("li", {}, "–")])),
      nextPart(view)));
  if (!hand) return { body: [figures], extra: [], words: "", press: null };
  const beads = beadsView(view);
  const last = atLastStretch();
  return { body: [beads, figures], extra: [], words: last ? "knitted" : "next stretch", press: last ? () => answer("go-on") : () => stepStretch(1) };
}

/** One word for what is due, that reads from two metres on the smallest screen. */
const WORDS = /** @type {Record<string, string>} */ ({
  hand: "by hand", note: "set up", thread: "yarn", change: "yarn", "second-bed": "2nd bed", needles: "needles", weights: "weights", carriage: "carriage", side: "carriage",
});

/** When something comes is as large as the pass's other figures; what it is takes the room that is left. @param {any} view */
function nextPart(view) {
  const [when, what, kind] = nextWords(view);
  const yarn = view.question?.kind === "pass" ? null : view.coming?.prompts?.[0]?.yarn;
  const word = view.question?.kind === "pass" ? "" : kind;
  return el("div", { class: when || word ? "next" : "next nothing" }, when ? el("b", { class: "next-when" }, when) : null,
    when && yarn ? el("span", { class: "skein", style: { "--yarn": yarn.colour } }) : null, el("span", { class: "next-what" }, what), word ? el("span", { class: "next-word" }, word) : null);
}

/** @param {any} view @returns {[string, string, string]} when, what, and one word for it; nothing is due when the first is empty */
function nextWords(view) {
  const now_due = view.question?.kind === "pass" ? view.question.prompts.filter((/** @type {any} */ one) => one.what !== "knit") : [];
  if (now_due.length) return ["now", now_due.map((/** @type {any} */ one) => one.short).join(", "), ""];
  const prompt = view.coming?.prompts?.[0];
  if (!prompt) return view.number < view.passes ? ["", "knit on", ""] : ["", "the last pass", "last"];
  const [when, ...what] = String(prompt.ahead ?? prompt.line).split(": ");
  const word = WORDS[prompt.what] ?? "look";
  return what.length ? [when, (prompt.what === "note" ? what.slice(0, 1) : what).join(": "), word] : ["", when, word];
}

/** @param {any} question */
const titleOf = (question) => (question.kind === "ready" && question.pass_number > 1 ? "Before you go on" : TITLES[question.kind]) ?? "To be done";

/** What is due takes the whole page, one thing at a time. @param {any} question @param {any} view @returns {Shown} */
function asked(question, view) {
  if (question.kind === "row") return rowAsked(question, view);
  const prompts = question.prompts.length ? question.prompts : [{ line: question.why || "go on when you are ready", short: question.why || "go on?" }];
  const step = Math.min(now.step, prompts.length - 1);
  const last = step === prompts.length - 1;
  const prompt = prompts[step];
  const count = question.kind === "plain" ? `${view.plain_rows} plain rows so far` : prompts.length > 1 ? `${step + 1} of ${prompts.length}` : "";
  const yesses = /** @type {Record<string, string>} */ ({ sure: "yes, this one", caution: "I heed it", begun: "begin anew", other: "end that one there", fault: "go on", paused: "go on", wrong: "go on" });
  const yes = last ? (yesses[question.kind] ?? "done") : "done, next";
  const no = /** @type {Record<string, [string, string]>} */ ({ sure: ["no, another one", "no"], begun: ["no, leave it", "stop"], other: ["no, leave it", "stop"] })[question.kind];
  const body = [
    el("section", { class: "asked", "aria-live": "assertive", "aria-label": titleOf(question) },
      el("h1", {}, titleOf(question), el("span", { class: "soft" }, [question.kind === "ready" && question.pass_number === 1 ? "" : ` pass ${question.pass_number}`, count].filter(Boolean).join(" · ").replace(/^(?! )/, " "))),
      el("div", { class: "due", tabIndex: 0 }, prompt.yarn ? el("span", { class: "skein", style: { "--yarn": prompt.yarn.colour } }) : null, prompt.short ?? prompt.line),
      el("p", { class: prompt.short === prompt.line ? "whole same" : "whole" }, prompt.line)),
  ];
  const extra = [
    step > 0 ? button("the one before", () => goTo(step - 1), { id: "step-before" }) : null,
    no ? button(no[0], () => answer(no[1]), { id: "answer-no" }) : null,
  ];
  const press = () => {
    if (last) answer(question.kind === "sure" ? question.pass_number : "go-on");
    else goTo(step + 1);
  };
  return { body, extra, words: yes, press };
}

/** @param {any} question @param {any} view @returns {Shown} */
function rowAsked(question, view) {
  const other = el("input", { type: "number", id: "row-other", min: "0", max: String(view.passes), "aria-label": "another pass" });
  const body = [
    el("section", { class: "asked", "aria-label": TITLES.row },
      el("h1", {}, TITLES.row),
      el("p", {}, `Asked because ${question.why}. Look at the needles; undo a pass that is only half knitted.`),
      ...view.candidates.map((/** @type {any} */ row) =>
        el("div", { class: "candidate" },
          button(row.number ? `pass ${row.number}` : "none is knitted", () => answer(row.number), { class: "main", "data-row": row.number }),
          el("p", {}, row.number ? `went ${row.direction}, so the carriage stands at the ${row.side}. ${row.means.join(" ")}` : `the carriage stands at the ${row.side}`),
          row.marks ? needles(row) : null)),
      el("div", { class: "row" }, el("label", {}, "another one: ", other), button("it is this one", () => other.value !== "" && answer(Number(other.value)), { id: "row-go" }))),
  ];
  return { body, extra: [], words: "", press: null };
}

/** A row of needles as it lies: selected ones tall and filled, held ones tall and open, the others short; out of work a line. @param {any} row */
function needles(row) {
  const wide = 6;
  const canvas = el("canvas", { class: "needles", role: "img", "aria-label": `needles ${row.first} to ${row.last}`, width: row.marks.length * wide, height: 34 });
  const brush = canvas.getContext("2d");
  if (brush) {
    brush.fillStyle = "#fffdf8";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.fillStyle = brush.strokeStyle = "#17252a";
    [...row.marks].forEach((mark, at) => {
      if (mark === "○") brush.strokeRect(at * wide + 1.5, 3.5, wide - 3, 28);
      else if (mark === "–") brush.fillRect(at * wide + 1, 31, wide - 2, 1);
      else brush.fillRect(at * wide + 1, mark === "■" ? 3 : 24, wide - 2, mark === "■" ? 29 : 8);
    });
  }
  return canvas;
}

/** @param {any} view */
function facts(view) {
  const pace = view.rows_per_min ? `${Math.round(view.rows_per_min)} rows a minute` : "";
  const left = view.left ? `about ${Math.max(1, Math.round(view.left.left_s / 60))} min left` : "";
  return [`${view.done} of ${view.passes} done`, view.band, pace, left, screenWords()].filter(Boolean).join(" · ");
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
    tried(() => ask("/api/knit/wish", { wish: "stop" }));
  } else {
    now.stopAt = performance.now();
    setTimeout(() => changed("knit"), STOP_MS + 100);
  }
  changed("knit");
}

/** @param {string | number} reply */
function answer(reply) {
  const question = now.view?.question;
  if (question) tried(() => ask("/api/knit/answer", { question: question.serial, reply }));
}

/**
 * A small box over the page.
 * @param {string} title
 * @param {(close: () => void) => import("./dom.js").Child[]} inside
 */
function over(title, inside) {
  const box = el("dialog", { "aria-label": title });
  const close = () => box.close();
  box.append(el("h2", {}, title), ...inside(close).filter((child) => !!child && typeof child !== "boolean").map((child) => /** @type {Node} */ (child)), button("close", close));
  box.addEventListener("close", () => {
    stopLearning();
    box.remove();
  });
  document.body.append(box);
  box.showModal();
}

/** @param {any} view */
function backBox(view) {
  const count = el("input", { type: "number", id: "back-count", min: "1", max: String(Math.max(1, view.done)), value: "1" });
  over("Step back", (close) => [
    el("p", {}, "Un-knit so many passes; then the knitting goes on from there."),
    el("label", {}, "passes ", count),
    button("step back", () => {
      tried(() => ask("/api/knit/wish", { wish: "step-back", passes: Number(count.value) }));
      close();
    }, { class: "main", id: "back-go" }),
  ]);
}

function noteBox() {
  const text = el("textarea", { id: "note-text", rows: 3, maxLength: 1000, "aria-label": "note" });
  over("A note in the journal", (close) => [
    text,
    button("keep it", () => {
      if (text.value.trim()) tried(() => ask("/api/knit/wish", { wish: "note", text: text.value }));
      close();
    }, { class: "main", id: "note-go" }),
  ]);
}

function pedalBox() {
  const says = el("p", { role: "status", id: "pedal-says" }, pedalKey() ? `the pedal sends ${pedalKey()}` : "no pedal is known yet");
  over("Foot pedal and voice", () => [
    says,
    button("learn it: then press the pedal", () => {
      says.textContent = "press the pedal now";
      learnPedal((code) => { says.textContent = `the pedal sends ${code}`; });
    }, { id: "pedal-learn" }),
    button("forget it", () => { forgetPedal(); says.textContent = "no pedal is known"; }),
    voiceChoices(),
  ]);
}

/** Where a knitting begins, or goes on. @param {HTMLElement} box */
async function startView(box) {
  const over = now.over;
  const told = await looked(() => ask("/api/knit"));
  if (!told || (now.view && !now.over)) return;
  /** @type {HTMLInputElement} */
  const port = el("input", { type: "text", id: "port", list: "port-list", value: now.port || (told.ports.find((/** @type {string} */ name) => /usb|acm|com\d/i.test(name)) ?? "sim://"), oninput: () => { now.port = port.value; }, autocomplete: "off", spellcheck: false });
  const anyway = el("input", { type: "checkbox", id: "anyway", checked: box.querySelector("#anyway:checked") !== null });
  const start = (/** @type {string} */ where) => () => tried(() => ask("/api/knit/begin", { port: where === "" ? port.value.trim() : where, anyway: anyway.checked }));
  fill(box, el("div", { class: "open" },
    over ? ended(over) : null,
    el("div", { class: "cards" },
      el("section", { class: "panel" }, el("h2", {}, store.piece ? `Knit ${store.piece.name}` : "Open a piece first"),
        store.verdict && !store.verdict.can_be_knitted ? el("p", { class: "caution" }, el("label", {}, anyway, " knit it although something must be mended")) : null,
        el("div", { class: "field" }, el("label", { for: "port" }, "board's port"), el("span", {}, port, el("datalist", { id: "port-list" }, ...[...told.ports, "sim://"].map((name) => el("option", { value: name }))))),
        el("p", { class: "soft" }, "sim:// is a simulated board with a simulated hand; ?live=1 lets it take its time."),
        el("p", { class: "row" },
          button("knit with the board", start(""), { class: "main", id: "begin-board", disabled: !store.piece }),
          button("knit by hand", start("by-hand"), { id: "begin-hand", disabled: !store.piece })),
        el("p", { class: "soft" }, "By hand you need no board: the page shows which needles to bring forward, and you confirm each pass.")),
      el("section", { class: "panel" }, el("h2", {}, "Begun and not finished"),
        told.begun.length ? el("ul", { class: "names" }, ...told.begun.map((/** @type {any} */ one) =>
          el("li", {}, button(`go on with ${one.name}: ${one.done} of ${one.passes}`, () => tried(() => ask("/api/knit/resume", { journal: one.journal, port: "" })), { "data-journal": one.journal })))) : el("p", { class: "soft" }, "nothing")))));
}

/** @param {any} over */
function ended(over) {
  const trouble = over.trouble;
  const [word, form, urgency] = STATES[trouble ? "fault" : "over"] ?? ["", "", ""];
  return el("section", { class: "panel ended", role: "status" },
    el("div", { class: `state ${urgency}` }, shape(form), el("b", {}, word)),
    el("h1", {}, over.finished ? `${now.name} is finished` : `${now.name}: stopped on the way`),
    el("p", {}, `${over.done} passes are knitted, ${over.knitted} of them now.`),
    over.wrong.length ? el("p", { class: "caution" }, `Not as planned: pass ${over.wrong.join(", ")}.`) : null,
    trouble ? el("p", { class: "caution" }, el("strong", {}, trouble.what), ` ${trouble.where} ${trouble.hint}`) : null,
    over.finished ? null : el("p", {}, "It goes on from here whenever you like."));
}

/** The serial of the question that is shown; 0 when there is none. */
export const asks = () => now.serial;
