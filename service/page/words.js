// The page's words in its reader's language: English stands in the code and is the key, other languages are asked for.
const LANGUAGES = { en: "English", de: "Deutsch", es: "Español" };
const chosen = () => (document.cookie.match(/(?:^|; )language=(\w+)/) || [])[1];
const known = (name) => LANGUAGES[name] && name;

// The page's own words are English so far: what the service says beside them is asked for in English, too, or a reader
// of German would see both on one page.
if (!chosen()) document.cookie = "language=en; path=/; max-age=31536000; samesite=strict";
export const language = known(chosen()) || "en";
let told = {};

// Before anything is drawn. Without a connection the service worker has them from the last time; else it stays English.
export async function loadWords() {
  document.documentElement.lang = language;
  if (language !== "en") told = await fetch(`/words/${language}.json`).then((r) => (r.ok ? r.json() : {})).catch(() => ({}));
}

const filled = (text, places) => text.replace(/\{(\w+)\}/g, (whole, name) => places?.[name] ?? whole);

// t("Save"), t("{n} photos wait", { n: 3 }): the sentence stands there as it is, so that it can be found and translated.
export const t = (text, places) => filled(told[text] ?? text, places);

// tn("{n} photo", "{n} photos", n)
export function tn(one, many, n, places) {
  const forms = told[one] ?? { one, other: many };
  return filled(forms[new Intl.PluralRules(language).select(n)] ?? forms.other, { n, ...places });
}

// A number as the language writes it; in what is sent a point stays a point.
export const number = (value, digits) => value.toLocaleString(language, { minimumFractionDigits: digits, maximumFractionDigits: digits });

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
