// The first step: a card printed, measured with a ruler, and judged from a photo.
import { el, store } from "./dom.js";
import { field, number } from "./fields.js";
import { calm, camera, complain, alarm, p, refuse, remember, said, sendPhotoOf, spoken, waitingHere } from "./first_parts.js";
import { chip, signed, stateWord } from "./stateword.js";
import { t } from "./words.js";

const HELD = "first-card"; // the verdict, as the bench computer gave it

export const judged = () => { const held = store.get(HELD); return held?.verdict ? held : null; };

export const cardState = () => ({ done: ["ok", "look_twice"].includes(judged()?.verdict), words: judged() ? stateWord("print", judged().verdict).word : t("a printed card, judged from a photo") });

export function cardStep(box, screen) {
  const status = spoken(), wrong = alarm(), verdict = el("div", { id: "card-verdict" });
  const download = el("a", { class: "button", id: "card-pdf", target: "_blank", rel: "noopener" }, t("Download the card"));
  const paper = field({ name: "paper", label: t("Paper"), options: [["a4", "A4"], ["letter", t("US Letter")]], value: said().paper || "a4" });
  const choose = () => { remember({ paper: paper.querySelector("select").value }); download.href = `/api/card.pdf?paper=${said().paper}`; };
  paper.onchange = choose;
  const measured = field({ name: "measured", label: t("Length of the bar by your ruler, mm"), mode: "decimal", max: 6, value: said().measured });
  measured.oninput = () => remember({ measured: measured.querySelector("input").value });

  async function take(file) {
    calm(wrong);
    let length;
    try {
      length = number(said().measured, t("Length of the bar"));
    } catch (problem) {
      return complain(wrong, problem);
    }
    try {
      await sendPhotoOf({ file, status, limit: screen.limit(), what: "card", path: "/api/card/judge", body: { measured_mm: length }, words: t("Photo of the printed card"), holds: HELD });
    } catch (problem) {
      complain(wrong, problem);
    }
    tell();
  }

  function tell() {
    const held = store.get(HELD);
    verdict.replaceChildren();
    if (!held) return verdict.append(waitingHere("card") || "");
    if (!held.verdict) return refuse(wrong, held.reasons.map((reason) => reason.message));
    verdict.append(
      el("h3", {}, t("This print:"), " ", chip("print", held.verdict)), p(held.message),
      el("ul", { class: "checks" }, held.checks.map((check) => el("li", {}, el("b", {}, `${signed("check", check.state)}: `), check.message))));
    if (cardState().done) verdict.append(screen.goOn(t("Go on to the strip")));
    screen.told();
  }

  choose();
  box.replaceChildren(
    p(t("Print it in colour at 100 %, not fitted to the page, on matt paper.")), el("div", { class: "form" }, paper, download, measured),
    p(t("Lay the card flat, with nothing on it, and photograph it from straight above.")),
    camera("card-photo", t("Photograph the card"), t("the printed card"), take), status, wrong, verdict);
  tell();
  return (news) => news.what === "card" && tell();
}
