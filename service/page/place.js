// Where this page stands: at which bench, on a connection without encryption, in the demo, or beside it.
import { call } from "./api.js";
import { $, el, store } from "./dom.js";
import { t } from "./words.js";

export function place(about) {
  const lines = [];
  if (about.demo) lines.push(el("p", {}, t("This is the made-up workshop. Nothing here is in your own log.")));
  if (about.bench) lines.push(el("p", {}, t("Bench {name}: its own batches are shown.", about.bench)));
  $("strips").hidden = $("phones").hidden = Boolean(about.bench); // those are the keeper's
  forget(about.bench ? about.bench.id : null);
  // On the bench computer itself nobody listens in between, and the browser knows that.
  if (about.trust && !isSecureContext)
    lines.push(el("p", {}, t("Not encrypted: others on this Wi-Fi can read along, and here the page needs a connection to open and has no live picture of the camera."), " ", el("a", { href: "/trust" }, t("Encrypt it"))));
  $("place").replaceChildren(...lines);
  $("place").hidden = !lines.length;
  if (about.local && !about.demo && !$("demo")) $("backup").before(demo());
}

// What this phone kept of batches goes when it becomes another bench's.
function forget(bench) {
  if (bench === store.get("bench")) return;
  store.set("bench", bench);
  for (const key of store.keys()) if (key.startsWith("log-")) store.set(key, null);
}

const later = (ms) => new Promise((done) => setTimeout(done, ms));

// A service of its own with a folder of its own: it can't mix with the log.
function demo() {
  const said = el("p", { role: "status" });
  const start = el("button", { type: "button" }, t("Start the demo"));
  start.onclick = async () => {
    start.disabled = true;
    said.textContent = t("It reads its photos, which takes a minute the first time.");
    try {
      let now = await call("/api/demo", "POST");
      while (now.state === "starting") {
        await later(1000);
        now = await call("/api/demo");
      }
      if (now.url) said.replaceChildren(el("a", { class: "button", href: now.url, target: "_blank", rel: "noopener" }, t("Open the demo")));
      else said.textContent = t("It did not start. Type: stripread serve --demo");
    } catch (problem) {
      said.textContent = problem.message;
    }
    start.disabled = false;
  };
  return el("details", { id: "demo" }, el("summary", {}, t("Made-up workshop")), el("p", {}, t("A batch from wet chloride to weighed silver, to look at and try things on. It has a folder of its own.")), start, said);
}
