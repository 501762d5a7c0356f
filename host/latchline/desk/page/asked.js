// What is due takes the whole page, one thing at a time.

import { button, el, valid } from "./dom.js";
import { answer, goTo, now } from "./session.js";
import { needles } from "./signs.js";
import { TITLES, titleOf } from "./words.js";

/**
 * @typedef {{ body: import("./dom.js").Child[], extra: import("./dom.js").Child[], words: string, press: (() => void) | null }} Shown
 */

/** What is due takes the whole page, one thing at a time. @param {any} question @param {any} view @returns {Shown} */
export function asked(question, view) {
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
    el("section", { class: "asked", "aria-label": titleOf(question) },
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
  const other = el("input", { type: "number", id: "row-other", required: true, min: "0", max: String(view.passes), "aria-label": "another pass" });
  const body = [
    el("section", { class: "asked", "aria-label": TITLES.row },
      el("h1", {}, TITLES.row),
      el("p", {}, `Asked because ${question.why}. Look at the needles; undo a pass that is only half knitted.`),
      ...view.candidates.map((/** @type {any} */ row) =>
        el("div", { class: "candidate" },
          button(row.number ? `pass ${row.number}` : "none is knitted", () => answer(row.number), { class: "main", "data-row": row.number }),
          el("p", {}, row.number ? `went ${row.direction}, so the carriage stands at the ${row.side}. ${row.means.join(" ")}` : `the carriage stands at the ${row.side}`),
          row.marks ? needles(row) : null)),
      el("div", { class: "row" }, el("label", {}, "another one: ", other), button("it is this one", () => valid(other) && answer(Number(other.value)), { id: "row-go" }))),
  ];
  return { body, extra: [], words: "", press: null };
}
