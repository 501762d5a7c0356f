// Making and changing elements without ever parsing a text as markup.

/**
 * @typedef {string | Node | null | undefined | false} Child
 */

/**
 * An element. Properties that begin with "on" are listeners; `data` and `aria` are spread; `class` is a class.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, any>} [given]
 * @param {...Child} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function el(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (value === undefined || value === null) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "value" && made instanceof HTMLInputElement) made.defaultValue = value; // so that what is typed is told from it
    else if (name === "class") made.className = value;
    else if (name === "style") for (const [key, one] of Object.entries(value)) made.style.setProperty(key, String(one));
    else if (name.includes("-") || name === "role" || name === "for" || name === "list") {
      if (value !== false) made.setAttribute(name, String(value));
    } else /** @type {any} */ (made)[name] = value;
  }
  made.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/**
 * @param {Element} parent
 * @param {...Child} children
 */
export function fill(parent, ...children) {
  parent.replaceChildren(
    ...children.filter((child) => child !== null && child !== undefined && child !== false),
  );
}

/** A text, set only where it is another one. @param {Element} one @param {string} words */
export function put(one, words) {
  if (one.textContent !== words) one.textContent = words;
}

/** What was typed into these fields is with the desk now. @param {...HTMLInputElement} inputs */
export function sent(...inputs) {
  for (const input of inputs) input.defaultValue = input.value;
}

/** Whether these fields hold what they may; the browser says at the first that does not what is wrong with it. @param {...HTMLInputElement} inputs */
export const valid = (...inputs) => inputs.every((input) => input.reportValidity());

/**
 * Fill a box anew without taking from the hand what it is at: the focus, and what is typed and not sent yet.
 * @param {HTMLElement} box
 * @param {() => void} work
 * @param {string} [of] what the box is of: with another one, what was typed is gone
 */
export function keeping(box, work, of = "") {
  const focused = document.activeElement;
  const inside = box.contains(focused);
  const id = focused && inside ? focused.id : "";
  const marked = focused instanceof HTMLInputElement && focused.selectionStart !== null ? [focused.selectionStart, focused.selectionEnd ?? 0] : null;
  const same = (box.dataset.of ?? of) === of;
  box.dataset.of = of;
  const typed = [...box.querySelectorAll("input")].filter((one) => same && one.id && one.value !== one.defaultValue).map((one) => /** @type {const} */ ([one.id, one.value]));
  work();
  for (const [name, value] of typed) {
    const input = document.getElementById(name);
    if (input instanceof HTMLInputElement) input.value = value;
  }
  const again = id ? document.getElementById(id) : null;
  again?.focus({ preventScroll: true });
  if (focused && focused !== document.activeElement && inside && document.activeElement === document.body) { // it is there no more, or shut
    box.tabIndex = -1;
    box.focus({ preventScroll: true });
  }
  if (!(again instanceof HTMLInputElement)) return;
  if (marked) again.setSelectionRange(marked[0], marked[1]);
  again.addEventListener("blur", () => { if (again.value !== again.defaultValue) again.dispatchEvent(new Event("change")); }); // the browser sees no change in what was set for it
}

/**
 * A button that says what it does in a word.
 * @param {string} words
 * @param {() => void} press
 * @param {Record<string, any>} [more]
 */
export function button(words, press, more = {}) {
  return el("button", { type: "button", onclick: press, ...more }, words);
}

/**
 * Keep only the newest of what is asked for while an earlier one is under way.
 * @template Value
 * @param {(value: Value) => Promise<void>} run
 * @returns {(value: Value) => void}
 */
export function newest(run) {
  let busy = false;
  /** @type {{ value: Value } | null} */
  let next = null;
  return async (value) => {
    next = { value };
    if (busy) return;
    busy = true;
    while (next) {
      const now = next;
      next = null;
      try {
        await run(now.value);
      } catch (error) {
        console.error(error);
      }
    }
    busy = false;
  };
}
