// Search over batches, notes and readings: the bench computer looks, a page at a time.
import { call } from "./api.js";
import { el } from "./dom.js";
import { field } from "./fields.js";
import { sheet } from "./sheet.js";
import { signed } from "./stateword.js";
import { STATES } from "./states.js";
import { shownAt } from "./time.js";
import { t } from "./words.js";

const STATUS = Object.fromEntries(Object.keys(STATES.reading).map((code) => [code, signed("reading", code)]));

export async function finder(box, choose) {
  if (box.dataset.filled) return;
  box.dataset.filled = "yes";
  sheet();
  const { kinds, stages } = await call("/api/search/choices").catch((problem) => {
    delete box.dataset.filled;
    throw problem;
  });
  const titles = Object.fromEntries(kinds.map((k) => [k.id, k.title]));
  const any = (rows) => [["", t("any")], ...rows];
  const day = (name, label) => el("label", {}, label, el("input", { type: "date", name }));
  const form = el(
    "form",
    { "aria-label": t("Find") },
    field({ name: "words", label: t("Words"), max: 200 }),
    el(
      "details",
      {},
      el("summary", {}, t("Only some of it")),
      field({ name: "kind", label: t("Kind"), options: any(kinds.map((k) => [k.id, k.title])), value: "" }),
      field({ name: "state", label: t("The batch is"), options: any([["open", t("open")], ["closed", t("closed")]]), value: "" }),
      field({ name: "stage", label: t("The batch's stage"), options: any(stages.map((s) => [s.id, s.title])), value: "" }),
      field({ name: "status", label: t("The reading is"), options: any(Object.entries(STATUS)), value: "" }),
      el("div", { class: "row" }, day("since", t("From")), day("until", t("To"))),
    ),
    el("button", { class: "main" }, t("Find")),
  );
  const found = el("ol", { class: "found", "aria-label": t("Found") });
  const trouble = el("p", { class: "trouble", role: "alert" });
  const more = el("button", { type: "button", hidden: true }, t("Show more"));
  let asked, after, run = 0;

  const look = async () => {
    const mine = run;
    trouble.textContent = "";
    more.hidden = true;
    try {
      const page = await call(`/api/search?${new URLSearchParams([...asked, ...(after ? [["after", after]] : [])])}`);
      if (mine !== run) return; // something else was asked meanwhile
      found.append(...page.found.map((hit) => line(hit, choose, titles)));
      after = page.after;
      more.hidden = !after;
      if (!found.firstChild) found.append(el("li", {}, after ? t("Nothing yet: there is more to look through.") : t("Nothing found.")));
    } catch (problem) {
      trouble.textContent = problem.message;
      more.hidden = !after;
    }
  };
  form.onsubmit = (event) => {
    event.preventDefault();
    const said = Object.fromEntries(new FormData(form));
    if (said.since) said.since = new Date(`${said.since}T00:00`).toISOString();
    if (said.until) {
      const end = new Date(`${said.until}T00:00`);
      end.setDate(end.getDate() + 1); // the day itself too
      said.until = end.toISOString();
    }
    asked = Object.entries(said).filter(([, value]) => value.trim());
    after = null;
    run += 1;
    found.replaceChildren();
    return look();
  };
  more.onclick = look;
  box.append(form, trouble, el("div", { role: "status" }, found), more);
}

function line(hit, choose, titles) {
  const open = el("button", { type: "button", onclick: async () => { await choose(hit.batch); scrollTo(0, 0); } }, hit.closed ? t("{name} (closed)", { name: hit.batch_name }) : hit.batch_name);
  const what = hit.what === "batch" ? t("Batch") : [titles[hit.kind] || hit.kind, hit.wash !== null && t("wash {n}", { n: hit.wash })].filter(Boolean).join(", ");
  const told = [shownAt(hit.at), what, hit.status && STATUS[hit.status], hit.phone].filter(Boolean).join(" · ");
  return el("li", { class: hit.counts ? null : "old" }, open, el("p", { class: "meta" }, told), hit.what === "batch" ? null : el("p", {}, hit.text || "–", hit.counts ? null : ` ${t("(counts no longer)")}`));
}
