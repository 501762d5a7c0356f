// Where a knitting begins, or goes on, and how the last one ended.

import { button, el, fill } from "./dom.js";
import { ask } from "./line.js";
import { now } from "./session.js";
import { shape } from "./signs.js";
import { looked, settled, store, tried } from "./state.js";
import { STATES } from "./words.js";

/** Where a knitting begins, or goes on. @param {HTMLElement} box */
export async function startView(box) {
  const over = now.over;
  const told = await looked(() => ask("/api/knit"));
  if (!told || (now.view && !now.over)) return;
  /** @type {HTMLInputElement} */
  const port = el("input", { type: "text", id: "port", list: "port-list", value: now.port || (told.ports.find((/** @type {string} */ name) => /usb|acm|com\d/i.test(name)) ?? "sim://"), oninput: () => { now.port = port.value; }, autocomplete: "off", spellcheck: false });
  const anyway = el("input", { type: "checkbox", id: "anyway", checked: box.querySelector("#anyway:checked") !== null });
  const start = (/** @type {string} */ where) => () => tried(() => settled().then(() => ask("/api/knit/begin", { port: where === "" ? port.value.trim() : where, anyway: anyway.checked })));
  fill(box, el("div", { class: "open" },
    over ? ended(over) : el("h1", {}, "Knit"),
    el("div", { class: "cards" },
      el("section", { class: "panel" }, el("h2", {}, store.piece ? `Knit ${store.piece.name}` : "Open a piece first"),
        store.verdict && !store.verdict.can_be_knitted ? el("p", { class: "caution" }, el("label", {}, anyway, " knit it although something must be mended")) : null,
        el("div", { class: "field" }, el("label", { for: "port" }, "board's port"), el("span", {}, port, el("datalist", { id: "port-list" }, ...[...told.ports, "sim://"].map((name) => el("option", { value: name }))))),
        el("p", { class: "soft" }, "sim:// is a simulated board with a simulated hand; ?live=1 lets it take its time."),
        el("p", { class: "row" },
          button("knit with the board", start(""), { class: "main", id: "begin-board", disabled: !store.piece }),
          button("knit by hand", start("by-hand"), { id: "begin-hand", disabled: !store.piece })),
        el("p", { class: "soft" }, "By hand you need no board: the page shows which needles to bring forward, and you confirm each pass.")),
      el("section", { class: "panel" }, el("h2", {}, "Begun and not finished"),
        told.begun.length ? el("ul", { class: "names" }, ...told.begun.map((/** @type {any} */ one) =>
          el("li", {}, button(`go on with ${one.name}: ${one.done} of ${one.passes}`, () => tried(() => ask("/api/knit/resume", { journal: one.journal, port: "" })), { "data-journal": one.journal }), el("span", { class: "soft" }, ` last at work ${new Date(1000 * one.last_s).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}`)))) : el("p", { class: "soft" }, "nothing")))));
}

/** @param {any} over */
function ended(over) {
  const trouble = over.trouble;
  const [word, form, urgency] = STATES[trouble ? "fault" : "over"] ?? ["", "", ""];
  return el("section", { class: "panel ended", role: "status" },
    el("div", { class: `state ${urgency}` }, shape(form), el("b", {}, word)),
    el("h1", {}, over.finished ? `${now.name} is finished` : `${now.name}: stopped on the way`),
    el("p", {}, `${over.done === 1 ? "1 pass is" : `${over.done} passes are`} knitted, ${over.knitted} of them now.`),
    over.wrong.length ? el("p", { class: "caution" }, `Not as planned: pass ${over.wrong.join(", ")}.`) : null,
    trouble ? el("p", { class: "caution" }, el("strong", {}, trouble.what), ` ${trouble.where} ${trouble.hint}`) : null,
    over.finished ? null : el("p", {}, "It goes on from here whenever you like."));
}
