// The fabric as the desk draws it, its size and yarn, and what the checks have found.

import { button, el, fill, keeping, newest } from "./dom.js";
import { fetchFile } from "./line.js";
import { bands, changed, edit, looked, on, store } from "./state.js";

const PASSES_MAX = 380;
const ZOOM = [4, 6, 8, 10, 13, 16, 20, 26, 32];

const sight = { side: "knit", zoom: 4 };

export function fabricPanel() {
  const canvas = el("canvas", { role: "img", "aria-label": "The fabric" });
  const spacer = el("div", { class: "spacer" }, canvas);
  const scroller = el("div", { class: "scroller", tabIndex: 0, role: "region", "aria-label": "The fabric, to be scrolled" }, spacer);
  const tools = el("div", { class: "tools row" });
  const facts = el("p", { class: "facts" });
  const panel = el("section", { class: "panel fabric", "aria-label": "Fabric" }, tools, scroller, facts);

  /** How tall the passes lie, in CSS pixels, and which of them are in sight. */
  const inSight = () => {
    const size = store.piece?.fabric;
    if (!size) return null;
    const px = ZOOM[sight.zoom];
    const tall = (px * size.gauge[0]) / size.gauge[1];
    const courses = (size.size_cm[1] * size.gauge[1]) / 10;
    const each = Math.max(0.05, (tall * courses) / size.passes);
    const height = Math.max(1, scroller.clientHeight);
    const all = each * size.passes + 3 * px;
    const fromFoot = Math.max(0, all - scroller.scrollTop - height);
    const first = Math.max(1, Math.min(size.passes, Math.floor(fromFoot / each) - 1));
    const last = Math.min(size.passes, first + Math.min(PASSES_MAX, Math.ceil(height / each) + 4));
    return { px, each, all, first, last, height, width: (size.width + 2) * px };
  };

  const paint = newest(async () => {
    const seen = inSight();
    if (!seen) return;
    const serial = store.piece?.serial;
    spacer.style.height = `${Math.max(seen.all, 1)}px`;
    spacer.style.width = `${seen.width}px`;
    const query = new URLSearchParams({ side: sight.side, stitch_px: String(seen.px), first: String(seen.first), last: String(seen.last) });
    const blob = await looked(() => fetchFile(`/api/fabric?${query}`));
    if (!blob) return;
    const picture = await createImageBitmap(blob);
    canvas.width = picture.width;
    canvas.height = picture.height;
    canvas.getContext("2d")?.drawImage(picture, 0, 0);
    canvas.style.top = `${seen.all - seen.each * (seen.first - 1) - picture.height}px`;
    canvas.dataset.serial = String(serial);
    canvas.setAttribute("aria-label", `The fabric's ${sight.side} side, passes ${seen.first} to ${seen.last} of ${store.piece?.fabric?.passes}`);
    picture.close();
  });

  const showTools = () => {
    const side = (/** @type {string} */ name) => button(`${name} side`, () => { sight.side = name; showTools(); paint(1); }, { id: `side-${name}`, "aria-pressed": String(sight.side === name) });
    const zoom = (/** @type {number} */ by) => () => {
      sight.zoom = Math.max(0, Math.min(ZOOM.length - 1, sight.zoom + by));
      paint(1);
    };
    keeping(tools, () => fill(tools, side("knit"), side("purl"), button("nearer", zoom(1), { id: "fabric-nearer" }), button("farther", zoom(-1), { id: "fabric-farther" })));
  };

  let shownOf = "";
  const show = () => {
    const verdict = store.verdict;
    panel.classList.toggle("old", !!store.piece?.trouble);
    if (!verdict) return;
    const { size_cm: [width, height], gauge, estimated } = verdict;
    fill(facts,
      el("strong", {}, `${width} × ${height} cm`), ` on ${verdict.width} needles, ${verdict.needles}, in ${verdict.passes} passes; `,
      `${gauge[0]} stitches and ${gauge[1]} rows to 10 cm${estimated ? ", an estimate: knit a swatch" : ""}. `,
      ...verdict.yarns.map((yarn) => el("span", { class: "yarn" }, el("span", { class: "swatch", style: { "background-color": yarn.colour } }),
        `${yarn.name} ${yarn.metres} m${yarn.grams === null ? "" : `, ${yarn.grams} g`} `)),
      el("span", { class: "soft" }, "A swatch and something to spare are counted in. "),
      el("span", { class: "soft" }, "Fingerprint ", el("span", { id: "fingerprint" }, verdict.fingerprint), ": the same one, the same needles in every pass."));
  };
  const draw = () => {
    const size = store.piece?.fabric;
    if (!size) return;
    const which = `${store.piece?.file}/${store.piece?.name}`;
    if (which !== shownOf && scroller.clientWidth) {
      shownOf = which;
      const fits = ZOOM.filter((px) => (size.width + 2) * px <= scroller.clientWidth - 16).length - 1;
      sight.zoom = Math.min(6, Math.max(fits, size.width > 150 ? 1 : size.width > 70 ? 2 : 4));
      requestAnimationFrame(() => { scroller.scrollTop = scroller.scrollHeight; });
    }
    paint(1);
  };
  scroller.addEventListener("scroll", () => paint(1));
  new ResizeObserver(draw).observe(scroller);
  on("verdict", show);
  on("piece", () => queueMicrotask(draw)); // the verdict, being quicker, is asked for first
  showTools();
  show();
  draw();
  return panel;
}

const SHAPES = /** @type {Record<string, string>} */ ({ "must mend": "■", "look at": "▲", "good to know": "●" });

export function findingsPanel() {
  const box = el("div", {});
  const says = el("p", { role: "status", id: "says" });
  const panel = el("section", { class: "panel findings", "aria-labelledby": "findings-title" }, el("h2", { id: "findings-title" }, "Can it be knitted?"), says, box);
  const show = () => {
    const trouble = store.piece?.trouble;
    const verdict = store.verdict;
    if (trouble) {
      says.textContent = "Not as it stands:";
      fill(box, el("div", { class: "trouble" }, el("strong", {}, trouble.what), el("p", {}, trouble.where), el("p", {}, trouble.hint)));
      return;
    }
    if (!verdict) return fill(box);
    says.textContent = verdict.says;
    keeping(box, () => fill(box, ...["must mend", "look at", "good to know"].map((severity) => {
      const mine = verdict.findings.filter((one) => one.severity === severity);
      return mine.length ? el("section", { class: "severity" }, el("h3", {}, `${SHAPES[severity]} ${severity}`), ...mine.map(group)) : null;
    })));
  };
  on("mends", show);
  on("verdict", show);
  on("piece", () => store.piece?.trouble && show());
  show();
  return panel;
}

/** @param {import("./state.js").Finding} found */
function group(found) {
  const several = bands().length > 1;
  const place = (/** @type {import("./state.js").Place} */ one) => [
    several && one.band ? `band ${one.band}` : "", one.chart_row ? `chart row ${one.chart_row}` : "",
    one.passes[0] ? (one.passes[0] === one.passes[1] ? `pass ${one.passes[0]}` : `passes ${one.passes[0]} to ${one.passes[1]}`) : "", one.needles,
  ].filter(Boolean).join(", ") || "the whole piece";
  const look = (/** @type {import("./state.js").Place} */ one) => {
    const words = found.what || !one.what ? place(one) : `${place(one)}: ${one.what}`;
    return one.cells.length ? button(words, () => {
      const number = bands().findIndex((band) => band.name === one.band);
      if (number >= 0 && number !== store.band) { store.band = number; changed("band"); }
      store.shown = store.shown === one ? null : one;
      changed("shown");
    }, { class: "place" }) : el("span", { class: "place-told" }, words);
  };
  const sentence = (/** @type {string} */ text) => (text ? `${text[0].toUpperCase()}${text.slice(1)}. ` : "");
  const whose = (/** @type {import("./state.js").Mend} */ mend) => (new Set(found.at.map((one) => one.band)).size > 1 ? `, in band ${bands()[mend.band]?.name}` : "");
  return el("article", { class: "finding", "data-finding": found.rule },
    el("h4", {}, found.rule.replaceAll("-", " ")),
    el("p", {}, sentence(found.what), sentence(found.why), sentence(found.todo)),
    el("div", { class: "row" }, ...found.at.map(look), found.more ? `and ${found.more} more places` : null),
    ...found.mends.map((mend) => el("p", { class: "row" }, button(`${mend.what}${whose(mend)}`, () => edit("mend", { band: mend.band, key: mend.key }), { class: "mend", "data-mend": mend.key, disabled: mend.band < 0 }))));
}
