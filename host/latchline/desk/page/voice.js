// Spoken cues, by voices of this machine only; nothing is spoken before the knitter has asked for it.

import { el } from "./dom.js";

const KEPT = "latchline-voice";

/** The kinds of cues, each of which may be switched off. @type {Record<string, string>} */
export const KINDS = {
  ask: "what is to be done",
  ahead: "what comes soon",
  pass: "each pass",
  trouble: "when something is wrong",
};

/** @type {{ on: boolean, kinds: Record<string, boolean> }} */
const voice = { on: false, kinds: { ask: true, ahead: true, pass: false, trouble: true } };
try {
  Object.assign(voice.kinds, JSON.parse(localStorage.getItem(KEPT) ?? "{}"));
} catch {
  localStorage.removeItem(KEPT);
}

/** A voice that needs nobody else's machine; in the page's language if there is one. @returns {SpeechSynthesisVoice | null} */
function localVoice() {
  const local = speechSynthesis.getVoices().filter((one) => one.localService);
  return local.find((one) => one.lang.startsWith("en")) ?? local[0] ?? null;
}

/** @param {string} kind @param {string} words */
export function say(kind, words) {
  if (!voice.on || !voice.kinds[kind] || !words) return;
  const local = localVoice();
  if (!local) return;
  if (kind !== "pass") speechSynthesis.cancel();
  else if (speechSynthesis.speaking || speechSynthesis.pending) return; // a fast hand is not talked over
  const spoken = new SpeechSynthesisUtterance(words);
  spoken.voice = local;
  speechSynthesis.speak(spoken);
}

export const speaks = () => voice.on;

/** @returns {string} what is in the way of speaking, if anything */
export function setSpeaking(/** @type {boolean} */ on) {
  if (on && !("speechSynthesis" in window)) return "this browser has no voice";
  if (on && !localVoice()) return "this machine has no voice of its own; a voice from elsewhere is not used";
  voice.on = on;
  if (on) say("ask", "I speak.");
  else speechSynthesis.cancel();
  return "";
}

export function voiceChoices() {
  return el("fieldset", {}, el("legend", {}, "speak of"), ...Object.entries(KINDS).map(([kind, words]) => {
    const box = el("input", { type: "checkbox", id: `voice-${kind}`, checked: voice.kinds[kind] });
    box.addEventListener("change", () => {
      voice.kinds[kind] = box.checked;
      localStorage.setItem(KEPT, JSON.stringify(voice.kinds));
    });
    return el("label", { class: "choice" }, box, ` ${words}`);
  }));
}
