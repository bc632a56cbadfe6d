// The page's words in its reader's language: English stands in the code and is the key, other languages are asked for.
const LANGUAGES = { en: "English", de: "Deutsch", es: "Español" };
const known = (name) => (LANGUAGES[name] ? name : undefined);
const kept = known((document.cookie.match(/(?:^|; )language=(\w+)/) || [])[1]);

// What was chosen here, else the first of the browser's own that is spoken: as the service takes it from the same two.
export const language = kept || (navigator.languages || []).map((name) => known(name.split("-")[0].toLowerCase())).find(Boolean) || "en";
let told = {};

// Before any other script of the page runs. Without a connection the service worker has them; else it stays English.
export async function loadWords() {
  document.documentElement.lang = language;
  if (language !== "en") told = await fetch(`/words/${language}.json`).then((r) => (r.ok ? r.json() : {})).catch(() => ({}));
}

// A figure and its % stay on one line.
const filled = (text, places) => text.replace(/\{(\w+)\}/g, (whole, name) => places?.[name] ?? whole).replace(/(\d) %/g, "$1\u00a0%");

// t("Save"), t("{n} photos wait", { n: 3 }): the sentence stands there as it is, so that it can be found and translated.
export const t = (text, places) => filled(told[text] ?? text, places);

// tn("{n} photo", "{n} photos", n)
export function tn(one, many, n, places) {
  const forms = told[one]?.other ? told[one] : { one, other: many };
  return filled(forms[new Intl.PluralRules(language).select(n)] ?? forms.other, { n, ...places });
}

// A number as the language writes it; in what is sent a point stays a point.
export const number = (value, digits) => value.toLocaleString(language, { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false });

// Numbers in a text, or one that stands in a box to be typed over, with the language's own sign.
const POINT = (1.5).toLocaleString(language).charAt(1);
export const decimal = (text) => String(text).replace(/(\d)\.(?=\d)/g, `$1${POINT}`);

// What index.html says itself: elements with data-t, and attributes named in data-t-at ("title aria-label").
export function tellPage(root = document) {
  for (const el of root.querySelectorAll("[data-t]")) el.textContent = t(el.textContent.trim().replace(/\s+/g, " "));
  for (const el of root.querySelectorAll("[data-t-at]")) for (const name of el.dataset.tAt.split(" ")) el.setAttribute(name, t(el.getAttribute(name)));
}

// Kept in a cookie: links to reports and pictures speak it, too.
export function choose(name) {
  document.cookie = `language=${name}; path=/; max-age=31536000; samesite=strict`;
  location.reload();
}
export const languages = Object.entries(LANGUAGES);
