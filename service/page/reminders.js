// What batches remind of: on the batch's own page with its time, and how many things are due in the list of batches.
import { call } from "./api.js";
import { el, store } from "./dom.js";
import { warning } from "./stateword.js";
import { shownAt } from "./time.js";
import { t } from "./words.js";

let due = {}; // batch -> how many are due by now
let timer = null;

export async function askReminders() {
  try {
    const found = await call("/api/reminders");
    due = Object.fromEntries(found.map((one) => [one.batch, one.reminders.filter((r) => r.state !== "later").length]).filter(([, n]) => n));
    store.set("due", due);
  } catch (problem) {
    if (problem.status === undefined) throw problem;
    due = store.get("due", {}); // without a connection those seen last
  }
}

// A batch's name in the list, with what is due.
export const withDue = (id, name) => (due[id] ? t("{name} (to do: {n})", { name, n: due[id] }) : name);

const one = (r) => {
  const when = shownAt(r.due);
  if (r.state === "later") return el("li", { class: "meta" }, t("From {when} on: {what}", { when, what: r.sentence }));
  const alarm = r.code === "acidify";
  return el("li", {}, el("p", { role: alarm ? "alert" : null }, alarm ? el("span", { class: "verdict tone-stop" }, warning("danger")) : el("b", {}, t("Now:")), ` ${r.sentence}`, el("span", { class: "meta" }, ` ${t("(since {when})", { when })}`)));
};

// The list for the batch's page; once the next one falls due while the page is open, it is asked for anew.
export function listReminders(reminders, again) {
  clearTimeout(timer);
  const next = Math.min(...reminders.filter((r) => r.state === "later").map((r) => new Date(r.due) - Date.now()));
  if (Number.isFinite(next)) timer = setTimeout(again, next < 0 ? 60000 : Math.min(Math.max(next, 5000), 6 * 3600 * 1000));
  return reminders.length ? el("ul", { id: "reminders", class: "plain", "aria-label": t("To do") }, reminders.map(one)) : null;
}
