// The phones that took the photos, and the names that their user gives them.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { el } from "./dom.js";
import { sheet } from "./sheet.js";
import { t, tn } from "./words.js";

export async function phones(box, changed) {
  sheet();
  const found = await call("/api/phones");
  const name = (phone) =>
    ask(`${t("What is this phone called?")} ${phone.make} ${phone.model}`, [{ name: "name", label: t("Name (empty: make and model)"), value: phone.name || "", max: 60 }], async (said) => {
      await call(`/api/phones/${phone.id}`, "PATCH", said);
      await changed();
      await phones(box, changed);
    });
  const list = el(
    "ul",
    { class: "found" },
    found.map((phone) =>
      el("li", {}, el("b", {}, phone.label), el("p", { class: "meta" }, `${phone.make} ${phone.model} · ${tn("{n} photo", "{n} photos", phone.photos)}`), el("button", { type: "button", onclick: () => name(phone) }, t("Name it"))),
    ),
    el("li", {}, el("p", {}, t("A photo that does not say which phone took it is shown as of an unknown phone."))),
  );
  const old = box.querySelector("ul.found");
  if (old) old.replaceWith(list);
  else box.append(list);
}
