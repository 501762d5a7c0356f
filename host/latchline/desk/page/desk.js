// The desk's page: which part is shown, and what the desk complains of.

import { el, fill } from "./dom.js";
import { Line, Refused, ask, takeKey } from "./line.js";

/** @param {string} id */
const byId = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/** @param {unknown} error */
function complain(error) {
  const box = byId("complaint");
  if (!(error instanceof Refused)) {
    box.hidden = true;
    return;
  }
  const { what, where, hint } = error.complaint;
  fill(box, el("strong", {}, what), where && el("span", { class: "where" }, where), hint && el("span", {}, hint));
  box.hidden = false;
}

async function begin() {
  takeKey();
  const line = new Line();
  line.on("heard", ({ heard }) => {
    document.body.classList.toggle("unheard", !heard);
    byId("heard").textContent = heard ? "" : "not heard";
  });
  line.on("refused", (complaint) => complain(new Refused(complaint, 401)));
  try {
    const desk = await ask("/api/desk");
    const names = [...desk.files.pieces, ...desk.files.charts];
    fill(byId("main"), el("h1", {}, desk.folder), el("ul", {}, ...names.map((name) => el("li", {}, name))));
  } catch (error) {
    complain(error);
  }
}

begin();
