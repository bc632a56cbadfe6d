// What a strip beside the sample lies in: named in the reader's language, sent by the service's own names.
import { $, el } from "./dom.js";
import { decimal, t } from "./words.js";

const NAMES = { "rinse water": t("rinse water"), water: t("water"), phthalate: t("phthalate"), phosphate: t("phosphate"), borax: t("borax"), carbonate: t("carbonate") };
const BUFFERS = ["phthalate", "phosphate", "borax", "carbonate"];
const OFFERED = ["water", "phosphate 22 C", "phthalate 22 C", "borax 22 C", "7.0"];

const name = (word) => [...new Set([word, NAMES[word]])].map((one) => `[${one[0].toUpperCase()}${one[0].toLowerCase()}]${one.slice(1)}`).join("|");
const PATTERN = `((pH ?)?(\\d|1[0-3])([.,]\\d{1,4})?|(pH ?)?14([.,]0{1,4})?|${name("rinse water")}|${name("water")}|(${BUFFERS.map(name).join("|")}) \\d{1,2}([.,]\\d+)? ?°?[Cc]?)`;

export function nameLiquids() {
  $("beside").pattern = PATTERN;
  $("liquids").replaceChildren(...OFFERED.map((liquid) => el("option", { value: liquidWords(liquid) })));
}

// The service's name for what was typed; a number keeps its sign.
export function liquidCode(typed) {
  const found = Object.entries(NAMES).find(([, own]) => typed.toLowerCase().startsWith(own.toLowerCase()));
  const text = found ? found[0] + typed.slice(found[1].length) : typed;
  return BUFFERS.some((buffer) => text.toLowerCase().startsWith(buffer)) ? text.replace(/(\d),(?=\d)/, "$1.") : text;
}

// A liquid by the service's name, as the reader names it.
export function liquidWords(code) {
  const found = Object.keys(NAMES).find((one) => code.toLowerCase().startsWith(one));
  return decimal(found ? NAMES[found] + code.slice(found.length) : code);
}
