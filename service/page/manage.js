// What is done to a batch, to an entry and to joined phones.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";

export const newBatch = (done) =>
  ask("New batch", [{ name: "name", label: "Name", required: true }], async ({ name }) => done(await call("/api/batches", "POST", { name })));

export function rename(batch, done) {
  ask("Rename batch", [{ name: "name", label: "Name", value: batch.name, required: true }], async ({ name }) =>
    done(await call(`/api/batches/${batch.id}`, "PATCH", { name })),
  );
}

export function rinseWater(batch, entries, done) {
  const blanks = entries.filter((e) => e.kind === "ph" && e.ph !== null && e.log.corrected_by === null);
  const options = [["unknown", "I don't know"], ["pure", "Pure water"], ["air", "Pure water that stood in air"], ["tap", "Tap water"]];
  ask(
    "Rinse water",
    [
      { name: "water", label: "What do you rinse with?", options, value: batch.water.water },
      { name: "alkalinity", label: "Tap water: alkalinity, mmol/L (if known)", value: batch.water.alkalinity_mmol_l, mode: "decimal" },
      {
        name: "blank",
        label: "Reading of the rinse water itself",
        options: [["", "none"], ...blanks.map((e) => [String(e.log.id), `entry ${e.log.id}: pH ${e.ph.toFixed(1)}${e.log.note ? `, ${e.log.note}` : ""}`])],
        value: String(batch.water.blank_entry || ""),
      },
    ],
    async ({ water, alkalinity, blank }) => {
      const said = { water };
      if (alkalinity.trim()) said.alkalinity_mmol_l = Number(alkalinity.replace(",", "."));
      if (blank) said.blank_entry = Number(blank);
      done(await call(`/api/batches/${batch.id}`, "PATCH", { water: said }));
    },
  );
}

export async function toggleClosed(batch, done) {
  if (batch.closed_at === null) return done(await call(`/api/batches/${batch.id}`, "PATCH", { closed: true }));
  const fields = [
    { name: "reason", label: "Why is it opened again? The log keeps it.", required: true, max: 1000 },
    { name: "who", label: "Who", value: store.get("who", ""), required: true, max: 100 },
  ];
  return ask("Open this batch again", fields, async ({ reason, who }) => {
    store.set("who", who);
    done(await call(`/api/batches/${batch.id}`, "PATCH", { closed: false, reason, who }));
  });
}

// When it was closed or opened again the last time, and why.
export function story(page) {
  const last = page.events.findLast((e) => ["closed", "opened again"].includes(e.what));
  $("batch-story").hidden = !last;
  if (!last) return;
  const { reason, who } = last.detail;
  const why = reason ? `: ${reason}${who ? ` (${who})` : ""}` : "";
  $("batch-story").textContent = `${last.what === "closed" ? "Closed" : "Opened again"} ${new Date(last.at).toLocaleString()}${why}`;
}

// Given once on this phone; it goes with what is sent from it.
export const yourName = () => ask("Your name on this phone", [{ name: "who", label: "It stands beside what you save. It may stay empty.", value: store.get("who", ""), max: 100 }], async ({ who }) => store.set("who", who.trim()));

// Only on the bench computer's own page.
export function pairing() {
  const box = $("pairing");
  box.hidden = $("backup").hidden = false;
  const fresh = async () => {
    const link = await call("/api/pairing");
    const until = new Date(link.ends_at).toLocaleString([], { weekday: "short", hour: "2-digit", minute: "2-digit" });
    $("qr").hidden = link.over;
    if (!link.over) $("qr").src = `/api/pairing/qr.svg?${Date.now()}`;
    $("link-bounds").textContent = link.over ? "This link is used up. Make a new one." : `Lets in ${link.joins_left} more, until ${until}.`;
  };
  const phones = async () => {
    const found = await call("/api/sessions");
    const joined = found.filter((s) => s.revoked_at === null && new Date(s.expires_at) > new Date());
    $("sessions").replaceChildren(
      ...joined.map((s) =>
        el("li", {}, `${s.device.slice(0, 60)}, since ${new Date(s.paired_at).toLocaleDateString()}`,
          el("button", { type: "button", onclick: async () => { await call(`/api/sessions/${s.id}`, "DELETE"); await phones(); } }, "Shut out")),
      ),
    );
    if (!joined.length) $("sessions").replaceChildren(el("li", {}, "none"));
  };
  box.addEventListener("toggle", () => box.open && (fresh(), phones()));
  $("renew").onclick = async () => {
    await call("/api/pairing/renew", "POST");
    await fresh();
  };
}
