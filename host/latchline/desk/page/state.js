// The open piece as the desk tells it, and the edits that are asked of the desk. Nothing is worked out here.

import { newest } from "./dom.js";
import { Refused, ask } from "./line.js";

/**
 * @typedef {{ hex: string, name: string }} Colour
 * @typedef {{ rows: number, stitches: number, palette: Colour[], told: Uint8Array, cells: Uint8Array }} Drawing
 *   told: by the desk; cells: the same with what the hand has coloured since
 * @typedef {{ chart: string, stitches: number, cells: Map<number, number> }} Echo
 * @typedef {{ what: string, where: string, hint: string, key?: string }} Trouble
 * @typedef {Record<string, any>} Values
 * @typedef {{
 *   serial: number, file: string, name: string, kept: boolean, can_undo: boolean, can_redo: boolean,
 *   values: Values, trouble: Trouble | null, drawings: Record<string, Drawing>, fabric: Size | null,
 * }} Piece
 * @typedef {{ passes: number, width: number, size_cm: [number, number], gauge: [number, number], estimated: boolean }} Size
 * @typedef {{ what: string, key: string, band: number }} Mend
 * @typedef {{
 *   rule: string, severity: string, band: string, what: string, why: string, todo: string, chart_row: number,
 *   passes: [number, number], needles: string, places: number, mends: Mend[], chart: string, cells: [number, number][],
 * }} Place
 * @typedef {Place & { at: Place[], more: number }} Finding
 * @typedef {{
 *   serial: number, fingerprint: string, passes: number, needles: string, width: number, machine: string,
 *   size_cm: [number, number], gauge: [number, number], estimated: boolean, start: string,
 *   yarns: { name: string, colour: string, metres: number, grams: number | null }[],
 *   bands: { name: string, first: number, last: number, technique: string }[],
 *   can_be_knitted: boolean, says: string, findings: Finding[],
 * }} Verdict
 */

export const store = {
  /** @type {any} */
  desk: null,
  /** @type {Piece | null} */
  piece: null,
  /** @type {Verdict | null} */
  verdict: null,
  band: 0,
  /** @type {Place | null} */
  shown: null,
};

/** @type {Map<string, Set<() => void>>} */
const listeners = new Map();

/**
 * Call when something of this name has changed: piece, cells, verdict, band, shown, complaint.
 * @param {string} name
 * @param {() => void} listener
 */
export function on(name, listener) {
  if (!listeners.has(name)) listeners.set(name, new Set());
  listeners.get(name)?.add(listener);
}

/** @param {string} name */
export function changed(name) {
  for (const listener of listeners.get(name) ?? []) listener();
}

/** byItself: whether the complaint is about something that the page has asked for by itself. @type {{ complaint: Trouble | null, byItself: boolean }} */
export const said = { complaint: null, byItself: false };

/** @param {Trouble | null} complaint @param {boolean} [byItself] */
export function complain(complaint, byItself = false) {
  if (complaint === said.complaint) return;
  Object.assign(said, { complaint, byItself });
  changed("complaint");
}

/**
 * Do for the hand something with the desk; what it refuses is shown, and undefined is returned.
 * @template Value
 * @param {() => Promise<Value>} work
 * @returns {Promise<Value | undefined>}
 */
export async function tried(work) {
  try {
    const value = await work();
    complain(null);
    return value;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    complain(error.complaint);
    return undefined;
  }
}

/**
 * The same for what the page does by itself: it neither takes away nor covers what is said of a doing of the hand.
 * @template Value
 * @param {() => Promise<Value>} work
 * @returns {Promise<Value | undefined>}
 */
export async function looked(work) {
  try {
    const value = await work();
    if (said.byItself) complain(null);
    return value;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (said.byItself || !said.complaint) complain(error.complaint, true);
    return undefined;
  }
}

/** Strokes that the desk has not answered to yet. @type {Set<Echo>} */
const echoes = new Set();

/** @param {string} name @param {Uint8Array} told @param {number} stitches */
function withEchoes(name, told, stitches) {
  const cells = told.slice();
  for (const one of echoes) {
    if (one.chart !== name || one.stitches !== stitches) continue;
    for (const [at, colour] of one.cells) if (at < cells.length) cells[at] = colour;
  }
  return cells;
}

/** Colour a cell before the desk has. @param {Echo} one @param {number} at @param {number} colour */
export function echo(one, at, colour) {
  echoes.add(one);
  one.cells.set(at, colour);
  const drawn = store.piece?.drawings[one.chart];
  if (drawn && drawn.stitches === one.stitches) drawn.cells[at] = colour;
}

/** From now on the desk's cells hold, whether it has made the stroke or not. @param {Echo} one */
export function answered(one) {
  echoes.delete(one);
  const drawn = store.piece?.drawings[one.chart];
  if (drawn) drawn.cells = withEchoes(one.chart, drawn.told, drawn.stitches);
  changed("cells");
}

let opening = true;

/**
 * Take over what the desk tells of the piece: whole drawings, or the rows of them that have changed.
 * @param {any} told
 */
export function takePiece(told) {
  const before = store.piece?.drawings ?? {};
  /** @type {Record<string, Drawing>} */
  const drawings = {};
  for (const [name, drawing] of Object.entries(told.drawings)) {
    const { rows, stitches, palette, whole, changed: lines } = /** @type {any} */ (drawing);
    const known = before[name];
    const told = whole || !known ? new Uint8Array(rows * stitches) : known.told;
    for (const [number, line] of Object.entries(lines)) {
      const foot = Number(number) * stitches;
      for (let stitch = 0; stitch < stitches; stitch++) told[foot + stitch] = parseInt(line[stitch], 16);
    }
    drawings[name] = { rows, stitches, palette, told, cells: withEchoes(name, told, stitches) };
  }
  store.piece = { ...told, drawings };
  if (opening) store.band = bands().findIndex((band) => band.chart in drawings); // there is something to draw on
  opening = false;
  store.band = Math.max(0, Math.min(store.band, bands().length - 1));
  changed("piece");
  refresh(told.serial);
}

const REST_MS = 400;
let resting = 0;

/** Mends are tried one by one, which takes the desk a while: they are asked for when the hand rests. */
async function askMends() {
  const serial = store.verdict?.serial;
  if (serial !== store.piece?.serial || store.piece?.trouble) return;
  const told = await looked(() => ask("/api/verdict?mends=tried"));
  if (!told || told.serial !== store.piece?.serial) return;
  store.verdict = told;
  changed("mends");
}

/** @type {(serial: number) => void} */
const refresh = newest(async () => {
  if (!store.piece) return;
  if (store.piece.trouble) {
    store.shown = null;
    changed("verdict");
    return;
  }
  const verdict = await looked(() => ask("/api/verdict"));
  if (verdict) {
    store.verdict = verdict;
    clearTimeout(resting);
    resting = setTimeout(askMends, REST_MS);
  }
  changed("verdict");
});

/** @returns {Values[]} */
export function bands() {
  const found = store.piece?.values.bands;
  return Array.isArray(found) ? found : [];
}

/** The name of the drawing of the band that is looked at; empty where it has none. */
export function chartName() {
  const name = bands()[store.band]?.chart;
  return typeof name === "string" ? name : "";
}

/** @returns {Drawing | null} */
export function drawing() {
  return store.piece?.drawings[chartName()] ?? null;
}

/** Names of the yarns that knit each colour, where the band says so. @returns {string[]} */
export function yarnNames() {
  const names = bands()[store.band]?.yarns;
  return Array.isArray(names) ? names : [];
}

/** The colour that a palette entry is shown in: that of its yarn, else its own. @param {number} index */
export function shownColour(index) {
  const yarn = store.piece?.values.yarns?.[yarnNames()[index]];
  return typeof yarn?.colour === "string" ? yarn.colour : (drawing()?.palette[index]?.hex ?? "#000000");
}

let queue = Promise.resolve();

/** When every edit that the hand has asked for is made, or refused: what is to hold them all waits for it. */
export const settled = () => queue;

/**
 * Ask for one edit after another, so that each knows what the one before has made.
 * @param {string} path
 * @param {Record<string, any>} given
 * @returns {Promise<boolean>} whether it was made
 */
function inTurn(path, given) {
  const turn = queue.then(() =>
    tried(async () => {
      try {
        takePiece(await ask(path, { ...given, serial: store.piece?.serial ?? 0 }));
      } catch (error) {
        opening = false;
        if (store.piece) takePiece(await ask("/api/piece"));
        throw error;
      }
      return true;
    }),
  );
  queue = turn.then(() => undefined);
  return turn.then((made) => made === true);
}

/**
 * @param {string} name
 * @param {Record<string, any>} given
 */
export const edit = (name, given) => inTurn("/api/edit", { edit: name, ...given });

/**
 * An edit of the drawing that is looked at.
 * @param {string} name
 * @param {Record<string, any>} given
 */
export const draw = (name, given) => edit(name, { chart: chartName(), ...given });

export const undo = () => inTurn("/api/undo", {});
export const redo = () => inTurn("/api/redo", {});

/** @param {Record<string, any>} given */
export async function open(given) {
  store.shown = null;
  opening = true;
  return inTurn("/api/open", given).finally(() => { opening = false; });
}

/** Take the newest state, because another page has changed it. @param {number} serial */
export async function catchUp(serial) {
  if (serial > 0 && serial !== store.piece?.serial) {
    queue = queue.then(async () => {
      if (serial > (store.piece?.serial ?? 0) || !store.piece) await looked(async () => takePiece(await ask("/api/piece")));
    });
    await queue;
  }
}
