// Keep the screen awake while knitting, where the browser allows it.

/** @type {WakeLockSentinel | null} */
let lock = null;
let wanted = false;

/** What the knitter should know of the screen. @returns {string} */
export function screenWords() {
  if (!wanted) return "";
  if (!window.isSecureContext || !("wakeLock" in navigator)) return "the screen may sleep: set it to stay on";
  return lock ? "" : "the screen may sleep";
}

/** @param {boolean} on @param {() => void} changed */
export async function keepAwake(on, changed) {
  wanted = on;
  if (!on) {
    await lock?.release().catch(() => undefined);
    lock = null;
    return;
  }
  if (lock || !window.isSecureContext || !("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => {
      lock = null;
      changed();
    });
  } catch {
    lock = null;
  }
  changed();
}

/** A lock is lost when the page is hidden, so it is asked for again. @param {() => void} changed */
export function watchScreen(changed) {
  document.addEventListener("visibilitychange", () => {
    if (wanted && document.visibilityState === "visible") keepAwake(true, changed);
  });
}
