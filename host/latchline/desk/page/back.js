// How the knitting went: the sessions that have a journal, each with its figures and its picture, two side by side.

import { button, el, fill, keeping } from "./dom.js";
import { ask, fetchFile } from "./line.js";
import { looked } from "./state.js";

/** @typedef {{ journal: string, name: string, when: string }} Session */
/** @typedef {{ label: string, first: string, second: string, difference: string, error: string, clear: boolean }} Figure */

export function backPart() {
  const list = el("ul", { class: "names" });
  const shown = el("section", { class: "sessions", "aria-live": "polite" });
  const box = el("div", { class: "open" }, el("h1", {}, "How it went"), el("div", { class: "back" }, el("section", { class: "panel" }, el("h2", {}, "Sessions, newest first"), list), shown));
  /** @type {Session[]} one, or two that are compared */
  let chosen = [];
  /** @type {Session[]} */
  let known = [];

  const look = async (/** @type {Session[]} */ sessions) => {
    chosen = sessions;
    rows();
    const told = [];
    for (const one of sessions) told.push(await looked(() => ask(`/api/timing?${query(one)}`)));
    if (told.includes(undefined)) return;
    const both = sessions.length > 1 && told.every((one) => one.measured);
    const columns = [];
    for (const [at, one] of sessions.entries()) columns.push(await session(one, told[at], both ? sessions[1 - at] : undefined, sessions.length > 1 ? ["first: ", "second: "][at] : ""));
    const figures = both && (await compare(sessions[0], sessions[1]));
    if (chosen === sessions) fill(shown, figures, el("div", { class: "columns" }, ...columns));
  };

  const rows = () => {
    keeping(list, () => fill(list, ...known.map((one, number) => {
      const [first] = chosen;
      const is = chosen.some((other) => other.journal === one.journal);
      const words = `${one.name}, until ${one.when}`;
      return el("li", { class: "session" }, button(words, () => look([one]), { id: `session-${number}`, "data-journal": one.journal, "aria-pressed": String(is) }),
        button("beside it", () => first && look([first, one]), { id: `beside-${number}`, "data-beside": one.journal, disabled: !first || first.journal === one.journal, "aria-label": `put ${words} beside the chosen one` }));
    })));
    if (!known.length) fill(list, el("li", { class: "soft" }, "nothing has been knitted yet"));
    if (!chosen.length) fill(shown, el("p", { class: "panel soft" }, known.length ? "Choose a session; then another to stand beside it." : "Each session is written down while you knit, and stands here afterwards."));
  };

  const show = async () => {
    const told = await looked(() => ask("/api/timing/sessions"));
    if (!told) return;
    known = told.sessions;
    rows();
  };
  new IntersectionObserver((seen) => seen.some((one) => one.isIntersecting) && show()).observe(box);
  return box;
}

/** @param {Session} one @param {Session} [beside] */
const query = (one, beside) => new URLSearchParams({ journal: one.journal, ...(beside ? { beside: beside.journal } : {}) });

/**
 * One session in words, and where a board has measured it as a picture, on one scale with the other.
 * @param {Session} one @param {{ name: string, says: string[], measured: boolean }} told @param {Session | undefined} beside @param {string} which
 */
async function session(one, told, beside, which) {
  const column = el("section", { class: "panel" }, el("h2", {}, `${which}${told.name}`), el("p", { class: "soft" }, `until ${one.when}`), ...told.says.map((line) => el("p", {}, line)));
  const blob = told.measured && (await looked(() => fetchFile(`/api/timing/picture?${query(one, beside)}`)));
  if (!blob) return column;
  const picture = await createImageBitmap(blob);
  const canvas = el("canvas", { class: "timing", role: "img", "aria-label": `pace, evenness and speed of ${told.name}`, width: picture.width, height: picture.height });
  canvas.getContext("2d")?.drawImage(picture, 0, 0);
  picture.close();
  column.append(canvas);
  return column;
}

/** The means of both, and whether they differ by more than scatter. @param {Session} first @param {Session} second */
async function compare(first, second) {
  const told = await looked(() => ask(`/api/timing/compared?${query(first, second)}`));
  if (!told) return null;
  const cells = (/** @type {"td" | "th"} */ tag, /** @type {string[]} */ ...words) => words.map((one) => el(tag, tag === "th" ? { scope: "col" } : {}, one));
  return el("section", { class: "panel" }, el("h2", {}, "Side by side"), el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": "Figures of both sessions" }, el("table", { class: "compared" },
    el("thead", {}, el("tr", {}, el("td", {}), ...cells("th", "first", "second", "difference", "± (95 %)", "what it says"))),
    el("tbody", {}, ...told.figures.map((/** @type {Figure} */ one) =>
      el("tr", {}, el("th", { scope: "row" }, one.label), ...cells("td", one.first, one.second, one.difference, one.error, one.clear ? "a difference" : "within the scatter")))))));
}
