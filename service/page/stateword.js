// A state as people see it: its sign and its word in the colour of its tone, all from the one table.
import { el } from "./dom.js";
import { STATES } from "./states.js";
import { t } from "./words.js";

export const stateWord = (kind, code) => ({ ...STATES[kind][code], word: t(STATES[kind][code].word) });
export const signed = (kind, code) => `${stateWord(kind, code).sign} ${stateWord(kind, code).word}`;
export const chip = (kind, code) => el("span", { class: `verdict tone-${stateWord(kind, code).tone}` }, signed(kind, code));
export const heading = (kind, code) => stateWord(kind, code).word.replace(/^./u, (first) => first.toUpperCase());
export const warning = (kind) => `${stateWord("notice", kind).sign} ${heading("notice", kind)}`;

// Words that stand in the page from the beginning: <span data-state="kind code">.
export function nameStates() {
  for (const place of document.querySelectorAll("[data-state]")) {
    const [kind, ...code] = place.dataset.state.split(" ");
    place.textContent = stateWord(kind, code.join(" ")).word;
  }
}
