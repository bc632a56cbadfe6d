// The second step: which strip it is. Measured on a photo of an unused one, put right by hand, saved; or paper off a roll.
import { el, options, store } from "./dom.js";
import { field, number, range } from "./fields.js";
import { alarm, button, calm, camera, complain, items, p, refuse, remember, said, sendPhotoOf, spoken, waitingHere } from "./first_parts.js";
import { padFields, padPicture, smallPicture } from "./first_pads.js";
import { misfit } from "./first_rules.js";
import { send } from "./queue.js";
import { signed } from "./stateword.js";
import { decimal, t, tn } from "./words.js";

const HELD = "first-strip"; // what was found, as the bench computer told it
const EDITED = "first-pads"; // the same as put right by hand
const PHOTO = "first-picture";
const MISFITS = {
  order: (n) => t("Pad {n} has no length: its end must lie at least 0.5 mm behind its beginning.", { n }),
  out: (n) => t("Pad {n} lies beyond the strip. Correct it, or the strip's length.", { n }),
  over: (n) => t("Pad {n} lies over the one before it.", { n }),
};

export const stripState = (kind) => ({ done: Boolean(kind), words: kind ? kind.name : t("a photo of an unused strip, or “roll paper”") });

// What a description amounts to, for the hand to put right.
function editable(told) {
  const pads = told.pads.map((pad) => ({ start: +Math.max(pad.offset_mm, 0).toFixed(1), end: +(pad.offset_mm + pad.length_mm).toFixed(1), doubt: pad.doubt }));
  return { of: told.sha256, roll: told.roll, width: +told.width_mm.toFixed(1), length: +told.length_mm.toFixed(1), outline: told.outline_px, pads, reasons: told.reasons.map((reason) => reason.message) };
}

export function stripStep(box, screen) {
  const status = spoken(), wrong = alarm(), found = el("div", { id: "strip-found" }), trouble = alarm(), kept = el("div");
  const form = el("form", { class: "form", id: "strip-form", "aria-label": t("Which strip"), novalidate: true },
    field({ name: "name", label: t("Name of the strip"), value: said().name, max: 200 }),
    field({ name: "range", label: t("pH that it reads"), range: true, from: decimal(said().from ?? "0"), to: decimal(said().to ?? "14") }),
    field({ name: "counted", label: t("How many pads do you count on the strip?"), mode: "numeric", max: 2, value: said().counted }),
    field({ name: "after", label: t("Read after dipping, seconds (as its box says; may stay empty)"), range: true, from: decimal(said().after ?? ""), to: decimal(said().until ?? "") }));
  form.oninput = () => {
    const { name, range: from, range_to: to, counted, after, after_to: until } = Object.fromEntries(new FormData(form));
    remember({ name, from, to, counted, after, until });
    check();
  };
  const counted = () => (/^\s*([1-9]|1\d|2[0-4])\s*$/.test(said().counted || "") ? Number(said().counted) : null);
  let check = () => {};
  form.onsubmit = (event) => event.preventDefault();

  async function take(file) {
    calm(wrong);
    try {
      store.set(PHOTO, await smallPicture(file));
    } catch {
      store.set(PHOTO, null); // no picture that this browser can show: the numbers do without
    }
    try {
      await sendPhotoOf({ file, status, limit: screen.limit(), what: "unused", path: "/api/strip-kinds/describe", body: { picture: false, pads: counted() }, words: t("Photo of an unused strip"), holds: HELD });
    } catch (problem) {
      complain(wrong, problem);
    }
    tell();
    found.querySelector("h3")?.focus();
  }

  function roll() {
    store.set(EDITED, { roll: true, pads: [], reasons: [] });
    store.set(HELD, null);
    tell();
  }

  function tell() {
    const told = store.get(HELD);
    let edited = store.get(EDITED);
    found.replaceChildren(waitingHere("unused") || "");
    if (told && told.status === "refused") return refuse(wrong, told.reasons.map((reason) => reason.message));
    if (told && edited?.of !== told.sha256) store.set(EDITED, (edited = editable(told)));
    if (edited) edit(edited);
  }

  function edit(strip) {
    check = () => {};
    const save = button(t("Save this strip"), () => keep(strip), { class: "main", id: "strip-save" });
    const redo = () => { store.set(EDITED, strip); edit(strip); };
    const padded = strip.of && button(t("It has pads"), () => { strip.roll = false; strip.pads = []; redo(); });
    if (strip.roll) return found.replaceChildren(el("h3", { tabindex: -1 }, t("Paper off a roll: one colour all along.")), el("div", { class: "row" }, padded || ""), trouble, el("div", { class: "row" }, save));
    const complains = (words) => (words ? complain(trouble, new Error(words)) : calm(trouble));
    const count = el("p", { class: "counted", role: "status" });
    check = () => {
      const n = counted();
      count.textContent = n === null ? t("Count the pads on the strip: one that was missed is noticed by that.") : n === strip.pads.length ? signed("counted", "same") : `${signed("counted", "other")}. ${t("You count {n} pads, and {found} stand here. Add or take out, or count again.", { n, found: strip.pads.length })}`;
    };
    const drawing = padPicture(strip, store.get(PHOTO), () => {
      store.set(EDITED, strip);
      for (const input of found.querySelectorAll("[data-pad]")) input.value = decimal(strip.pads[input.dataset.pad][input.dataset.side]);
    });
    const changed = () => { store.set(EDITED, strip); drawing.draw(); };
    const add = () => {
      const last = strip.pads.at(-1)?.end ?? 0;
      strip.pads.push({ start: +(last + 1).toFixed(1), end: +(last + 6).toFixed(1), doubt: null });
      redo();
    };
    const size = (name, label) => {
      const input = field({ name, label, mode: "decimal", max: 6, value: decimal(strip[name]) });
      input.onchange = () => { try { strip[name] = number(input.querySelector("input").value, label) ?? strip[name]; redo(); } catch (problem) { complains(problem.message); } };
      return input;
    };
    found.replaceChildren(
      el("h3", { tabindex: -1 }, tn("{n} pad was found", "{n} pads were found", strip.pads.length)),
      count, drawing.picture, p(t("Pull the knobs to the edges, or type the numbers: mm from the dipped end.")), ...(strip.reasons.length ? [el("h3", {}, t("Not sure")), items(strip.reasons, { class: "doubts" })] : []),
      ...padFields(strip, changed, complains, redo),
      el("div", { class: "row" }, button(t("Add a pad"), add)),
      el("div", { class: "row" }, size("length", t("Strip's length, mm")), size("width", t("Strip's width, mm"))),
      trouble, el("div", { class: "row" }, save));
    check();
  }

  async function keep(strip) {
    calm(trouble);
    try {
      const values = Object.fromEntries(new FormData(form));
      if (!values.name.trim()) throw new Error(t("Give the strip a name, so that it is known again."));
      const pH = range(values, "range");
      if (!pH || !(pH[0] < pH[1])) throw new Error(t("Say from which pH to which it reads, the lower first."));
      const n = counted();
      if (!strip.roll && n === null) throw new Error(t("Count the pads on the strip: one that was missed is noticed by that."));
      if (!strip.roll && n !== strip.pads.length) throw new Error(t("You count {n} pads, and {found} stand here. Add or take out, or count again.", { n, found: strip.pads.length }));
      const bad = strip.roll ? null : misfit(strip.pads, strip.length);
      if (bad) throw new Error(MISFITS[bad.why](bad.n + 1));
      const measures = strip.roll ? { roll: true, ...(strip.width ? { width_mm: strip.width } : {}) } : { width_mm: strip.width, length_mm: strip.length, pads: strip.pads.map(({ start, end }) => ({ offset_mm: start, length_mm: +(end - start).toFixed(1) })) };
      const body = { name: values.name.trim(), range: pH, read_after_s: range(values, "after"), ...measures, replace: screen.kinds().some((kind) => kind.name === values.name.trim()) };
      const { answer } = await send({ what: "kind", path: "/api/strip-kinds", body, words: t("Strip kind: {name}", body) });
      remember({ kind: body.name, draft: null });
      if (!answer) return complain(trouble, new Error(t("No connection: the strip is kept on this phone and saved later.")));
      for (const key of [HELD, EDITED, PHOTO]) store.set(key, null);
      await screen.refresh();
      screen.next();
    } catch (problem) {
      complain(trouble, problem);
    }
  }

  function shelf() {
    const kinds = screen.kinds();
    if (!kinds.length) return;
    const select = el("select", { "aria-label": t("A strip that is saved here") });
    options(select, kinds.map((kind) => [kind.name, kind.name]), screen.kind()?.name);
    kept.append(el("h3", {}, t("Saved here")), el("div", { class: "row" }, select, button(t("Use it"), async () => { remember({ kind: select.value, draft: null }); await screen.refresh(); screen.next(); })));
  }

  shelf();
  box.replaceChildren(kept, form,
    p(t("Lay one dry, unused strip in the card's lane, the end that is dipped to the left, pads up.")),
    camera("strip-photo", t("Photograph the strip"), t("the unused strip"), take),
    el("div", { class: "row" }, button(t("It is paper off a roll"), roll, { id: "strip-roll" })), status, wrong, found);
  tell();
  return (news) => news.what === "unused" && tell();
}
