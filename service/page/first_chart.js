// The chart of the bottle, photographed on the card: its corner fields are put in place on the photo, those between follow.
import { call } from "./api.js";
import { el, svg } from "./dom.js";
import { field, number } from "./fields.js";
import { alarm, button, calm, camera, complain, p, refuse, remember, said, sendPhotoOf, spoken, waitingHere } from "./first_parts.js";
import { addressOf, smallPicture } from "./first_pads.js";
import { chartPlaces, typedPhs } from "./first_rules.js";
import { decimal, t, tn } from "./words.js";

const WIDE = 100; // units across the drawn photo
const START = [[0.2, 0.4], [0.8, 0.4], [0.8, 0.6], [0.2, 0.6]];
const SIDES = [t("across, %"), t("down, %")];

// `screen` is that of the first day; `changed()` is called after each change of the chart.
export function chartPart(screen, changed) {
  const status = spoken(), wrong = alarm(), at = el("div"), there = el("div");
  let photo = null, shown = null, corners = null, again = () => {};

  const pads = () => screen.kind().pads.length;
  const phs = () => [...(typedPhs(said().chart) || [])];
  const values = field({ name: "chart", label: t("pH values on the chart, as they stand there, such as 0 1 2 3 4"), max: 200, value: said().chart });
  values.oninput = () => { remember({ chart: values.querySelector("input").value }); again(); };

  async function take(file) {
    calm(wrong);
    try {
      [photo, shown] = [file, await smallPicture(file)];
    } catch {
      return complain(wrong, new Error(t("This phone can't show that picture. Take a photo as JPEG.")));
    }
    corners = START.map((point) => [...point]);
    draw();
    at.querySelector("h4")?.focus();
  }

  function draw() {
    if (!shown) return at.replaceChildren();
    const names = pads() > 1 ? [t("first pH, pad 1"), t("last pH, pad 1"), t("last pH, last pad"), t("first pH, last pad")] : [t("first pH"), t("last pH")];
    const { picture, place } = chartPicture(shown, names, corners, places, fill);
    again = place; // typed on: only the marks are drawn anew
    const boxes = names.map((name, n) => el("fieldset", { class: "padrow" }, el("legend", {}, name), el("div", { class: "row" }, ...SIDES.map((side, k) => percent(n, k, side, place)))));
    const save = button(t("Save the chart"), keep, { class: "main", id: "chart-save" });
    function fill(n) {
      boxes[n].querySelectorAll("input").forEach((input, k) => (input.value = decimal(+(100 * corners[n][k]).toFixed(1))));
    }
    at.replaceChildren(el("h4", { tabindex: -1 }, t("Where its fields lie")), values, p(t("Pull the corners to the middle of the fields that they name; every field between them gets its mark by itself."), { class: "meta" }), picture,
      el("details", {}, el("summary", {}, t("The same as numbers")), ...boxes), el("div", { class: "row" }, save));
    names.forEach((_, n) => fill(n));
  }

  const percent = (n, k, side, place) => {
    const input = el("input", { inputmode: "decimal", maxlength: 5, autocomplete: "off" });
    input.onchange = () => {
      try {
        const typed = number(input.value, side);
        if (typed === null || typed < 0 || typed > 100) throw new Error(t("Type a number from 0 to 100."));
        corners[n][k] = typed / 100;
        calm(wrong);
        place();
      } catch (problem) {
        complain(wrong, problem);
      }
    };
    return el("label", {}, side, input);
  };

  const places = () => chartPlaces(phs(), pads(), corners);

  async function keep() {
    calm(wrong);
    if (phs().length < 2) return complain(wrong, new Error(t("Type the pH values that stand on the chart, two or more, in their order.")));
    try {
      const draft = await screen.begun();
      const answer = await sendPhotoOf({ file: photo, status, limit: screen.limit(), what: "chart", path: "/api/calibrations/{draft}/chart", draft, body: { spots: JSON.stringify(places()) }, words: t("Photo of the bottle's chart") });
      if (answer) [photo, shown] = [null, null];
      await screen.refresh();
    } catch (problem) {
      if (problem.status === 422) refuse(wrong, [problem.message]);
      else complain(wrong, problem);
    }
    tell();
    changed();
  }

  async function away() {
    try {
      await call(`/api/calibrations/${screen.draft().id}/chart`, "PUT", { fields: [] }, crypto.randomUUID());
      await screen.refresh();
    } catch (problem) {
      complain(wrong, problem);
    }
    tell();
    changed();
  }

  function tell() {
    const many = screen.draft()?.chart?.length || 0;
    there.replaceChildren(waitingHere("chart") || "", many ? p(tn("The chart is there: {n} field.", "The chart is there: {n} fields.", many), { id: "chart-there" }) : "", many ? el("div", { class: "row" }, button(t("Take the chart out"), away)) : "");
    draw();
  }

  tell();
  const box = el("details", { id: "chart" }, el("summary", {}, t("The chart on the bottle")),
    p(t("Lay the label flat in the card's lane, no square mark covered, and photograph the whole card. Charts are printed for the eye and are off: alone it gives a rough curve that is never called good; liquids correct it.")),
    camera("chart-camera", t("Photo"), t("Chart"), take), status, wrong, there, at);
  return { box, tell };
}

// The photo with a mark on every field and a knob on each corner: `places()` says where they lie, `moved(corner)` hears of it.
function chartPicture(photo, names, corners, places, moved) {
  const [width, height] = [WIDE, (WIDE * photo.height) / photo.width];
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, class: "pads", id: "chart-picture", role: "group", "aria-label": t("The chart's photo with a mark on each field; the same numbers stand below") });
  const href = addressOf(photo.data);
  const image = svg("image", { href, width, height });
  image.addEventListener("load", () => URL.revokeObjectURL(href));
  const marks = svg("g");
  const knobs = names.map((name, n) => {
    const knob = svg("circle", { r: 1.8, class: "knob" });
    const label = svg("text", { "text-anchor": "middle" }, name);
    const grip = svg("circle", { r: 6.5, class: "grip" });
    const pull = (event) => {
      const to = picture.getScreenCTM().inverse();
      const clip = (value) => Math.min(1, Math.max(0, value));
      corners[n] = [clip((to.a * event.clientX + to.c * event.clientY + to.e) / width), clip((to.b * event.clientX + to.d * event.clientY + to.f) / height)];
      place();
      moved(n);
    };
    grip.addEventListener("pointerdown", (event) => {
      grip.setPointerCapture(event.pointerId);
      grip.addEventListener("pointermove", pull);
      event.preventDefault();
    });
    for (const over of ["pointerup", "pointercancel"]) grip.addEventListener(over, () => grip.removeEventListener("pointermove", pull));
    return { knob, label, grip };
  });
  function place() {
    marks.replaceChildren(...places().map(({ across, down }) => svg("circle", { cx: across * width, cy: down * height, r: 0.9, class: "mark-field" })));
    knobs.forEach(({ knob, label, grip }, n) => {
      const [x, y] = [corners[n][0] * width, corners[n][1] * height];
      for (const circle of [knob, grip]) { circle.setAttribute("cx", x); circle.setAttribute("cy", y); }
      label.setAttribute("x", Math.min(width - 16, Math.max(16, x)));
      label.setAttribute("y", n < 2 ? y - 3.5 : y + 6.5);
    });
  }
  place();
  picture.append(image, marks, ...knobs.flatMap(({ knob, label, grip }) => [knob, label, grip]));
  return { picture, place };
}
