// Benches beside each other: named, shut, given links for their phones, tokens for their programs, profiles and batches.
import { call } from "./api.js";
import { leave } from "./apart.js";
import { ask } from "./ask.js";
import { el } from "./dom.js";
import { alarm, button, calm, complain, p } from "./first_parts.js";
import { sheet } from "./sheet.js";
import { shownAt } from "./time.js";
import { t, tn } from "./words.js";

export async function open(box, page) {
  const wrong = alarm(), list = el("div", { id: "bench-list" });

  async function load() {
    try {
      const found = await call("/api/benches");
      const working = found.filter((bench) => bench.revoked_at === null);
      const ended = found.filter((bench) => bench.revoked_at !== null);
      list.replaceChildren(...working.map(row), ...ended.map(shut));
      if (!found.length) list.replaceChildren(p(t("There are no benches: whoever joined sees all.")));
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

  const name = (title, value, then) => ask(title, [{ name: "name", label: t("Name"), required: true, max: 60, value }], async (said) => { await then(said); await load(); });
  const facts = (bench) => p([tn("{n} batch", "{n} batches", bench.batches), tn("{n} phone", "{n} phones", bench.phones), shownAt(bench.made_at)].join(" · "), { class: "meta" });
  const shut = (bench) => el("section", { class: "profile", "aria-label": bench.name }, el("h2", {}, bench.name), p(t("Revoked {when}; its batches are kept.", { when: shownAt(bench.revoked_at) })), facts(bench));

  function row(bench) {
    const path = `/api/benches/${bench.id}`;
    const secret = el("div", { role: "status" });
    const of = (words) => ({ "aria-label": `${words}: ${bench.name}` });
    const doing = (words, then) => button(words, then, of(words));
    const tokens = bench.tokens.map((token) => el("li", {}, t("Token {n}, since {when}", { n: token.id, when: shownAt(token.made_at) }), " ", button(t("End it"), () => act(() => call(`${path}/tokens/${token.id}`, "DELETE")), { "aria-label": t("End token {n}", { n: token.id }) })));
    return el("section", { class: "profile", "aria-label": bench.name }, el("h2", {}, bench.name), facts(bench),
      p(bench.profiles.length ? t("Reads with: {names}", { names: bench.profiles.join(", ") }) : t("No profile was handed to it: it reads no strips.")),
      el("div", { class: "row wrap" },
        doing(t("Join its phones"), () => shown(secret, () => call(`${path}/link`, "POST", {}), link)),
        doing(t("New token"), () => shown(secret, () => call(`${path}/tokens`, "POST", {}), token)),
        doing(t("Its profiles"), () => profiles(bench, path)),
        doing(t("Give it a batch"), () => give(path)),
        doing(t("Rename"), () => name(t("Rename"), bench.name, (said) => call(path, "PATCH", said))),
        doing(t("Revoke"), () => ask(t("Revoke {name}? Its phones and programs are shut out at once; its batches stay.", bench), [], async () => { await call(path, "DELETE"); await load(); }))),
      secret, tokens.length ? el("ul", { class: "plain" }, tokens) : null);
  }

  // A secret is told this once: it stays until the list is drawn again.
  async function shown(into, make, tell) {
    try {
      into.replaceChildren(...tell(await make()));
      calm(wrong);
    } catch (problem) {
      complain(wrong, problem);
    }
  }
  const once = () => p(t("It is shown this once; making a new one is easy."), { class: "meta" });
  function link(made) {
    const picture = URL.createObjectURL(new Blob([made.qr_svg], { type: "image/svg+xml" }));
    return [p(t("Scan this with the phone's camera. It lets in {n} phones within {hours} hours; the earlier link ended.", { n: made.joins_left, hours: Math.round(made.hours) })),
      el("img", { src: picture, width: 300, height: 300, alt: t("Code with the link to join"), onload: () => URL.revokeObjectURL(picture) }), p(made.link, { class: "secret" }), once()];
  }
  const token = (made) => [p(t("A program sends it with each request, as: Authorization: Bearer")), p(made.token, { class: "secret" }), once()];

  function profiles(bench, path) {
    const known = [...new Set([...page.about().profiles.map((one) => one.name), ...bench.profiles])];
    const ticks = known.map((one, n) => ({ name: `p${n}`, type: "checkbox", label: one, checked: bench.profiles.includes(one) }));
    ask(t("Profiles that {name} may read with", bench), ticks, async (said) => { await call(path, "PATCH", { profiles: known.filter((one, n) => said[`p${n}`]) }); await load(); });
  }

  async function give(path) {
    try {
      const mine = (await call("/api/batches?limit=200")).filter((batch) => batch.bench === null);
      if (!mine.length) return complain(wrong, { message: t("Every batch is a bench's already.") });
      return ask(t("Give it a batch"), [{ name: "batch", label: t("Batch"), options: mine.map((batch) => [String(batch.id), batch.name]), value: String(mine[0].id) }], async (said) => { await call(`${path}/batches/${said.batch}`, "PUT"); await load(); await page.refresh(); });
    } catch (problem) {
      return complain(wrong, problem);
    }
  }

  box.setAttribute("aria-labelledby", "benches-title");
  box.replaceChildren(
    el("div", { class: "head" }, el("h1", { id: "benches-title", tabindex: -1 }, t("Benches")), button(t("Back"), leave)),
    p(t("Each bench sees its own batches, on its phones and by its programs. This computer sees all, and so do phones that joined without a bench.")),
    wrong, list, el("div", { class: "row" }, button(t("New bench"), () => name(t("New bench"), "", (said) => call("/api/benches", "POST", said)))));
  sheet("/first.css");
  await load();
  box.querySelector("h1").focus({ preventScroll: true });
  scrollTo(0, 0);
}
