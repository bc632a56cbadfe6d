// Search over batches, notes and readings: the bench computer looks, a page at a time.
import { call } from "./api.js";
import { el } from "./dom.js";
import { field } from "./fields.js";
import { sheet } from "./sheet.js";

const STATUS = { ok: "✓ well read", doubtful: "! doubtful", refused: "✕ not read" };

export async function finder(box, choose) {
  if (box.dataset.filled) return;
  box.dataset.filled = "yes";
  sheet();
  const { kinds, stages } = await call("/api/search/choices").catch((problem) => {
    delete box.dataset.filled;
    throw problem;
  });
  const any = (rows) => [["", "any"], ...rows];
  const day = (name, label) => el("label", {}, label, el("input", { type: "date", name }));
  const form = el(
    "form",
    { "aria-label": "Find" },
    field({ name: "words", label: "Words", max: 200 }),
    el(
      "details",
      {},
      el("summary", {}, "Only some of it"),
      field({ name: "kind", label: "Kind", options: any(kinds.map((k) => [k.id, k.title])), value: "" }),
      field({ name: "state", label: "The batch is", options: any([["open", "open"], ["closed", "closed"]]), value: "" }),
      field({ name: "stage", label: "The batch's stage", options: any(stages.map((s) => [s.id, s.title])), value: "" }),
      field({ name: "status", label: "The reading is", options: any(Object.entries(STATUS)), value: "" }),
      el("div", { class: "row" }, day("since", "From"), day("until", "To")),
    ),
    el("button", { class: "main" }, "Find"),
  );
  const found = el("ol", { class: "found", role: "status", "aria-label": "Found" });
  const trouble = el("p", { class: "trouble", role: "alert" });
  const more = el("button", { type: "button", hidden: true }, "Show more");
  let asked, after, run = 0;

  const look = async () => {
    const mine = run;
    trouble.textContent = "";
    more.hidden = true;
    try {
      const page = await call(`/api/search?${new URLSearchParams([...asked, ...(after ? [["after", after]] : [])])}`);
      if (mine !== run) return; // something else was asked meanwhile
      found.append(...page.found.map((hit) => line(hit, choose)));
      after = page.after;
      more.hidden = !after;
      if (!found.firstChild) found.append(el("li", {}, after ? "Nothing yet: there is more to look through." : "Nothing found."));
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
  box.append(form, trouble, found, more);
}

function line(hit, choose) {
  const open = el("button", { type: "button", onclick: async () => { await choose(hit.batch); scrollTo(0, 0); } }, `${hit.batch_name}${hit.closed ? " (closed)" : ""}`);
  const what = hit.what === "batch" ? "Batch" : `${hit.kind === "ph" ? "pH" : hit.kind.replaceAll("_", " ")}${hit.wash === null ? "" : `, wash ${hit.wash}`}`;
  const told = [new Date(hit.at).toLocaleString(), what, hit.status && STATUS[hit.status], hit.phone].filter(Boolean).join(" · ");
  return el("li", { class: hit.counts ? null : "old" }, open, el("p", { class: "meta" }, told), hit.what === "batch" ? null : el("p", {}, hit.text || "–", hit.counts ? null : " (counts no longer)"));
}
