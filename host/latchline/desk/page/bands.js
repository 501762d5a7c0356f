// The piece's bands in the order in which they are knitted, and every option of the table of options.

import { button, el, fill, keeping, sent, valid } from "./dom.js";
import { bands, changed, edit, on, store } from "./state.js";

/**
 * @typedef {{ name: string, says: string, left_out: string, accepted: string, control: string,
 *   values?: string[], suggested?: string[], low?: number, high?: number }} Field
 */

export function bandsPanel() {
  const list = el("ol", { class: "bands" });
  const add = el("div", { class: "row" });
  const panel = el("section", { class: "panel bands-panel", "aria-labelledby": "bands-title" },
    el("h2", { id: "bands-title" }, "Bands"), el("p", { class: "soft" }, "The first is knitted first."), list, add);
  const show = () => keeping(panel, () => {
    fill(list, ...bands().map((band, number) => row(band, number)));
    fill(add, ...adding());
  });
  on("piece", show);
  on("band", show);
  on("verdict", show);
  show();
  return panel;
}

/** @param {import("./state.js").Values} band @param {number} number */
function row(band, number) {
  const known = store.verdict?.bands.find((one) => one.name === band.name);
  const passes = known && !store.piece?.trouble ? `passes ${known.first} to ${known.last}` : "";
  const choose = el("button", {
    type: "button", id: `band-${number}`, class: "band", "aria-pressed": String(number === store.band),
    onclick: () => { store.band = number; store.shown = null; changed("band"); changed("shown"); },
  }, el("strong", {}, String(band.name ?? `band ${number + 1}`)), el("span", {}, String(band.technique ?? "")), el("span", { class: "soft" }, passes));
  const item = el("li", { draggable: true, "data-band": number }, choose,
    button("earlier", () => moved(number, number - 1, "earlier"), { id: `earlier-${number}`, disabled: number === 0, "aria-label": `knit ${band.name} earlier` }),
    button("later", () => moved(number, number + 1, "later"), { id: `later-${number}`, disabled: number === bands().length - 1, "aria-label": `knit ${band.name} later` }));
  item.addEventListener("dragstart", (event) => event.dataTransfer?.setData("text/latchline-band", String(number)));
  item.addEventListener("dragover", (event) => event.dataTransfer?.types.includes("text/latchline-band") && event.preventDefault());
  item.addEventListener("drop", (event) => {
    const from = event.dataTransfer?.getData("text/latchline-band");
    if (from) { event.preventDefault(); event.stopPropagation(); moved(Number(from), number); }
  });
  return item;
}

/** @param {number} from @param {number} to @param {string} [by] which of its buttons was pressed, and is to be at hand again */
async function moved(from, to, by) {
  if (from === to) return;
  if (store.band === from) store.band = to;
  await edit("move-band", { band: from, to });
  changed("band");
  if (by) document.getElementById(`${by}-${to}`)?.focus();
  if (by && document.activeElement?.id !== `${by}-${to}`) document.getElementById(`band-${to}`)?.focus();
}

function adding() {
  const charts = [...new Set([...Object.keys(store.piece?.drawings ?? {}), ...(store.desk?.files.charts ?? [])])];
  const which = el("select", { id: "add-chart", "aria-label": "What the new band knits" },
    el("option", { value: "" }, "plain rows"), ...charts.map((name) => el("option", { value: name }, `the chart ${name}`)));
  return [
    which,
    button("add a band after this one", async () => {
      const plain = !which.value;
      const made = await edit("add-band", {
        at: store.band + 1, name: fresh(plain ? "plain rows" : which.value.replace(/\.\w+$/, "")),
        technique: plain ? "stocking" : "fair-isle", chart: which.value, rows: plain ? 6 : 0,
      });
      if (made) { store.band += 1; changed("band"); }
    }, { id: "band-add" }),
    button("take this band out", () => edit("remove-band", { band: store.band }), { id: "band-out", disabled: bands().length < 2 }),
  ];
}

/** A name that no band has. @param {string} name */
function fresh(name) {
  const taken = new Set(bands().map((band) => band.name));
  for (let number = 1; ; number++) {
    const tried = number === 1 ? name : `${name} ${number}`;
    if (!taken.has(tried)) return tried;
  }
}

export function optionsPanel() {
  const box = el("div", {});
  const panel = el("section", { class: "panel options", "aria-labelledby": "options-title" }, el("h2", { id: "options-title" }, "Options"), box);
  const opened = new Set(["band"]);
  const show = () => keeping(panel, () => {
    const form = store.desk?.form;
    const band = bands()[store.band];
    if (!form || !store.piece || !band) return fill(box);
    const values = store.piece.values;
    const part = (/** @type {string} */ key, /** @type {string} */ title, /** @type {import("./dom.js").Child[]} */ ...inside) =>
      el("details", { open: opened.has(key), ontoggle: (/** @type {Event} */ event) =>
        /** @type {HTMLDetailsElement} */ (event.target).open ? opened.add(key) : opened.delete(key) }, el("summary", {}, title), ...inside);
    const ofBand = (/** @type {Field} */ field) =>
      fieldOf(field, "band", band[field.name], (value) => edit("option", { band: store.band, key: field.name, value }));
    fill(box,
      part("band", `This band: ${band.name ?? store.band + 1}`, nameOf(band), ...form.band.map(ofBand), yarnsOfBand(band, values)),
      part("drawing", "Its chart, before it is knitted", ...form.drawing.map(ofBand)),
      part("piece", "The whole piece", ...form.piece.map((/** @type {Field} */ field) =>
        fieldOf(field, "piece", values[field.name], (value) => edit("piece", { key: field.name, value })))),
      part("yarns", "Yarns", ...yarns(values)),
      part("swatch", "Swatch", swatch(values)));
  }, `${store.piece?.file}/${store.piece?.name}`);
  on("piece", show);
  on("band", show);
  show();
  return panel;
}

/** @param {import("./state.js").Values} band */
function nameOf(band) {
  const input = el("input", { type: "text", id: "band-name", value: String(band.name ?? ""), maxLength: 200 });
  input.addEventListener("change", () => { sent(input); edit("option", { band: store.band, key: "name", value: input.value || null }); });
  return el("div", { class: "field" }, el("label", { for: "band-name" }, "name"), input);
}

/**
 * One option in its control. Left empty, it is as the table says.
 * @param {Field} field
 * @param {string} of
 * @param {any} value
 * @param {(value: any) => void} set
 */
function fieldOf(field, of, value, set) {
  const id = `${of}-${field.name}`;
  const usual = field.left_out ? `as usual: ${field.left_out}` : "as usual";
  const shared = { id, "aria-describedby": `${id}-says` };
  /** @type {HTMLElement} */
  let control;
  if (field.control === "choice" || field.control === "flag") {
    const values = field.control === "flag" ? ["true"] : (field.values ?? []);
    const words = (/** @type {string} */ one) => (field.control === "flag" ? "yes" : one);
    const needed = field.name === "technique";
    const select = el("select", shared, needed ? null : el("option", { value: "" }, field.control === "flag" ? "no" : usual),
      ...values.map((one) => el("option", { value: one, selected: String(value) === one }, words(one))));
    select.addEventListener("change", () => set(select.value === "" ? null : field.control === "flag" ? true : select.value));
    control = select;
  } else {
    const text = Array.isArray(value) ? value.join(", ") : value === undefined ? "" : String(value);
    const input = el("input", { ...shared, type: "text", value: text, placeholder: usual, autocomplete: "off", spellcheck: false, maxLength: 2000, list: field.suggested ? `${id}-list` : undefined });
    if (field.control === "whole") input.inputMode = "numeric";
    input.addEventListener("change", () => { sent(input); set(read(field, input.value.trim())); });
    control = field.suggested
      ? el("span", {}, input, el("datalist", { id: `${id}-list` }, ...field.suggested.map((one) => el("option", { value: one }))))
      : input;
  }
  const trouble = store.piece?.trouble?.key === field.name;
  return el("div", { class: trouble ? "field wrong" : "field" }, el("label", { for: id }, field.name.replaceAll("_", " ")), control,
    el("p", { id: `${id}-says`, class: "soft" }, field.says));
}

/** What was typed as a value of a piece file; what is no number stays a text, and the desk says what is wrong. @param {Field} field @param {string} text */
function read(field, text) {
  if (text === "") return null;
  if (field.control === "whole") return /^-?\d{1,15}$/.test(text) ? Number(text) : text;
  if (field.control === "pair") {
    const numbers = text.split(/[^\d]+/).filter(Boolean).map(Number);
    return numbers.length === 1 ? [numbers[0], numbers[0]] : numbers;
  }
  return text;
}

/** @param {import("./state.js").Values} band @param {import("./state.js").Values} values */
function yarnsOfBand(band, values) {
  const names = Object.keys(values.yarns ?? {});
  const input = el("input", { type: "text", id: "band-yarns", value: Array.isArray(band.yarns) ? band.yarns.join(", ") : "",
    placeholder: "as usual: plain names", "aria-describedby": "band-yarns-says", autocomplete: "off" });
  input.addEventListener("change", () => {
    sent(input);
    const chosen = input.value.split(",").map((name) => name.trim()).filter(Boolean);
    edit("option", { band: store.band, key: "yarns", value: chosen.length ? chosen : null });
  });
  return el("div", { class: "field" }, el("label", { for: "band-yarns" }, "yarns"), input,
    el("p", { id: "band-yarns-says", class: "soft" }, `one for each colour, main first, with commas between; there are: ${names.join(", ") || "none yet, see Yarns"}`));
}

/** @param {import("./state.js").Values} values @returns {HTMLElement[]} */
function yarns(values) {
  const made = Object.entries(values.yarns ?? {}).map(([name, yarn]) => {
    const id = (/** @type {string} */ key) => `yarn-${name}-${key}`;
    const set = (/** @type {string} */ key) => (/** @type {any} */ value) => edit("yarn", { yarn: name, key, value });
    const colour = el("input", { type: "color", id: id("colour"), value: /^#[0-9a-f]{6}$/i.test(yarn.colour ?? "") ? yarn.colour : "#d8d0c0" });
    colour.addEventListener("change", () => { sent(colour); set("colour")(colour.value); });
    const input = (/** @type {string} */ key, /** @type {string} */ hint, /** @type {(text: string) => any} */ asValue) => {
      const box = el("input", { type: "text", id: id(key), value: yarn[key] === undefined ? "" : String(yarn[key]), placeholder: hint, autocomplete: "off" });
      box.addEventListener("change", () => { sent(box); set(key)(box.value.trim() === "" ? null : asValue(box.value.trim())); });
      return el("div", { class: "field" }, el("label", { for: id(key) }, key.replaceAll("_", " ")), box);
    };
    const number = (/** @type {string} */ text) => (Number.isFinite(Number(text)) ? Number(text) : text);
    return el("fieldset", {}, el("legend", {}, name), el("div", { class: "field" }, el("label", { for: id("colour") }, "colour"), colour),
      input("count", "as 230 tex", (text) => text), input("stitch_size", "on the carriage's dial", number), input("loop_length_mm", "mm in one stitch", number));
  });
  const name = el("input", { type: "text", id: "yarn-new", maxLength: 60, "aria-label": "Name of a new yarn", placeholder: "a new yarn's name" });
  const add = button("add a yarn", () => name.value.trim() && edit("yarn", { yarn: name.value, key: "colour", value: "#b8502e" }).then((made) => { if (made) /** @type {HTMLInputElement} */ (document.getElementById("yarn-new")).value = ""; }), { id: "yarn-add" });
  return [...made, el("div", { class: "row" }, name, add)];
}

/** @param {import("./state.js").Values} values */
function swatch(values) {
  const keys = ["stitches", "rows", "width_mm", "height_mm"];
  const inputs = keys.map((key) => el("input", { type: "number", id: `gauge-${key}`, min: "1", max: "10000", step: "any", required: true, value: String(values.gauge?.[key] ?? "") }));
  const set = () => {
    if (!valid(...inputs)) return;
    sent(...inputs);
    edit("gauge", Object.fromEntries(keys.map((key, at) => [key, Number(inputs[at].value)])));
  };
  return el("div", {}, el("p", { class: "soft" }, "Count stitches and rows on a swatch of the same fabric, and measure what you counted."),
    ...keys.map((key, at) => el("div", { class: "field" }, el("label", { for: `gauge-${key}` }, key.replace("_", " in ")), inputs[at])),
    button("use this swatch", set, { id: "gauge-set" }));
}
