// How the knitting went: the sessions that have a journal, each with its figures and its picture.

import { button, el, fill } from "./dom.js";
import { ask, fetchFile } from "./line.js";
import { tried } from "./state.js";

export function backPart() {
  const list = el("ul", { class: "names" });
  const shown = el("section", { class: "panel", "aria-live": "polite" }, el("p", { class: "soft" }, "Choose a session."));
  const box = el("div", { class: "open" }, el("h1", {}, "How it went"), el("div", { class: "back" }, el("section", { class: "panel" }, el("h2", {}, "Sessions, newest first"), list), shown));
  const look = async (/** @type {string} */ journal) => {
    const query = new URLSearchParams({ journal });
    const told = await tried(() => ask(`/api/timing?${query}`));
    const blob = told && (await tried(() => fetchFile(`/api/timing/picture?${query}`)));
    if (!told || !blob) return;
    const picture = await createImageBitmap(blob);
    const canvas = el("canvas", { class: "timing", role: "img", "aria-label": `pace, evenness and speed of ${told.name}`, width: picture.width, height: picture.height });
    canvas.getContext("2d")?.drawImage(picture, 0, 0);
    picture.close();
    fill(shown, el("h2", {}, told.name), ...told.says.map((/** @type {string} */ line) => el("p", {}, line)), canvas);
  };
  const show = async () => {
    const told = await tried(() => ask("/api/timing/sessions"));
    if (!told) return;
    fill(list, ...told.sessions.map((/** @type {any} */ one) => el("li", {}, button(`${one.when} ${one.name}`, () => look(one.journal), { "data-journal": one.journal }))));
    if (!told.sessions.length) fill(list, el("li", { class: "soft" }, "nothing has been knitted yet"));
  };
  new IntersectionObserver((seen) => seen.some((one) => one.isIntersecting) && show()).observe(box);
  return box;
}
