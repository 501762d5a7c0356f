// Where a piece comes from: the folder, the examples, a file dropped onto the page, an empty chart, a photograph.

import { button, el, fill, valid } from "./dom.js";
import { ask } from "./line.js";
import { changed, on, open, store, takePiece, tried } from "./state.js";

/** @param {() => void} opened */
export function openPart(opened) {
  const box = el("div", { class: "open" });
  const go = async (/** @type {Record<string, any>} */ given) => { if (await open(given)) opened(); };
  const show = () => {
    const desk = store.desk;
    if (!desk) return;
    const list = (/** @type {string} */ what, /** @type {string[]} */ names) =>
      names.length ? el("ul", { class: "names" }, ...names.map((name) => el("li", {}, button(name, () => go({ what, name }))))) : el("p", { class: "soft" }, "none yet");
    fill(box, el("h1", {}, "What is to be knitted?"),
      el("div", { class: "cards" },
        card("An empty chart", empty(go)),
        card("A picture or a photograph", photograph(opened)),
        card(`In the folder ${desk.folder}`, el("h3", {}, "pieces, newest first"), list("file", desk.files.pieces), el("h3", {}, "charts"), list("file", desk.files.charts), dropped(go)),
        card("Examples from the boathouse", list("example", desk.examples)),
        desk.sharing.address ? card("A tablet at the machine", sharing()) : null));
  };
  on("desk", show);
  show();
  return box;
}

/** @param {string} title @param {...import("./dom.js").Child} inside */
function card(title, ...inside) {
  return el("section", { class: "panel" }, el("h2", {}, title), ...inside);
}

/** @param {string} id @param {string} words @param {HTMLElement} control */
const field = (id, words, control) => el("div", { class: "field" }, el("label", { for: id }, words), control);

/** @param {string} id @param {number} value @param {number} most */
const number = (id, value, most) => el("input", { type: "number", id, value: String(value), min: "1", max: String(most), required: true });

/** @param {(given: Record<string, any>) => void} go */
function empty(go) {
  const name = el("input", { type: "text", id: "empty-name", value: "my piece", maxLength: 80 });
  const stitches = number("empty-stitches", 24, 1000);
  const rows = number("empty-rows", 40, 2000);
  const machine = machines("empty-machine");
  return el("div", {}, field("empty-name", "name", name), field("empty-stitches", "stitches", stitches), field("empty-rows", "rows", rows),
    field("empty-machine", "machine", machine),
    button("start drawing", () => valid(stitches, rows) && go({ what: "empty", name: name.value || "my piece", stitches: Number(stitches.value), rows: Number(rows.value), machine: machine.value }), { class: "main", id: "empty-go" }));
}

/** @param {string} id */
function machines(id) {
  return el("select", { id }, ...(store.desk?.machines ?? []).map((/** @type {string} */ name) => el("option", { value: name, selected: name === "standard-200" }, name)));
}

/** @param {(given: Record<string, any>) => void} go */
function dropped(go) {
  const choose = el("input", { type: "file", id: "open-file", accept: ".toml,.png,.gif,.bmp,.pbm,.pgm,.ppm,.pnm,.xbm,.txt,.csv" });
  choose.addEventListener("change", async () => { if (choose.files?.[0]) go(await givenFile(choose.files[0])); });
  return el("p", {}, el("label", { for: "open-file" }, "or a file from elsewhere; it may be dropped onto the page, too "), choose);
}

/** @param {File} file */
export async function givenFile(file) {
  return { what: "given", name: file.name, content: await base64(file) };
}

/** @param {File} file @returns {Promise<string>} */
async function base64(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}

/** Crop, size, colours and proportions in one step. @param {() => void} opened */
function photograph(opened) {
  const choose = el("input", { type: "file", id: "photo-file", accept: "image/*", required: true });
  const seen = el("canvas", { class: "photo", role: "img", "aria-label": "The picture; drag a frame to crop it", hidden: true });
  const unit = el("select", { id: "photo-unit", "aria-label": "unit of the width" }, el("option", { value: "needles" }, "needles"), el("option", { value: "cm" }, "cm"));
  const width = number("photo-width", 60, 1000);
  width.step = "any"; // of centimetres
  const colours = number("photo-colours", 2, 16);
  const machine = machines("photo-machine");
  const crop = ["left", "right", "top", "bottom"].map((side) => el("input", { type: "number", id: `photo-${side}`, min: "0", max: "95", step: "any", required: true, value: "0" }));
  /** @type {ImageBitmap | null} */
  let picture = null;
  const paint = () => {
    if (!picture) return;
    const scale = Math.min(1, 320 / picture.width, 240 / picture.height);
    seen.width = Math.round(picture.width * scale);
    seen.height = Math.round(picture.height * scale);
    const brush = seen.getContext("2d");
    if (!brush) return;
    brush.drawImage(picture, 0, 0, seen.width, seen.height);
    const [left, right, top, bottom] = crop.map((input) => Math.max(0, Number(input.value)) / 100);
    brush.strokeStyle = "#ffffff";
    brush.lineWidth = 3;
    const frame = /** @type {const} */ ([left * seen.width + 1, top * seen.height + 1, (1 - left - right) * seen.width - 2, (1 - top - bottom) * seen.height - 2]);
    brush.strokeRect(...frame);
    brush.strokeStyle = "#9c1b3b";
    brush.lineWidth = 1.5;
    brush.strokeRect(...frame);
  };
  choose.addEventListener("change", async () => {
    const file = choose.files?.[0];
    if (!file) return;
    picture = await createImageBitmap(file).catch(() => null);
    seen.hidden = !picture;
    paint();
  });
  for (const input of crop) input.addEventListener("input", paint);
  let from = [0, 0];
  seen.addEventListener("pointerdown", (event) => { seen.setPointerCapture(event.pointerId); from = [event.offsetX / seen.clientWidth, event.offsetY / seen.clientHeight]; });
  seen.addEventListener("pointermove", (event) => {
    if (!event.buttons) return;
    const to = [event.offsetX / seen.clientWidth, event.offsetY / seen.clientHeight].map((part) => Math.max(0, Math.min(1, part)));
    const [x0, x1, y0, y1] = [Math.min(from[0], to[0]), Math.max(from[0], to[0]), Math.min(from[1], to[1]), Math.max(from[1], to[1])];
    [x0, 1 - x1, y0, 1 - y1].forEach((part, at) => { crop[at].value = String(Math.min(95, Math.round(part * 100))); });
    paint();
  });
  const go = async () => {
    const file = choose.files?.[0];
    if (!valid(choose, width, colours, ...crop) || !file) return;
    const made = await tried(async () => ask("/api/photograph", {
      name: file.name, content: await base64(file), width: Number(width.value), unit: unit.value, colours: Number(colours.value),
      machine: machine.value, crop: crop.map((input) => Number(input.value)),
    }));
    if (made) { store.band = 0; takePiece(made); opened(); }
  };
  return el("div", {}, field("photo-file", "picture", choose), seen,
    el("div", { class: "row", role: "group", "aria-label": "cut off, percent" }, "cut off, % ", ...["left", "right", "top", "bottom"].map((side, at) => el("label", {}, `${side} `, crop[at]))),
    el("div", { class: "field" }, el("label", { for: "photo-width" }, "width"), el("span", { class: "row" }, width, unit)),
    field("photo-colours", "colours", colours), field("photo-machine", "machine", machine),
    el("p", { class: "soft" }, "The height follows, so that the picture keeps its proportions in the fabric."),
    button("make a chart of it", go, { class: "main", id: "photo-go" }));
}

function sharing() {
  const box = el("div", {});
  const show = async (/** @type {boolean} */ share) => {
    const told = await tried(() => ask("/api/share", { share }));
    if (!told) return;
    fill(box, told.address ? code(told.code) : null, told.address ? el("p", { class: "address" }, told.address) : el("p", {}, "No tablet has a key now."),
      told.warning && el("p", { class: "caution" }, told.warning), told.address ? button("take the key back", () => show(false), { id: "share-back" }) : null);
  };
  return el("div", {}, button("give a tablet a new key", () => show(true), { id: "share-go" }), box);
}

/** The code as a canvas, four dots a module. @param {string[]} rows */
function code(rows) {
  const dots = 5;
  const canvas = el("canvas", { class: "code", role: "img", "aria-label": "Code of the tablet's address, to be read by its camera", width: rows.length * dots, height: rows.length * dots });
  const brush = canvas.getContext("2d");
  if (brush) {
    brush.fillStyle = "#ffffff";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.fillStyle = "#000000";
    rows.forEach((row, y) => [...row].forEach((module, x) => module === "1" && brush.fillRect(x * dots, y * dots, dots, dots)));
  }
  return canvas;
}

/** Take files that are dropped anywhere on the page. @param {() => void} opened */
export function takeDrops(opened) {
  document.addEventListener("dragover", (event) => { if (event.dataTransfer?.types.includes("Files")) event.preventDefault(); });
  document.addEventListener("drop", async (event) => {
    const file = event.dataTransfer?.files[0];
    if (!file) return;
    event.preventDefault();
    if (await open(await givenFile(file))) { changed("desk"); opened(); }
  });
}
