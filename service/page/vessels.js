// Where the silver of a batch is, vessel by vessel: asked for when somebody opens it, kept for when there is no connection.
import { call } from "./api.js";
import { el, store } from "./dom.js";
import { sheet } from "./sheet.js";
import { warning } from "./stateword.js";
import { shownAt } from "./time.js";
import { t } from "./words.js";

sheet();

export async function vessels(box, batch) {
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
  place.replaceChildren(...(found.trouble ? [el("p", { class: "trouble" }, found.trouble)] : told(found).filter(Boolean)));
}

const head = (wide, ...names) => el("thead", {}, el("tr", {}, names.map((name, place) => el("th", { scope: "col", class: place < wide && "words" }, name))));

function told(found) {
  const ordered = [...found.vessels].sort((a, b) => b.silver_g[1] - a.silver_g[1]);
  return [
    el("p", { class: "next" }, found.suspect && el("b", {}, `${warning("caution")} `), found.sentence),
    ordered.length > 0 &&
      el(
        "table",
        {},
        el("caption", {}, t("Where the silver is")),
        head(2, t("Vessel"), t("What for"), t("Silver"), t("Last touched")),
        el("tbody", {}, ordered.map((v) => el("tr", {}, el("th", { scope: "row", class: "words" }, v.name), el("td", { class: "words" }, v.what_for_words), el("td", {}, v.words), el("td", {}, v.at ? shownAt(v.at) : "")))),
      ),
    found.missing.length > 0 &&
      el(
        "table",
        {},
        el("caption", {}, t("Where some may be, largest first")),
        head(2, t("Vessel"), t("Silver")),
        el("tbody", {}, found.missing.map((m) => el("tr", {}, el("th", { scope: "row", class: "words" }, m.name), el("td", { class: "words" }, m.words)))),
      ),
  ];
}
