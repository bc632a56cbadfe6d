// The fourth step: the curve worked out on the bench computer, how well it reads, and the way to the first reading.
import { call } from "./api.js";
import { el } from "./dom.js";
import { curve } from "./first_curve.js";
import { alarm, button, calm, complain, items, p, spoken } from "./first_parts.js";
import { send } from "./queue.js";
import { chip } from "./stateword.js";
import { t } from "./words.js";

const LOOK_MS = 1500;
const MEANS = {
  good: t("Readings with it can be relied on within their interval."), fair: t("It can be worked with; the intervals are wider."),
  poor: t("Better than nothing: its readings are rough. More photos make it better."), unproven: t("It was never tested by a photo: it rests on the chart alone."),
};

export const learnState = (profile, draft) => ({ done: Boolean(profile), words: profile ? t("{name}, version {version}", profile) : draft?.run?.state === "running" ? t("under way") : t("the curve worked out") });

export function learnStep(box, screen) {
  const status = spoken(), wrong = alarm(), at = el("div", { id: "learned" }), bar = el("progress", { max: 100, "aria-label": t("Working out the curve") });
  const go = button(t("Work out the curve"), start, { class: "main", id: "learn" });
  const stop = button(t("Cancel"), cancel, { id: "learn-cancel" });
  let timer = null;

  async function start() {
    calm(wrong);
    go.disabled = true;
    try {
      const { answer } = await send({ what: "run", path: `/api/calibrations/${screen.draft().id}/run`, body: {}, words: t("Work out the curve"), soon_ms: 20000 });
      if (!answer) complain(wrong, { status: 0 });
    } catch (problem) {
      complain(wrong, problem);
    }
    await look();
  }

  async function cancel() {
    stop.disabled = true;
    await call(`/api/calibrations/${screen.draft().id}/cancel`, "POST", {}).catch((problem) => complain(wrong, problem));
    stop.disabled = false;
    await look();
  }

  async function look() {
    clearTimeout(timer);
    if (!box.isConnected) return;
    await screen.refresh();
    const run = screen.draft()?.run;
    const running = run?.state === "running";
    bar.hidden = stop.hidden = !running;
    go.disabled = running || !(screen.draft()?.photos.length || screen.draft()?.chart?.length);
    if (running) {
      const { stage, done, of } = run.progress || {};
      const photos = stage === "photos";
      if (photos) bar.value = (70 * done) / of;
      else bar.removeAttribute("value");
      status.textContent = photos ? t("Photo {n} of {all} is measured.", { n: done + 1, all: of }) : stage ? t("The curve is fitted.") : t("It begins.");
      timer = setTimeout(look, LOOK_MS);
    } else status.textContent = run && run.state !== "done" ? run.why || t("It was cancelled.") : "";
    tell();
  }

  function tell() {
    const draft = screen.draft(), result = draft?.result;
    if (!draft?.photos.length && !draft?.chart?.length) return at.replaceChildren(p(t("There are no photos yet: go back to the liquids.")));
    if (!result) return at.replaceChildren();
    if (at.dataset.run === `${result.run}-${result.stale}-${screen.profile()?.sha256}`) return;
    at.dataset.run = `${result.run}-${result.stale}-${screen.profile()?.sha256}`;
    const mine = screen.profiles().find((one) => one.sha256 === result.profile_sha256);
    at.replaceChildren(
      el("h3", {}, t("This calibration:"), " ", chip("grade", result.verdict)), p(MEANS[result.verdict]),
      result.stale ? p(t("Photos were changed since: work it out again."), { class: "doubt" }) : "",
      result.mixed_up.length ? items(result.mixed_up, { class: "doubts" }) : "",
      curve(result.evidence),
      result.would_help.length ? el("div", {}, p(t("What would help most:")), items(result.would_help), el("div", { class: "row" }, button(t("Back to the liquids"), screen.back))) : "",
      el("details", {}, el("summary", {}, t("The whole report")), el("pre", { class: "report", tabindex: 0 }, result.report)),
      mine?.current ? el("div", {}, p(t("Strips are read with it now: {name}, version {version}.", mine), { id: "is-current" }), el("div", { class: "row" }, button(t("Begin the first batch"), screen.firstBatch, { class: "main", id: "first-batch" })))
        : mine ? el("div", { class: "row" }, button(t("Read with version {version} from now on", mine), () => choose(mine), { class: "main" })) : "");
  }

  async function choose(profile) {
    await send({ what: "current", path: `/api/profiles/${profile.id}/current`, body: {}, words: t("Read with {name}, version {version}", profile) }).catch((problem) => complain(wrong, problem));
    await look();
  }

  box.replaceChildren(p(t("The bench computer measures every photo and fits the curve: some seconds to some minutes. You can leave this page meanwhile.")), el("div", { class: "row" }, go, stop), bar, status, wrong, at);
  bar.hidden = stop.hidden = true;
  look();
  return (news) => news.what === "run" && look();
}
