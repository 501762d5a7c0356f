// A foot pedal is a keyboard with one key. The page learns which, and takes a press of it once.

const KEPT = "latchline-pedal";
const BOUNCE_MS = 350;
const WAKING_MS = 700;

let downAt = -Infinity;
let wokenAt = -Infinity;
let hidden = document.visibilityState !== "visible";
/** @type {((code: string) => void) | null} */
let learning = null;

export const pedalKey = () => localStorage.getItem(KEPT) ?? "";
export const forgetPedal = () => localStorage.removeItem(KEPT);

/** Take the next key that is pressed as the pedal's. @param {(code: string) => void} learnt */
export function learnPedal(learnt) {
  learning = learnt;
}

export function stopLearning() {
  learning = null;
}

/** @param {EventTarget | null} target */
function isField(target) {
  return target instanceof HTMLElement && (target.isContentEditable || ["INPUT", "TEXTAREA", "SELECT"].includes(target.tagName));
}

/**
 * Call `press` for each press of the pedal, or of the space bar where nothing else has it. Repeats of a key held
 * down, bounces, keys typed into fields, and the press that woke the screen are none.
 * @param {() => void} press
 */
export function onPedal(press) {
  document.addEventListener("visibilitychange", () => {
    if (hidden && document.visibilityState === "visible") wokenAt = performance.now();
    hidden = document.visibilityState !== "visible";
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) {
      if (event.repeat && event.code === pedalKey()) event.preventDefault();
      return;
    }
    if (learning && event.code) {
      event.preventDefault();
      event.stopPropagation();
      localStorage.setItem(KEPT, event.code);
      const learnt = learning;
      learning = null;
      downAt = performance.now();
      learnt(event.code);
      return;
    }
    if (isField(event.target)) return;
    const free = event.code === "Space" && (event.target === document.body || (event.target instanceof HTMLElement && event.target.tagName === "MAIN"));
    if (event.code !== pedalKey() && !free) return;
    event.preventDefault();
    event.stopPropagation();
    const now = performance.now();
    const bounced = now - downAt < BOUNCE_MS;
    downAt = now;
    if (bounced || now - wokenAt < WAKING_MS) return;
    press();
  }, true);
  document.addEventListener("keyup", (event) => {
    if (event.code === pedalKey() && !isField(event.target)) {
      event.preventDefault(); // a button that has the focus would be pressed by the key's rise
      event.stopPropagation();
    }
  }, true);
}
