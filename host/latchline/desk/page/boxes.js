// The boxes over the knitting page: stepping back, a note, pedal and voice.

import { button, el, valid } from "./dom.js";
import { forgetPedal, learnPedal, pedalKey, stopLearning } from "./pedal.js";
import { now, wish } from "./session.js";
import { voiceChoices } from "./voice.js";

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

export function backBox() {
  const count = el("input", { type: "number", id: "back-count", min: "1", required: true, max: String(Math.max(1, (now.view?.done ?? 1))), value: "1" });
  over("Step back", (close) => [
    el("p", {}, "Un-knit so many passes; then the knitting goes on from there."),
    el("label", {}, "passes ", count),
    button("step back", () => {
      if (!valid(count)) return;
      wish({ wish: "step-back", passes: Number(count.value) });
      close();
    }, { class: "main", id: "back-go" }),
  ]);
}

export function noteBox() {
  const text = el("textarea", { id: "note-text", rows: 3, maxLength: 1000, "aria-label": "note" });
  over("A note in the journal", (close) => [
    text,
    button("keep it", () => {
      if (text.value.trim()) wish({ wish: "note", text: text.value });
      close();
    }, { class: "main", id: "note-go" }),
  ]);
}

export function pedalBox() {
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
