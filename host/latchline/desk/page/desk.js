// The desk's page: which part is shown, and what the desk complains of.

import { button, el, fill, keeping } from "./dom.js";
import { backPart } from "./back.js";
import { knitPart } from "./knit.js";
import { drawPart, save } from "./draw.js";
import { Line, Refused, ask, takeKey } from "./line.js";
import { openPart, takeDrops } from "./open.js";
import { knits, takeKnit } from "./session.js";
import { slowPart } from "./slow.js";
import { catchUp, changed, complain, on, redo, said, store, takePiece, tried, undo } from "./state.js";

/** @param {string} id */
const byId = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/** piece: whether there must be one. @type {Record<string, { words: string, make: () => HTMLElement, piece?: boolean, made?: HTMLElement }>} */
const PARTS = {
  open: { words: "open", make: () => openPart(() => show("draw")) },
  draw: { words: "draw", make: drawPart, piece: true },
  slow: { words: "dry run", make: slowPart, piece: true },
  knit: { words: "knit", make: knitPart },
  back: { words: "look back", make: backPart },
};
let part = "";

/** Each part is a step of the browser's own way back. @param {string} name @param {boolean} [again] whether the browser has gone back or on to it */
function show(name, again = false) {
  if (!(name in PARTS)) name = "open";
  if (PARTS[name].piece && !store.piece) name = "open";
  if (!part || again) history.replaceState(null, "", `#${name}`);
  else if (name !== part) history.pushState(null, "", `#${name}`);
  part = name;
  document.body.dataset.part = name;
  const one = PARTS[name];
  one.made ??= one.make();
  fill(byId("main"), one.made);
  ways();
}

function ways() {
  keeping(byId("ways"), () => fill(byId("ways"), ...Object.entries(PARTS).map(([name, { words, piece }]) =>
    button(words, () => show(name), { id: `way-${name}`, "aria-current": name === part ? "page" : false, disabled: !!piece && !store.piece }))));
}

function complaint() {
  const box = byId("complaint");
  box.hidden = !said.complaint;
  if (!said.complaint) return;
  const { what, where, hint } = said.complaint;
  fill(box, el("strong", {}, what), where && el("span", { class: "where" }, where), hint && el("span", {}, hint),
    button("seen", () => { complain(null); byId("main").focus({ preventScroll: true }); }));
}

/** @param {KeyboardEvent} event */
function keys(event) {
  if (!(event.ctrlKey || event.metaKey) || part !== "draw" || document.querySelector("dialog[open]")) return;
  const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
  const key = event.key.toLowerCase();
  if (key === "s") save();
  else if (key === "z" && !typing) event.shiftKey ? redo() : undo();
  else if (key === "y" && !typing) redo();
  else return;
  event.preventDefault();
}

async function begin() {
  takeKey();
  on("complaint", complaint);
  on("piece", ways);
  const line = new Line();
  line.on("heard", ({ heard }) => {
    document.body.classList.toggle("unheard", !heard);
    byId("heard").textContent = heard ? "" : "not heard";
    changed("knit");
  });
  line.on("refused", (told) => complain(told));
  line.on("piece", ({ serial }) => catchUp(serial));
  line.on("knit", takeKnit);
  line.on("welcome", ({ serial }) => catchUp(serial));
  addEventListener("keydown", keys);
  addEventListener("popstate", () => { if (part && location.hash && !location.hash.includes("key=")) show(location.hash.slice(1), true); });
  addEventListener("beforeunload", (event) => { if (knits()) event.preventDefault(); }); // the browser asks first
  addEventListener("hashchange", () => { if (takeKey()) location.reload(); }); // the address of another run, in the same tab
  const asked = new URLSearchParams(location.hash.slice(1)).has("key") ? "" : location.hash.slice(1);
  await tried(async () => {
    store.desk = await ask("/api/desk");
    if (store.desk.open) takePiece(await ask("/api/piece"));
  });
  takeDrops(() => show("draw"));
  if (!part) show(asked || (store.piece ? "draw" : "open")); // unless somebody was quicker
}

begin().catch((error) => {
  if (error instanceof Refused) complain(error.complaint);
  else throw error;
});
