// What is done to a batch, to an entry and to joined phones.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { $, el, store } from "./dom.js";
import { field } from "./fields.js";
import { procedures } from "./procedure.js";
import { send } from "./queue.js";
import { ownZone, shownAt } from "./time.js";
import { decimal, language, number, t } from "./words.js";

const change = (batch, body, words) => send({ what: "change", method: "PATCH", path: "/api/batches/{batch}", batch: batch.id, body, words });

export function newBatch(done) {
  const known = store.get("procedures", []);
  const choice = (shipped) => ({ name: "procedure", label: t("By which procedure"), options: shipped.map((p) => [p.name, p.title]), value: shipped[0].name });
  const late = known.length ? [] : procedures(); // asked for as the page began, and not here yet: it comes below the name
  ask(t("New batch"), [{ name: "name", label: t("Name"), required: true }, ...(known.length ? [choice(known)] : [])], async ({ name, procedure }) => {
    const body = { name, zone: ownZone(), ...(procedure ? { procedure } : {}) };
    const { answer, makes } = await send({ what: "batch", path: "/api/batches", body, words: t("New batch: {name}", { name }) });
    done({ id: answer ? answer.id : makes });
  });
  const asked = $("dialog-fields").firstChild;
  Promise.resolve(late).then((shipped) => shipped.length && asked.isConnected && asked.after(field(choice(shipped)))); // without a connection the first one counts
}

export function zoneAsked(batch, done) {
  const fields = [{ name: "zone", label: t("Zone of this batch's times, such as Europe/Lisbon"), value: batch.zone, required: true, max: 60 }];
  ask(t("Zone"), fields, async ({ zone }) => done(await change(batch, { zone: zone.trim() }, t("Zone: {zone}", { zone: zone.trim() }))));
}

export function rename(batch, done) {
  ask(t("Rename batch"), [{ name: "name", label: t("Name"), value: batch.name, required: true }], async ({ name }) =>
    done(await change(batch, { name }, t("Rename to: {name}", { name }))),
  );
}

export function rinseWater(batch, entries, done) {
  const blanks = entries.filter((e) => e.kind === "ph" && e.ph !== null && e.log.corrected_by === null);
  const options = [["unknown", t("I don't know")], ["pure", t("Pure water")], ["air", t("Pure water that stood in air")], ["tap", t("Tap water")]];
  ask(
    t("Rinse water"),
    [
      { name: "water", label: t("What do you rinse with?"), options, value: batch.water.water },
      { name: "alkalinity", label: t("Tap water: alkalinity, mmol/L (if known)"), value: decimal(batch.water.alkalinity_mmol_l ?? ""), mode: "decimal" },
      {
        name: "blank",
        label: t("Reading of the rinse water itself"),
        options: [["", t("none")], ...blanks.map((e) => [String(e.log.id), t("entry {n}: pH {ph}", { n: e.log.id, ph: number(e.ph, 1) }) + (e.log.note ? `, ${e.log.note}` : "")])],
        value: String(batch.water.blank_entry || ""),
      },
    ],
    async ({ water, alkalinity, blank }) => {
      const said = { water };
      if (alkalinity.trim()) said.alkalinity_mmol_l = Number(alkalinity.replace(",", "."));
      if (blank) said.blank_entry = Number(blank);
      done(await change(batch, { water: said }, t("Rinse water: {which}", { which: options.find(([value]) => value === water)[1] })));
    },
  );
}

export async function toggleClosed(batch, done) {
  if (batch.closed_at === null) return done(await change(batch, { closed: true }, t("Close the batch")));
  const fields = [
    { name: "reason", label: t("Why is it opened again? The log keeps it."), required: true, max: 1000 },
    { name: "who", label: t("Who"), value: store.get("who", ""), required: true, max: 100 },
  ];
  return ask(t("Open this batch again"), fields, async ({ reason, who }) => {
    store.set("who", who);
    done(await change(batch, { closed: false, reason, who }, t("Open the batch again: {reason}", { reason })));
  });
}

// When it was closed or opened again the last time, and why.
export function story(page) {
  const last = page.events.findLast((e) => ["closed", "opened again"].includes(e.what));
  $("batch-story").hidden = !last;
  if (!last) return;
  const { reason, who } = last.detail;
  const why = reason ? `: ${reason}${who ? ` (${who})` : ""}` : "";
  const when = { when: shownAt(last.at) };
  $("batch-story").textContent = (last.what === "closed" ? t("Closed {when}", when) : t("Opened again {when}", when)) + why;
}

// Given once on this phone; it goes with what is sent from it.
export const yourName = () => ask(t("Your name on this phone"), [{ name: "who", label: t("It stands beside what you save. It may stay empty."), value: store.get("who", ""), max: 100 }], async ({ who }) => store.set("who", who.trim()));

// Only on the bench computer's own page.
export function pairing() {
  const box = $("pairing");
  box.hidden = $("backup").hidden = false;
  const fresh = async () => {
    const link = await call("/api/pairing");
    const until = new Date(link.ends_at).toLocaleString(language, { weekday: "short", hour: "2-digit", minute: "2-digit" });
    $("qr").hidden = link.over;
    if (!link.over) $("qr").src = `/api/pairing/qr.svg?${Date.now()}`;
    $("link-bounds").textContent = link.over ? t("This link is used up. Make a new one.") : t("Lets in {n} more, until {until}.", { n: link.joins_left, until });
  };
  const phones = async () => {
    const found = await call("/api/sessions");
    const joined = found.filter((s) => s.revoked_at === null && new Date(s.expires_at) > new Date());
    $("sessions").replaceChildren(
      ...joined.map((s) =>
        el("li", {}, t("{device}, since {day}", { device: s.device.slice(0, 60), day: new Date(s.paired_at).toLocaleDateString(language) }), s.bench && ` · ${s.bench}`,
          el("button", { type: "button", onclick: async () => { await call(`/api/sessions/${s.id}`, "DELETE"); await phones(); } }, t("Shut out"))),
      ),
    );
    if (!joined.length) $("sessions").replaceChildren(el("li", {}, t("none")));
  };
  box.addEventListener("toggle", () => box.open && (fresh(), phones()));
  $("renew").onclick = async () => {
    await call("/api/pairing/renew", "POST");
    await fresh();
  };
}
