// Questions to the desk, and the live line on which it tells what has changed.

const KEPT = "latchline-key";

/** @typedef {{ what: string, where: string, hint: string }} Complaint */

/** What the desk refuses, in its own words. */
export class Refused extends Error {
  /**
   * @param {Complaint} complaint
   * @param {number} status
   */
  constructor(complaint, status) {
    super(complaint.what);
    this.complaint = complaint;
    this.status = status;
  }
}

/** Take the key out of the address, so that it stays in no history, and keep it for this tab. @returns {boolean} whether there was one */
export function takeKey() {
  const given = new URLSearchParams(location.hash.slice(1)).get("key");
  if (given) {
    sessionStorage.setItem(KEPT, given);
    history.replaceState(null, "", location.pathname);
  }
  return !!given;
}

/** @returns {string} */
function key() {
  return sessionStorage.getItem(KEPT) ?? "";
}

/**
 * @param {string} path
 * @param {Record<string, any>} [body] with one, it is a POST
 * @returns {Promise<Response>}
 */
async function send(path, body) {
  /** @type {Record<string, string>} */
  const headers = { "X-Latchline-Key": key() };
  if (body) headers["Content-Type"] = "application/json";
  let answer;
  try {
    answer = await fetch(path, {
      method: body ? "POST" : "GET",
      headers,
      body: body ? JSON.stringify(body) : undefined,
      cache: "no-store",
      credentials: "omit",
      redirect: "error",
    });
  } catch {
    throw new Refused({ what: "the desk does not answer", where: "", hint: "see whether it still runs" }, 0);
  }
  if (!answer.ok) {
    const said = await answer.json().catch(() => ({ what: "the desk could not do this", where: "", hint: "" }));
    throw new Refused(said, answer.status);
  }
  return answer;
}

/**
 * @param {string} path
 * @param {Record<string, any>} [body]
 * @returns {Promise<any>}
 */
export async function ask(path, body) {
  return (await send(path, body)).json();
}

/**
 * @param {string} path
 * @returns {Promise<Blob>}
 */
export async function fetchFile(path) {
  return (await send(path)).blob();
}

/**
 * Offer a file of the desk's to be kept.
 * @param {string} path
 * @param {string} name
 */
export async function keepFile(path, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await fetchFile(path));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

const BEAT_MS = 2000;
export const QUIET_MS = 4500;
export const LOOK_MS = 500;

/**
 * The live line. It says "here" every two seconds and is answered; when nothing comes for 4.5 s the desk is
 * not heard, which the page must show: what it shows may be old.
 */
export class Line {
  constructor() {
    /** @type {Map<string, ((message: any) => void)[]>} */
    this.listeners = new Map();
    this.heardAt = performance.now();
    this.isHeard = false;
    this.ended = false;
    /** @type {WebSocket | null} */
    this.socket = null;
    this.again = 250;
    setInterval(() => this.beat(), LOOK_MS);
    this.lastBeat = 0;
    this.open();
  }

  /**
   * @param {string} kind
   * @param {(message: any) => void} listener
   */
  on(kind, listener) {
    this.listeners.set(kind, [...(this.listeners.get(kind) ?? []), listener]);
  }

  /** @param {any} message */
  tell(message) {
    for (const listener of this.listeners.get(message.kind) ?? []) listener(message);
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}/api/live`);
    this.socket = socket;
    socket.onopen = () => socket.send(JSON.stringify({ key: key() }));
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data);
      this.heardAt = performance.now();
      if (message.kind === "refused") {
        this.ended = true;
      } else {
        this.again = 250;
        this.hear(true);
      }
      this.tell(message);
    };
    socket.onclose = () => {
      if (this.socket !== socket) return;
      this.hear(false);
      if (!this.ended) setTimeout(() => this.open(), this.again);
      this.again = Math.min(this.again * 2, 2000);
    };
  }

  beat() {
    const now = performance.now();
    if (this.socket?.readyState === WebSocket.OPEN && now - this.lastBeat >= BEAT_MS) {
      this.lastBeat = now;
      this.socket.send("here");
    }
    if (now - this.heardAt > QUIET_MS) this.hear(false);
  }

  /** @param {boolean} heard */
  hear(heard) {
    if (heard === this.isHeard) return;
    this.isHeard = heard;
    this.tell({ kind: "heard", heard });
  }
}
