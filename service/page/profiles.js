// Profiles: versions by name, which one is read with, files in and out, and control strips.
import { call } from "./api.js";
import { leave } from "./apart.js";
import { el, options, svg } from "./dom.js";
import { field, number } from "./fields.js";
import { alarm, button, calm, camera, complain, p, refuse, sendPhotoOf, spoken } from "./first_parts.js";
import { help } from "./help.js";
import { send } from "./queue.js";
import { sheet } from "./sheet.js";
import { signed } from "./stateword.js";
import { shownAt } from "./time.js";
import { number as figure, t, tn } from "./words.js";

const ORIGINS = { calibrated: t("calibrated here"), imported: t("imported"), given: t("given at the start") };

export async function open(box, page) {
  const wrong = alarm(), status = spoken(), list = el("div", { id: "profile-list" });
  const limit = () => page.about().max_body - 65536;
  let liquids = [];

  async function load() {
    try {
      const [profiles, found] = await Promise.all([call("/api/profiles"), call("/api/liquids")]);
      liquids = found;
      list.replaceChildren(...profiles.map(row));
      if (!profiles.length) list.replaceChildren(p(t("There is no profile yet.")));
      calm(wrong);
    } catch (problem) {
      complain(wrong, problem);
    }
  }

  const act = async (change) => {
    try {
      await change();
      await load();
      await page.refresh();
    } catch (problem) {
      complain(wrong, problem);
    }
  };

  function row(profile) {
    const controls = el("details", {}, el("summary", {}, `${t("Control strips")}: ${profile.controls}`));
    controls.addEventListener("toggle", () => controls.open && controls.children.length === 1 && check(controls, profile));
    return el("section", { class: "profile", "aria-label": t("{name}, version {version}", profile) },
      el("h2", {}, t("{name}, version {version}", profile)),
      p(`${signed("profile", profile.current ? "current" : "kept")} · ${ORIGINS[profile.origin]} · ${shownAt(profile.at)}`),
      el("div", { class: "row wrap" },
        profile.current ? null : button(t("Read with this one"), () => act(() => send({ what: "current", path: `/api/profiles/${profile.id}/current`, body: {}, words: t("Read with {name}, version {version}", profile) })), { "aria-label": `${t("Read with this one")}: ${t("{name}, version {version}", profile)}` }),
        el("a", { class: "button", href: `/api/profiles/${profile.id}/file`, download: `profile-${profile.id}.toml` }, t("Export"))),
      controls);
  }

  // A control strip: what it lies in, its photo, and where it and those before it stand.
  async function check(into, profile) {
    const trouble = alarm(), told = el("div"), busy = spoken();
    const which = el("select", { "aria-label": t("Liquid") });
    options(which, [["", t("pH on a label")], ...liquids.map((liquid) => [liquid.key, liquid.name])], "");
    const ph = field({ name: "ph", label: "pH", mode: "decimal", max: 5 }), warm = field({ name: "warm", label: t("Temperature, °C"), mode: "decimal", max: 5, value: "20" });
    const shown = () => { ph.hidden = which.value !== ""; warm.hidden = which.value === ""; };
    which.onchange = shown;
    shown();

    function tell(chart) {
      told.replaceChildren(chart.points.length ? lines(chart) : p(t("No control strip was read with it yet.")),
        el("ul", { class: "plain" }, chart.points.slice(-5).reverse().map((point) => el("li", {}, t("{when}, {liquid}: pH {ph}, read {read}", { when: shownAt(point.at), liquid: point.liquid, ph: figure(point.ph, 2), read: point.read === null ? "–" : figure(point.read, 2) }), " ", el("b", {}, signed("control", point.where)),
          ...point.reasons.filter((reason) => point.read === null || reason.severity !== "note").map((reason) => p(reason.message, { class: "meta" }))))));
    }

    async function take(file) {
      calm(trouble);
      try {
        const body = which.value ? { liquid: which.value, temperature_c: number(warm.querySelector("input").value) } : { ph: number(ph.querySelector("input").value, "pH") };
        if (!which.value && body.ph === null) throw new Error(t("Say the pH of the liquid first."));
        const chart = await sendPhotoOf({ file, status: busy, limit: limit(), what: "control", path: `/api/profiles/${profile.id}/check`, body, words: t("Control strip for {name}", profile) });
        if (chart) tell(chart);
      } catch (problem) {
        if (problem.status === 422) refuse(trouble, [problem.message]);
        else complain(trouble, problem);
      }
    }

    into.append(el("div", { class: "form" }, el("label", {}, t("What the strip was dipped in"), which), ph, warm), camera(`control-${profile.id}`, t("Photograph the strip"), t("the control strip"), take), busy, trouble, told);
    try {
      tell(await call(`/api/profiles/${profile.id}/checks`));
    } catch (problem) {
      complain(trouble, problem);
    }
  }

  const file = el("input", { type: "file", id: "profile-import", class: "unseen", accept: ".toml", onchange: (event) => {
    const [photo] = event.target.files;
    event.target.value = "";
    if (photo) act(() => sendPhotoOf({ file: photo, status, limit: 0, what: "profile", path: "/api/profiles", body: {}, file_field: "profile", words: t("Profile's file: {name}", photo) }));
  } });
  box.setAttribute("aria-labelledby", "profiles-title");
  box.replaceChildren(
    el("div", { class: "head" }, el("h1", { id: "profiles-title", tabindex: -1 }, t("Profiles")), help("profiles"), button(t("Back"), leave)),
    wrong, status, list, el("div", { class: "row wrap" }, el("label", { class: "button" }, file, el("span", {}, t("Import a file"))), el("a", { class: "button", href: "#first-day" }, t("Calibrate a strip"))));
  sheet("/first.css");
  await load();
  box.querySelector("h1").focus({ preventScroll: true });
  scrollTo(0, 0);
}

// Errors in their own deviations over time, with the lines of warning and action.
function lines({ points, warning, action }) {
  const seen = points.filter((point) => point.deviations !== null).slice(-20);
  const y = (value) => 60 - (Math.max(-action - 1, Math.min(action + 1, value)) * 50) / (action + 1);
  const level = (value, cls) => svg("line", { x1: 0, x2: 300, y1: y(value), y2: y(value), class: cls });
  return svg("svg", { viewBox: "0 0 300 120", class: "wide", role: "img", "aria-label": tn("{n} control strip, its error in standard deviations; the list below says the same", "{n} control strips, their errors in standard deviations; the list below says the same", seen.length) },
    level(0, "line"), ...[warning, -warning].map((value) => level(value, "dashes")), ...[action, -action].map((value) => level(value, "thick")),
    ...seen.map((point, n) => svg("circle", { cx: (300 * (n + 1)) / (seen.length + 1), cy: y(point.deviations), r: 5, class: "full" })));
}
