// Where the silver of a batch is, vessel by vessel: asked for when somebody opens it, kept for when there is no connection.
import { call } from "./api.js";
import { el, store } from "./dom.js";
import { labelPhoto } from "./label.js";
import { sheet } from "./sheet.js";
import { warning } from "./stateword.js";
import { shownAt } from "./time.js";
import { t } from "./words.js";

sheet();

// The vessel that a label named: marked as long as its batch is shown, and gone to once.
let wanted = null;
export const want = (read) => { wanted = { ...read, fresh: true }; };

export async function vessels(box, batch, show) {
  if (!box.querySelector(".by-label")) box.append(labelPhoto("", show));
  const place = box.querySelector(".worked") || box.appendChild(el("div", { class: "worked", role: "status" }));
  if (place.dataset.batch !== String(batch?.id)) place.replaceChildren(); // another batch's must not stand there meanwhile
  place.dataset.batch = batch?.id;
  if (!batch || batch.waiting) return place.replaceChildren(el("p", {}, t("This batch waits on this phone.")));
  const key = `vessels-${batch.id}`;
  let found;
  try {
    found = await call(`/api/batches/${batch.id}/vessels`);
    store.set(key, found);
  } catch (problem) {
    found = store.get(key) || { trouble: problem.message };
  }
  if (place.dataset.batch !== String(batch.id)) return;
  const held = place.contains(document.activeElement); // what is drawn anew keeps the focus of the marked row
  place.replaceChildren(...(found.trouble ? [el("p", { class: "trouble" }, found.trouble)] : told(found).filter(Boolean)));
  marked(place, batch, held);
}

// The row of the wanted vessel, which the log may have nothing of yet, with mark and focus.
function marked(place, batch, held) {
  if (!wanted || (wanted.batch !== null && wanted.batch !== batch.id)) return;
  const rows = [...place.querySelectorAll("[data-key]")].filter((one) => one.dataset.key === wanted.key);
  const row = rows.at(wanted.batch === null ? -1 : 0) || el("p", { "data-key": wanted.key }, t("{name}: nothing is in it by the log.", wanted));
  if (!row.isConnected) place.prepend(row);
  row.classList.add("marked");
  row.tabIndex = -1;
  if (wanted.fresh || held) row.focus({ preventScroll: true });
  if (wanted.fresh) row.scrollIntoView({ block: "center" });
  wanted.fresh = false;
}

const head = (wide, ...names) => el("thead", {}, el("tr", {}, names.map((name, place) => el("th", { scope: "col", class: place < wide && "words" }, name))));

const joined = (words) => words.replace(/(\d) (m?g)\b/g, "$1\u00a0$2"); // a number keeps its unit on its line

const about = (v) => (v.at ? t("{what}; last touched {when}", { what: v.what_for_words, when: shownAt(v.at) }) : v.what_for_words);

function told(found) {
  const ordered = [...found.vessels].sort((a, b) => b.silver_g[1] - a.silver_g[1]);
  return [
    el("p", { class: "next" }, found.suspect && el("b", {}, `${warning("caution")} `), found.sentence),
    ordered.length > 0 &&
      el(
        "table",
        {},
        el("caption", {}, t("Where the silver is")),
        head(2, t("Vessel"), t("Silver")),
        el("tbody", {}, ordered.map((v) => el("tr", { "data-key": v.key }, el("th", { scope: "row", class: "words" }, v.name, el("span", { class: "meta" }, about(v))), el("td", { class: "words" }, joined(v.words))))),
      ),
    found.missing.length > 0 &&
      el(
        "table",
        {},
        el("caption", {}, t("Where some may be, largest first")),
        head(2, t("Vessel"), t("Silver")),
        el("tbody", {}, found.missing.map((m) => el("tr", {}, el("th", { scope: "row", class: "words" }, m.name), el("td", { class: "words" }, joined(m.words))))),
      ),
    found.shared_stock && el("p", { "data-key": "stock" }, el("b", {}, t("The stock vessel, over all batches:"), " "), found.shared_stock.sentence),
  ];
}
