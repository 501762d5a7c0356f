// Making a text as large as its place lets it be.

/**
 * The size in CSS pixels that reads at two metres: a capital of 16 minutes of arc, on a phone 65 mm wide, a tablet of
 * 197 mm, a desk's screen of 531 mm.
 */
export function leastPx() {
  return innerWidth < 600 ? Math.min(80, Math.ceil((innerWidth * 13.3) / 65)) : innerWidth < 1200 ? 70 : 60;
}

/**
 * The largest size that fits, to a pixel; the least one where none does.
 * @param {number} least
 * @param {number} most
 * @param {(px: number) => boolean} fits
 */
export function largest(least, most, fits) {
  if (fits(most)) return most;
  let [low, high] = [least, most];
  while (high - low > 1) {
    const middle = (low + high) / 2;
    if (fits(middle)) low = middle;
    else high = middle;
  }
  return low;
}

/** Whether all of a box is seen. @param {Element} box */
export const holds = (box) => box.scrollWidth <= box.clientWidth + 1 && box.scrollHeight <= box.clientHeight + 1;

/**
 * Make a text as large as its box lets it be.
 * @param {HTMLElement} box
 * @param {number} least
 * @param {number} most
 * @returns {boolean} whether it has room
 */
export function fit(box, least, most) {
  const fits = (/** @type {number} */ px) => {
    box.style.fontSize = `${px}px`;
    return holds(box);
  };
  return fits(largest(least, most, fits));
}

/**
 * The same for a sentence: no word is broken unless it is too long for the page at the least size.
 * @param {HTMLElement} box
 * @param {number} least
 * @param {number} most
 * @returns {boolean} whether it has room
 */
export function fitWords(box, least, most) {
  box.style.overflowWrap = "";
  if (fit(box, least, most)) return true;
  if (box.scrollWidth > box.clientWidth + 1) box.style.overflowWrap = "anywhere";
  return holds(box);
}
