// The code on a vessel's label: looked up by its address, or found in a photo by the bench computer.
import { call, sendPhoto } from "./api.js";
import { $, el, store } from "./dom.js";
import { fitting } from "./queue.js";
import { mine } from "./typed.js";
import { t } from "./words.js";

// What an address names; where the bench computer can't be asked, by what this phone saw last; undefined: can't tell.
export async function named(batch, log, vessel) {
  try {
    const query = new URLSearchParams({ log, vessel, ...(batch ? { batch } : {}) });
    return await call(`/api/labels/named?${query}`);
  } catch (problem) {
    if (problem.status !== 0) return undefined;
    const known = store.get("about")?.log_mark === log && batch ? store.get(`vessels-${batch}`)?.vessels.find((v) => v.mark === vessel) : undefined;
    return known && { found: "vessel", batch: Number(batch), key: known.key, name: known.name, sentence: "" };
  }
}

// A button that takes or chooses a photo of a label; `act(read)` may give back why it is of no use here.
export function labelPhoto(about, act) {
  const said = el("p", { class: "meta", role: "status" });
  const tell = (text) => { said.textContent = text; };
  const input = el("input", { type: "file", accept: "image/*", class: "unseen", "aria-label": about ? t("Photo of a label: {what}", { what: about }) : null, onchange: take });
  async function take() {
    const [file] = input.files;
    input.value = ""; // the same photo may be chosen again
    if (!file) return;
    tell(t("The photo is looked at …"));
    try {
      const photo = await fitting(file, (store.get("about")?.max_body || 0) - 65536);
      const read = await sendPhoto("/api/labels/read", { body: {}, photo, type: photo.type, name: photo.name || "label.jpg", key: `label-${Date.now()}` }, () => {});
      tell(read.found === "none" ? read.sentence : "");
      if (read.found !== "none") tell((await act(read)) || "");
    } catch (problem) {
      tell(problem.status === 0 ? t("No connection: only the bench computer reads the code in a photo. Choose the vessel by hand.") : problem.message);
    }
  }
  return el("div", { class: "by-label" }, el("label", { class: "button" }, input, el("span", {}, t("Photo of a label"))), said);
}

// What a box for a vessel's name or a batch's number may be filled with, as [value, words]; nothing without a connection.
export async function offered(f) {
  const here = mine.get("batch");
  if (f.batch) return store.get("batches", []).filter((b) => b.id !== here).map((b) => [String(b.id), b.name]);
  const found = typeof here === "number" ? await call(`/api/batches/${here}/vessels`).catch(() => store.get(`vessels-${here}`)) : null;
  const named = (found?.vessels || []).filter((v) => !/^(·|main$|stock$)/.test(v.key)).map((v) => [v.name, ""]);
  return [["main", t("the batch's own")], ["stock", t("of all batches")], ...named];
}

// The same beside a box that takes a vessel's name: it is filled in, and with it the number of another batch where the
// form asks for one.
export function fillByLabel(box, label) {
  const other = { vessel: "from_batch", into: "into_batch" }[box.name];
  return labelPhoto(label, (read) => {
    if (read.found === "batch") return t("This label names batch {n} alone, no vessel: print the labels anew.", { n: read.batch });
    if (read.key.startsWith("·")) return t("“{name}” is no vessel that a note can name.", read);
    const elsewhere = read.batch !== null && String(read.batch) !== String(mine.get("batch"));
    const number = elsewhere && other && box.form.elements[other];
    if (elsewhere && !number) return t("This vessel is of batch {n}, “{name}”: choose that batch first.", { n: read.batch, name: read.batch_name });
    if (number) number.value = read.batch;
    else if (other && box.form.elements[other]) box.form.elements[other].value = "";
    box.value = ["main", "stock"].includes(read.key) ? read.key : read.name;
    box.dispatchEvent(new Event("input", { bubbles: true })); // kept as if it was typed
    return t("By its label: {name}", read);
  });
}

// Shows what a label names: its batch chosen, its vessel marked. `of`: {batch(), choose(batch), silver(), say(text)} of the page.
export async function showLabelled(read, of) {
  if (read.found === "none") return of.say(read.sentence);
  if (read.batch !== null && String(read.batch) !== String(of.batch())) await of.choose(String(read.batch));
  if (read.found === "batch") return $("batch").scrollIntoView({ block: "start" });
  const { want } = await import("./vessels.js");
  want(read);
  $("vessels").open = true;
  return of.silver();
}
