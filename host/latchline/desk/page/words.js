// What the page calls the states of a session, its questions, and what comes next.

import { screenWords } from "./awake.js";

/** States as the session names them → the word that is shown, its shape, and how urgent it is. */
export const STATES = /** @type {Record<string, [string, string, string]>} */ ({
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
export const MEANS = /** @type {Record<string, string>} */ ({
  greeting: "Looking for the board.",
  waiting: "Wait until the lamp is lit.",
  ready: "The lamp is lit: take the carriage across.",
  "under-way": "The carriage is on its way.",
  lost: "Take the carriage past the end sensor.",
  paused: "Nothing is selected.",
  fault: "The board has stopped.",
  quiet: "Look at the board's cable and power.",
  unplugged: "Plug the board's cable in again.",
  unheard: "What stands here may be old.",
  over: "The session is over.",
  due: "Do what stands below, then confirm it.",
  asked: "Read what stands below, and answer.",
});
export const TITLES = /** @type {Record<string, string>} */ ({
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

/** The session's state, but where all waits for the knitter: then what is wanted of her. @param {any} view @returns {string} */
export function stateOf(view) {
  if (document.body.classList.contains("unheard")) return "unheard";
  const kind = view.question?.kind ?? "pass";
  if (kind === "pass" || !["greeting", "waiting", "ready", "lost"].includes(view.state)) return view.state;
  return ["caution", "begun", "other", "sure", "row"].includes(kind) ? "asked" : "due";
}

/** Whether the state itself is what the knitter must see to: then its sentence takes the page. @param {any} view */
export const pressing = (view) => {
  const state = stateOf(view);
  return state === "unheard" || (["look", "bad"].includes(STATES[state]?.[2] ?? "look") && (!view.question || view.question.kind === "pass"));
};

/** @param {any} question */
export const titleOf = (question) => (question.kind === "ready" && question.pass_number > 1 ? "Before you go on" : TITLES[question.kind]) ?? "To be done";

/** One word for what is due, that reads from two metres on the smallest screen. */
const WORDS = /** @type {Record<string, string>} */ ({
  hand: "by hand", note: "set up", thread: "yarn", change: "yarn", "second-bed": "2nd bed", needles: "needles", weights: "weights", carriage: "carriage", side: "carriage",
});

/** @param {any} view @returns {[string, string, string]} when, what, and one word for it; nothing is due when the first is empty */
export function nextWords(view) {
  const now_due = view.question?.kind === "pass" ? view.question.prompts.filter((/** @type {any} */ one) => one.what !== "knit") : [];
  if (now_due.length) return ["now", now_due.map((/** @type {any} */ one) => one.short).join(", "), ""];
  const prompt = view.coming?.prompts?.[0];
  if (!prompt) return view.number < view.passes ? ["", "knit on", ""] : ["", "the last pass", "last"];
  const [when, ...what] = String(prompt.ahead ?? prompt.line).split(": ");
  const word = WORDS[prompt.what] ?? "look";
  return what.length ? [when, (prompt.what === "note" ? what.slice(0, 1) : what).join(": "), word] : ["", when, word];
}

/** What a session tells aside. @param {any} view */
export function facts(view) {
  const pace = view.rows_per_min ? `${Math.round(view.rows_per_min)} rows a minute` : "";
  const left = view.left ? `about ${Math.max(1, Math.round(view.left.left_s / 60))} min left` : "";
  return [`${view.done} of ${view.passes} done`, view.band, pace, left, screenWords()].filter(Boolean).join(" · ");
}
