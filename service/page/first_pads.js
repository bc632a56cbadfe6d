// A strip drawn on its photo in mm from the dipped end, with edges to pull; the same numbers stand in fields below it.
import { el, svg } from "./dom.js";
import { number } from "./fields.js";
import { pulled, toStrip } from "./first_rules.js";
import { decimal, t } from "./words.js";

const AROUND_MM = 3;
const SHOWN_PX = 1600; // the photo's longer side as it is kept for the picture

// The photo, small enough to be kept, and how much smaller: {data, share}.
export async function smallPicture(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const share = Math.min(1, SHOWN_PX / Math.max(picture.width, picture.height));
  const canvas = el("canvas", { width: Math.round(picture.width * share), height: Math.round(picture.height * share) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return { data: canvas.toDataURL("image/jpeg", 0.85), share, width: canvas.width, height: canvas.height };
}

export const addressOf = (data) => URL.createObjectURL(new Blob([Uint8Array.from(atob(data.split(",")[1]), (c) => c.charCodeAt(0))], { type: "image/jpeg" }));

// `strip`: {width, length, outline (px, or null), pads: [{start, end, doubt}]}. `changed()` after each change of a pad.
export function padPicture(strip, photo, changed) {
  const last = Math.max(20, ...strip.pads.map((pad) => pad.end));
  const shown = Math.min(strip.length, last + 4);
  const box = [-AROUND_MM, -AROUND_MM - 1, shown + 2 * AROUND_MM, strip.width + 2 * AROUND_MM + 4];
  const picture = svg("svg", { viewBox: box.join(" "), class: "pads", role: "group", "aria-label": t("The strip, dipped end left, with the edges of its pads; the same numbers stand in the fields below") });
  if (photo && strip.outline?.length === 4) {
    const href = addressOf(photo.data);
    const place = toStrip(strip.outline.map(([x, y]) => [x * photo.share, y * photo.share]), strip.length, strip.width);
    const image = svg("image", { href, width: photo.width, height: photo.height, transform: `matrix(${place.join(" ")})`, preserveAspectRatio: "none" });
    image.addEventListener("load", () => URL.revokeObjectURL(href));
    picture.append(image);
  }
  picture.append(svg("rect", { x: 0, y: 0, width: strip.length, height: strip.width, class: "outline" }));
  const drawn = strip.pads.map((pad, n) => padOf(strip, n, picture, changed));
  picture.append(...drawn.flatMap(({ parts }) => parts));
  return { picture, draw: () => drawn.forEach(({ draw }) => draw()) };
}

function padOf(strip, n, picture, changed) {
  const frame = svg("rect", { y: 0, height: strip.width, class: strip.pads[n].doubt ? "unsure" : "pad" });
  const name = svg("text", { y: -0.8, "text-anchor": "middle" }, strip.pads[n].doubt ? `${n + 1} ?` : `${n + 1}`);
  const handles = ["start", "end"].map((side) => handle(side));
  const y = { start: strip.width + 1.6, end: strip.width + 4.2 }; // apart, so that a finger takes the one that is meant

  function handle(side) {
    const knob = svg("circle", { r: 1.4, class: "knob" });
    const line = svg("line", { y1: 0, class: "edge" });
    const grip = svg("circle", { r: 2.6, class: "grip" });
    const pull = (event) => {
      const at = picture.getScreenCTM().inverse();
      const x = at.a * event.clientX + at.c * event.clientY + at.e;
      strip.pads[n][side] = pulled(strip.pads, n, side, x, strip.length);
      draw();
      changed();
    };
    grip.addEventListener("pointerdown", (event) => {
      grip.setPointerCapture(event.pointerId);
      grip.addEventListener("pointermove", pull);
      event.preventDefault();
    });
    for (const over of ["pointerup", "pointercancel"]) grip.addEventListener(over, () => grip.removeEventListener("pointermove", pull));
    return { side, knob, line, grip };
  }

  function draw() {
    const { start, end } = strip.pads[n];
    frame.setAttribute("x", start);
    frame.setAttribute("width", Math.max(end - start, 0));
    name.setAttribute("x", (start + end) / 2);
    for (const { side, knob, line, grip } of handles) {
      const x = strip.pads[n][side];
      for (const circle of [knob, grip]) { circle.setAttribute("cx", x); circle.setAttribute("cy", y[side]); }
      for (const [key, value] of [["x1", x], ["x2", x], ["y2", y[side]]]) line.setAttribute(key, value);
    }
  }
  draw();
  return { parts: [frame, name, ...handles.flatMap(({ knob, line, grip }) => [line, knob, grip])], draw };
}

// Numbers of every pad, for a keyboard; `tell(text)` is given what can't be read.
export function padFields(strip, changed, tell, redo) {
  const box = (n, side, label) => {
    const input = el("input", { inputmode: "decimal", maxlength: 6, autocomplete: "off", value: decimal(strip.pads[n][side]), "data-pad": n, "data-side": side });
    input.onchange = () => {
      try {
        const value = number(input.value, label);
        if (value !== null) strip.pads[n][side] = value;
        tell("");
        changed();
      } catch (problem) {
        tell(problem.message);
      }
    };
    return el("label", {}, label, input);
  };
  return strip.pads.map((pad, n) =>
    el("fieldset", { class: "padrow" }, el("legend", {}, pad.doubt ? t("Pad {n}: not sure", { n: n + 1 }) : t("Pad {n}", { n: n + 1 })),
      pad.doubt ? el("p", { class: "doubt" }, pad.doubt) : null,
      el("div", { class: "row" }, box(n, "start", t("from, mm")), box(n, "end", t("to, mm")),
        el("button", { type: "button", "aria-label": t("Take out pad {n}", { n: n + 1 }), onclick: () => { strip.pads.splice(n, 1); redo(); } }, "×"))));
}
