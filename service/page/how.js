// How an entry was read: a page with words beside each picture; a picture is enlarged by a press.
import { call } from "./api.js";
import { $, el } from "./dom.js";
import { circumstances, figures, heading, reasons, shownValue, swatches, verdict } from "./show.js";
import { t } from "./words.js";

const lab = (l) => l && `L ${l[0].toFixed(0)}, a ${l[1].toFixed(0)}, b ${l[2].toFixed(0)}`;

function picture(src, alt, ...words) {
  const image = el("img", { src, alt, loading: "lazy" });
  const press = el("button", { type: "button", class: "picture", "aria-pressed": "false" }, image, el("span", {}, t("Enlarge")));
  press.onclick = () => {
    const large = press.parentElement.classList.toggle("large");
    press.setAttribute("aria-pressed", String(large));
    press.lastChild.textContent = large ? t("Make it fit") : t("Enlarge");
  };
  image.onerror = () => press.replaceWith(el("p", {}, t("This picture can't be had now.")));
  return el("figure", {}, press, el("figcaption", {}, words));
}

function pads(entry) {
  const rows = entry.log.colours;
  if (!rows.length) return null;
  const line = (c, n) => el("li", {}, el("b", {}, t("Pad {n}:", { n: n + 1 })), " ", c.curve_lab ? t("seen {seen}; on the curve at this pH {curve}", { seen: lab(c.seen_lab), curve: lab(c.curve_lab) }) : t("seen {seen}", { seen: lab(c.seen_lab) }));
  return [el("h3", {}, t("Colours (CIELAB)")), swatches(entry), el("ul", { class: "plain" }, rows.map(line))];
}

// Variances by cause: each as its share of the whole.
function budget(entry) {
  const parts = Object.entries(entry.budget || {}).filter(([, size]) => typeof size === "number" && size > 0).sort((a, b) => b[1] - a[1]);
  const whole = parts.reduce((sum, [, size]) => sum + size, 0);
  if (!parts.length) return null;
  const row = ([name, size]) => el("li", {}, `${t(name.replaceAll("_", " "))}: ${Math.round((100 * size) / whole)} %`);
  return [el("h3", {}, t("What makes the interval wide")), el("ul", { class: "plain" }, parts.map(row))];
}

// With what lists leave out; without a connection, what the list said.
const whole = (entry) => call(`/api/readings/${entry.log.id}`).catch(() => entry);

export async function showHow(known, leave) {
  const entry = await whole(known);
  const at = `/api/readings/${entry.log.id}`;
  const [, , range] = figures(entry);
  const refused = entry.status === "refused";
  const value = refused ? t("No value") : shownValue(entry);
  $("how").replaceChildren(
    ...[
      el("div", { class: "row" }, el("h2", { id: "how-title" }, t("How entry {n} was read", { n: entry.log.id })), el("button", { type: "button", onclick: leave }, t("Back"))),
      el("div", { class: "beside" },
        picture(`${at}/overlay`, t("The photo with what was found in it drawn over it; the words beside say the same"),
          el("p", {}, heading(entry)), el("p", { class: "figure" }, value), range && !refused ? el("p", { class: "range" }, range) : null, el("p", {}, verdict(entry)),
          ...circumstances(entry).map((words) => el("p", {}, words)),
          el("p", {}, t("In the picture: what was found of the card, each place that was read in a frame, and the value with its interval."))),
        picture(`${at}/photo`, t("The photo as it was taken"), el("p", {}, t("The photo as it was taken.")), entry.log.note ? el("p", {}, t("Note: {note}", entry.log)) : null)),
      pads(entry),
      budget(entry),
      el("h3", {}, t("What to know")),
      reasons(entry),
    ].flat(3).filter(Boolean),
  );
  $("how").showModal();
}
