// The session as the desk tells it, and what the knitter answers.

import { keepAwake } from "./awake.js";
import { ask } from "./line.js";
import { changed, tried } from "./state.js";
import { say } from "./voice.js";
import { TITLES } from "./words.js";

/** @type {{ view: any, over: any, name: string, step: number, serial: number, stopAt: number, note: string, port: string }} */
export const now = { view: null, over: null, name: "", step: 0, serial: 0, stopAt: -1e9, note: "", port: "" };

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
export async function goTo(step) {
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
export function remark(words) {
  now.note = words;
  setTimeout(() => {
    if (now.note === words) {
      now.note = "";
      changed("knit");
    }
  }, 6000);
}

/** @param {string | number} reply */
export function answer(reply) {
  const question = now.view?.question;
  if (question) tried(() => ask("/api/knit/answer", { question: question.serial, reply }));
}

/** @param {Record<string, any>} given */
export const wish = (given) => tried(() => ask("/api/knit/wish", given));

/** The serial of the question that is shown; 0 when there is none. */
export const asks = () => now.serial;

/** Whether a session is under way at a desk that is heard. */
export const knits = () => !!now.view && !now.over && !document.body.classList.contains("unheard");
