// How an entry was read: a page with words beside each picture; a picture is enlarged by a press.
import { call } from "./api.js";
import { $, el } from "./dom.js";
import { circumstances, figures, heading, reasons, swatches, verdict } from "./show.js";

const lab = (l) => l && `L ${l[0].toFixed(0)}, a ${l[1].toFixed(0)}, b ${l[2].toFixed(0)}`;

function picture(src, alt, ...words) {
  const image = el("img", { src, alt, loading: "lazy" });
  const press = el("button", { type: "button", class: "picture", "aria-pressed": "false" }, image, el("span", {}, "Enlarge"));
  press.onclick = () => {
    const large = press.parentElement.classList.toggle("large");
    press.setAttribute("aria-pressed", String(large));
    press.lastChild.textContent = large ? "Make it fit" : "Enlarge";
  };
  image.onerror = () => press.replaceWith(el("p", {}, "This picture can't be had now."));
  return el("figure", {}, press, el("figcaption", {}, words));
}

function pads(entry) {
  const rows = entry.log.colours;
  if (!rows.length) return null;
  const line = (c, n) => el("li", {}, el("b", {}, `Pad ${n + 1}: `), `seen ${lab(c.seen_lab)}`, c.curve_lab ? `; on the curve at this pH ${lab(c.curve_lab)}` : "");
  return [el("h3", {}, "Colours (CIELAB)"), swatches(entry), el("ul", { class: "plain" }, rows.map(line))];
}

// Variances by cause: each as its share of the whole.
function budget(entry) {
  const parts = Object.entries(entry.budget || {}).filter(([, size]) => typeof size === "number" && size > 0).sort((a, b) => b[1] - a[1]);
  const whole = parts.reduce((sum, [, size]) => sum + size, 0);
  if (!parts.length) return null;
  const row = ([name, size]) => el("li", {}, `${name.replaceAll("_", " ")}: ${Math.round((100 * size) / whole)} %`);
  return [el("h3", {}, "What makes the interval wide"), el("ul", { class: "plain" }, parts.map(row))];
}

// With what lists leave out; without a connection, what the list said.
const whole = (entry) => call(`/api/readings/${entry.log.id}`).catch(() => entry);

export async function showHow(known, leave) {
  const entry = await whole(known);
  const at = `/api/readings/${entry.log.id}`;
  const [figure, unit, range] = figures(entry);
  const refused = entry.status === "refused";
  const value = refused ? "No value" : `${unit === "pH" ? "pH " : ""}${figure}${unit && unit !== "pH" ? ` ${unit}` : ""}`;
  $("how").replaceChildren(
    ...[
      el("div", { class: "row" }, el("h2", { id: "how-title" }, `How entry ${entry.log.id} was read`), el("button", { type: "button", onclick: leave }, "Back")),
      el("div", { class: "beside" },
        picture(`${at}/overlay`, "The photo with what was found in it drawn over it; the words beside say the same",
          el("p", {}, heading(entry)), el("p", { class: "figure" }, value), range && !refused ? el("p", { class: "range" }, range) : null, el("p", {}, verdict(entry)),
          ...circumstances(entry).map((words) => el("p", {}, words)),
          el("p", {}, "In the picture: what was found of the card, each place that was read in a frame, and the value with its interval.")),
        picture(`${at}/photo`, "The photo as it was taken", el("p", {}, "The photo as it was taken."), entry.log.note ? el("p", {}, `Note: ${entry.log.note}`) : null)),
      pads(entry),
      budget(entry),
      el("h3", {}, "What to know"),
      reasons(entry),
    ].flat(3).filter(Boolean),
  );
  $("how").showModal();
}
