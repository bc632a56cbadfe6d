// The third step: liquids of known pH at hand, and a strip in each photographed; the one that helps most stands first.
import { call } from "./api.js";
import { el } from "./dom.js";
import { field, number } from "./fields.js";
import { chartPart } from "./first_chart.js";
import { alarm, button, calm, camera, complain, items, p, refuse, remember, said, sendPhotoOf, spoken, waitingHere } from "./first_parts.js";
import { inOrder, typedPhs } from "./first_rules.js";
import { endDip, shareDip } from "./strip.js";
import { number as figure, decimal, t, tn } from "./words.js";

const LIGHTS = { day: t("daylight, in the room"), lamp: t("lamp"), outside: t("outside, in the shade") };
const GOOD = 5; // liquids, each photographed twice

const warmth = () => { try { return number(said().temperature) ?? 20; } catch { return 20; } };
const distinct = (draft) => new Set((draft?.photos || []).map((photo) => photo.ph)).size;

// A good profile has five pH values, each from two photos.
export function enough(draft) {
  const counts = {};
  for (const photo of draft?.photos || []) counts[photo.ph] = (counts[photo.ph] || 0) + 1;
  return Object.values(counts).filter((n) => n > 1).length >= GOOD;
}

const counted = (draft) => `${tn("{n} liquid", "{n} liquids", distinct(draft))}, ${tn("{n} photo", "{n} photos", draft.photos.length)}`;

export function liquidsState(draft) {
  if (!draft?.photos.length) return { done: false, words: draft?.chart?.length ? t("the bottle's chart alone; liquids make it good") : t("photos of strips in liquids of known pH") };
  return { done: enough(draft), words: enough(draft) ? counted(draft) : t("five liquids, each photographed twice; so far {what}", { what: counted(draft) }) };
}

// Those ticked, and those with a pH on their label.
const atHand = (all) => [
  ...all.filter((liquid) => (said().liquids || []).includes(liquid.key)),
  ...(typedPhs(said().own) || []).map((ph) => ({ key: `pH ${ph}`, name: `pH ${decimal(ph)}`, ph, own: true, caution: "" })),
];

const widthOf = (liquid) => (liquid.ph === null ? t("no pH known at this temperature") : liquid.own ? t("by its label") : t("pH {ph} ± {sd}", { ph: figure(liquid.ph, 2), sd: figure(2 * liquid.ph_sd, 2) }));

export async function liquidsStep(box, screen) {
  const status = spoken(), wrong = alarm(), list = el("ol", { id: "liquid-list" }), wanted = el("div", { id: "liquid-wanted" }), photos = el("ul", { class: "photos" });
  let all = [], advice = null, asked = null;
  const clock = el("button", { type: "button", id: "first-dip", class: "dip" });
  const warm = field({ name: "temperature", label: t("Temperature of the liquids, °C"), mode: "decimal", max: 5, value: said().temperature ?? "20" });
  const own = field({ name: "own", label: t("pH values of buffers with a label, such as 4.01 7.00"), max: 120, value: said().own });
  const light = field({ name: "light", label: t("Light of the next photo"), options: Object.entries(LIGHTS), value: said().light || "day" });
  const ticks = el("details", { id: "liquid-ticks", open: !(said().liquids || []).length && !said().own }, el("summary", {}, t("What is at hand?")));

  warm.onchange = async () => {
    const typed = warm.querySelector("input").value;
    try { number(typed, t("Temperature of the liquids, °C")); } catch (problem) { return complain(wrong, problem); } // never another one in its place
    remember({ temperature: typed });
    await load();
  };
  own.oninput = () => {
    const text = own.querySelector("input").value;
    remember({ own: text });
    if (typedPhs(text) === null) return complain(wrong, new Error(t("Type pH values from 0 to 14 with a space between them.")));
    calm(wrong);
    rows();
  };
  light.onchange = () => remember({ light: light.querySelector("select").value });

  async function load() {
    try {
      all = await call(`/api/liquids?temperature_c=${warmth()}`);
      calm(wrong);
      if (all[0]?.temperature_question) complain(wrong, new Error(all[0].temperature_question));
    } catch (problem) {
      complain(wrong, problem);
    }
    ticks.replaceChildren(ticks.firstChild, own, ...all.map(tick));
    rows();
  }

  function tick(liquid) {
    const input = el("input", { type: "checkbox", name: "liquid", value: liquid.key, checked: (said().liquids || []).includes(liquid.key) });
    input.onchange = () => {
      const others = (said().liquids || []).filter((key) => key !== liquid.key);
      remember({ liquids: input.checked ? [...others, liquid.key] : others });
      advice = null;
      rows();
    };
    return el("div", { class: "liquid" },
      el("label", { class: "check" }, input, el("span", {}, el("b", {}, liquid.name), ` ${widthOf(liquid)}`)),
      liquid.caution ? p(t("Caution: {what}", { what: liquid.caution }), { class: "caution" }) : null,
      el("details", {}, el("summary", { class: "meta", "aria-label": t("How it is made: {liquid}", { liquid: liquid.name }) }, t("How it is made")), p(liquid.made, { class: "meta" }),
        p(t("Where this pH comes from:"), { class: "meta" }), p(liquid.source, { class: "meta", lang: "en" })));
  }

  // The list is drawn anew while the camera is open, so what takes its photo stands apart from it.
  const chooser = camera("liquid-camera", t("Photo"), t("Strip"), (file) => asked && take(file, asked));
  chooser.hidden = true;
  const pick = (words, liquid, input, look) => button(words, () => { asked = liquid; if (liquid.ph === null) complain(wrong, new Error(`${liquid.name}: ${t("no pH known at this temperature")}`)); else chooser.querySelector(`#${input}`).click(); }, { class: look, "aria-label": `${words}: ${liquid.name}`, "data-pick": `${liquid.key} ${input}` });

  function rows() {
    const had = document.activeElement?.dataset.pick;
    const draft = screen.draft();
    const taken = draft?.photos || [];
    const kind = screen.kind();
    const ordered = inOrder(atHand(all), taken, kind.range);
    const best = advice?.gains?.[0]?.key;
    if (best) ordered.sort((a, b) => (b.key === best) - (a.key === best));
    list.replaceChildren(...ordered.map((liquid, n) => {
      const count = taken.filter((photo) => photo.liquid === liquid.key).length;
      return el("li", { class: n ? "" : "proposed" },
        p(n ? liquid.name : t("Next: {liquid}", { liquid: liquid.name })), p(`${widthOf(liquid)} · ${tn("{n} photo", "{n} photos", count)}`, { class: "meta" }),
        !n && liquid.caution ? p(t("Caution: {what}", { what: liquid.caution }), { class: "meta" }) : null,
        el("div", { class: "row" }, pick(t("Photo"), liquid, "liquid-camera", n ? "small" : "camera"), pick(t("From files"), liquid, "liquid-camera-file", "gallery")));
    }));
    if (!ordered.length) list.replaceChildren(el("li", {}, t("Tick what is at hand, or type the pH on a buffer's label.")));
    if (had) [...list.querySelectorAll("[data-pick]")].find((one) => one.dataset.pick === had)?.focus({ preventScroll: true });
    const there = taken.length ? counted(draft) : t("nothing yet");
    wanted.replaceChildren(
      el("h3", {}, t("What is there: {what}", { what: there })),
      waitingHere("buffer") || "", draft?.wanted.length ? el("div", {}, p(t("What would help most:")), items(draft.wanted)) : p(t("Five liquids over the strip's range, each photographed twice, make a good profile.")),
      advice ? p(advice.advice, { id: "next-advice" }) : "", taken.length || draft?.chart?.length ? screen.goOn(enough(draft) ? t("Enough: work out the curve") : t("Work out the curve with these")) : "");
    photos.replaceChildren(...taken.map((photo) => el("li", {},
      el("span", {}, `${all.find((one) => one.key === photo.liquid)?.name || photo.liquid}, pH ${figure(photo.ph, 2)}${photo.light ? `, ${LIGHTS[photo.light] || photo.light}` : ""}`),
      button(t("Take out"), () => takeOut(photo), { "aria-label": t("Take out the photo of {liquid}", { liquid: photo.liquid }) }))));
  }

  async function takeOut(photo) {
    try {
      await call(`/api/calibrations/${screen.draft().id}/photos/${photo.id}`, "DELETE");
      await screen.refresh();
      rows();
    } catch (problem) {
      complain(wrong, problem);
    }
  }

  async function take(file, liquid) {
    calm(wrong);
    ticks.open = false;
    try {
      const draft = await screen.begun();
      const which = liquid.own ? { liquid: liquid.key, ph: liquid.ph } : { liquid: liquid.key, temperature_c: warmth() };
      const answer = await sendPhotoOf({ file, status, limit: screen.limit(), what: "buffer", path: "/api/calibrations/{draft}/photos", draft, body: { ...which, light: said().light || "day" }, words: t("Strip in {liquid}", { liquid: liquid.name }) });
      endDip(); // not before: one that is refused is taken again within the same time
      if (answer) status.textContent = t("{liquid}: the photo is good.", { liquid: liquid.name });
      await screen.refresh();
      await ask();
    } catch (problem) {
      if (problem.status === 422 && !/temperature|liquid/.test(problem.code)) refuse(wrong, [`${liquid.name}: ${problem.message}`]);
      else complain(wrong, problem);
    }
    rows();
  }

  // Once there is a curve, the bench computer knows which liquid would bring most.
  async function ask() {
    const draft = screen.draft();
    const keys = (said().liquids || []).filter((key) => all.find((one) => one.key === key)?.ph != null);
    advice = draft?.result && keys.length ? await call(`/api/calibrations/${draft.id}/next`, "POST", { liquids: keys, temperature_c: warmth() }).catch(() => null) : null;
  }

  const chart = chartPart(screen, rows);
  box.replaceChildren(
    p(t("Strip: {name}", { name: screen.kind().name })), ticks, el("div", { class: "form" }, warm, light),
    p(t("Dip, press the clock, lay the strip on the card, photograph it when the clock says so.")), clock, chooser, status, wrong, list, chart.box, wanted,
    el("details", {}, el("summary", {}, t("The photos")), photos));
  shareDip(clock, screen.kind().read_after_s);
  await load();
  await ask();
  rows();
  return async (news) => {
    if (news.what !== "buffer" && news.what !== "chart") return;
    await screen.refresh();
    chart.tell();
    rows();
  };
}
