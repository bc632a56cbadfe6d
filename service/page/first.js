// The first day: from an empty folder to a first reading in four steps, left and taken up again at any of them.
import { call } from "./api.js";
import { leave } from "./apart.js";
import { el, store } from "./dom.js";
import { cardState, cardStep } from "./first_card.js";
import { learnState, learnStep } from "./first_learn.js";
import { liquidsState, liquidsStep } from "./first_liquids.js";
import { alarm, button, calm, complain, p, remember, said, troubled } from "./first_parts.js";
import { stripState, stripStep } from "./first_strip.js";
import { help } from "./help.js";
import { hearing, real, send, waiting } from "./queue.js";
import { sheet } from "./sheet.js";
import { signed } from "./stateword.js";
import { t } from "./words.js";

const STEPS = [
  { key: "card", title: t("Card"), help: "card", show: cardStep },
  { key: "strip", title: t("Strip"), help: "strip", show: stripStep },
  { key: "liquids", title: t("Liquids"), help: "liquids", show: liquidsStep },
  { key: "learn", title: t("Calibrate"), help: "learn", show: learnStep },
];
let heard = null;

export async function open(box, page) {
  const known = { kinds: [], drafts: [], draft: null, profiles: [] };
  const wrong = alarm(), list = el("ol", { class: "steps" }), lost = el("div", { role: "status", id: "first-lost" }), step = el("section", { class: "step", "aria-labelledby": "first-step-title" });
  let at = null, hear = null, shown = null;

  const kind = () => known.kinds.find((one) => one.name === said().kind) || null;
  const profile = () => known.profiles.find((one) => one.current && (!kind() || one.name === kind().name)) || null;
  const states = () => [cardState(), stripState(kind()), liquidsState(known.draft), learnState(profile(), known.draft)];

  // What the bench computer has; without a connection, what was known stays.
  async function refresh() {
    try {
      [known.kinds, known.drafts, known.profiles] = await Promise.all(["/api/strip-kinds", "/api/calibrations", "/api/profiles"].map((path) => call(path)));
      if (!said().kind && known.kinds.length) remember({ kind: known.kinds[0].name }); // begun on another phone
      const mine = known.drafts.find((one) => one.id === real(said().draft)) || known.drafts.find((one) => one.kind.name === said().kind && same(one.kind, kind()));
      known.draft = mine ? await call(`/api/calibrations/${mine.id}`) : null;
      store.set("first-known", known);
      calm(wrong);
    } catch (problem) {
      if (problem.status === undefined) throw problem;
      complain(wrong, problem);
      Object.assign(known, store.get("first-known", {}));
    }
    told();
  }

  // The draft that photos go to, begun with the first of them: its number, or without a connection its local key.
  async function begun() {
    if (known.draft) return known.draft.id;
    if (waiting().some((item) => item.makes && item.makes === said().draft)) return said().draft;
    const { name, width_mm, length_mm, pads, range, read_after_s } = kind();
    const table = { name, width_mm, length_mm, pads, range, ...(read_after_s ? { read_after_s } : {}) };
    const { answer, makes } = await send({ what: "draft", path: "/api/calibrations", body: { name, kind: table }, words: t("Calibration of {name}", { name }), soon_ms: 15000 });
    remember({ draft: answer ? answer.id : makes });
    if (answer) await refresh();
    return said().draft;
  }

  function told() {
    const now = states();
    const as = JSON.stringify([now, at, kind()?.name, waiting().map((item) => [item.key, item.trouble])]);
    if (as === shown) return; // somebody may be on one of its buttons
    shown = as;
    lost.replaceChildren(...troubled(told));
    list.replaceChildren(...STEPS.map(({ key, title }, n) => {
      const open_ = n < 2 || kind();
      const words = `${signed("step", now[n].done ? "done" : "wanted")}: ${now[n].words}`;
      return el("li", {}, button(`${n + 1} ${title}`, () => go(n), { id: `step-${key}`, "aria-current": n === at ? "step" : null, disabled: !open_ }), el("span", { class: "meta" }, words));
    }));
  }

  async function go(n, focus = true) {
    at = n;
    remember({ at: STEPS[n].key });
    told();
    const { title, help: topic, show } = STEPS[n];
    const inner = el("div", {}), head = el("h2", { id: "first-step-title", tabindex: -1 }, `${n + 1} ${title}`);
    step.replaceChildren(el("div", { class: "head" }, head, help(topic)), inner);
    hear = null;
    if (focus) { head.focus({ preventScroll: true }); step.scrollIntoView({ block: "start" }); }
    hear = await show(inner, screen);
  }

  const screen = {
    limit: () => page.about().max_body - 65536,
    kinds: () => known.kinds, kind, draft: () => known.draft, profiles: () => known.profiles, profile,
    refresh, told, begun,
    back: () => go(at - 1),
    next: () => go(Math.min(at + 1, STEPS.length - 1)),
    goOn: (words) => el("div", { class: "row" }, button(words, screen.next, { class: "main", id: "go-on" })),
    firstBatch: async () => { leave(); await page.refresh(); page.newBatch(); },
  };

  box.setAttribute("aria-labelledby", "first-title");
  box.replaceChildren(
    el("div", { class: "head" }, el("h1", { id: "first-title", tabindex: -1 }, t("First day")), button(t("Leave for now"), leave, { id: "first-leave" })),
    p(t("From a printed card to a first reading, in about an hour. What is done stays done: leave it and go on whenever you like.")),
    list, wrong, lost, step);
  sheet("/first.css");
  hearing.delete(heard);
  heard = (news) => {
    if (!box.isConnected || (news.answer === undefined && !news.refused)) return;
    setTimeout(told, 300); // once whoever waited for it has taken it back
    hear?.(news);
  };
  hearing.add(heard);
  await refresh();
  const first = states().findIndex((state) => !state.done);
  const begunAt = STEPS.findIndex(({ key }) => key === said().at);
  await go(begunAt >= 0 && (begunAt < 2 || kind()) ? begunAt : first < 0 ? 3 : Math.min(first, kind() ? 3 : 1), false);
  box.querySelector("h1").focus({ preventScroll: true });
  scrollTo(0, 0);
}

// The same strip, however its numbers are written.
const same = (a, b) => Boolean(b) && JSON.stringify([a.width_mm, a.length_mm, a.pads, a.range]) === JSON.stringify([b.width_mm, b.length_mm, b.pads, b.range]);
