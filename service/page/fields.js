// Fields of a form, for the dialog and the calculators alike: text, choice, tick, amount with its unit, range.
import { el, store } from "./dom.js";
import { decimal, t } from "./words.js";

export const MASS = [["g", "g"], ["kg", "kg"], ["avoirdupois_ounce", t("oz (kitchen)")], ["lb", "lb"], ["troy_ounce", "troy oz"]];
export const VOLUME = [["l", "L"], ["ml", "mL"], ["us fl oz", "US fl oz"], ["us qt", "US qt"], ["us gal", "US gal"], ["uk pint", "UK pint"], ["uk gal", "UK gal"]];
export const TIME = [["hour", t("hours")], ["min", t("minutes")], ["day", t("days")]];
export const WARMTH = [["degC", "°C"], ["degF", "°F"]];
export const SMALL = [["ml", "mL"], ["l", "L"]];
export const SIDE = [["acid", t("acid")], ["lye", t("lye")]];

let count = 0;
const choices = (options, value) => options.map(([v, text]) => el("option", { value: v, selected: v === value }, text));
const box = (f, more) => el("input", { name: f.name, value: f.value ?? "", required: f.required, maxlength: f.max || 200, inputmode: f.mode, autocomplete: "off", ...more });

// `f`: {name, label, value, required, max, mode} and, for other kinds, {type: "checkbox"}, {options}, {units, unit} or {range}.
export function field(f) {
  if (f.type === "checkbox") return el("label", { class: "check" }, el("input", { type: "checkbox", name: f.name, checked: f.checked }), f.label);
  if (f.options) return el("label", {}, f.label, el("select", { name: f.name }, choices(f.options, f.value)));
  if (f.range !== undefined) {
    const ends = [[f.name, "from", t("from")], [`${f.name}_to`, "to", t("to")]];
    const parts = ends.map(([name, end, word]) => el("label", {}, word, box({ name, mode: "decimal", max: 12, value: f[end] }, { "aria-label": `${f.label}, ${word}` })));
    return el("fieldset", { class: "ends" }, el("legend", {}, f.label), el("div", { class: "row" }, parts));
  }
  if (f.vessel || f.batch) return byName(f);
  if (!f.units) return el("label", {}, f.label, box(f));
  const id = `field-${(count += 1)}`;
  const unit = f.unit || store.get(`unit-${f.units[0][0]}`, f.units[0][0]); // the one used last for this kind of amount
  const remember = (event) => store.set(`unit-${f.units[0][0]}`, event.target.value);
  return el(
    "div",
    { class: "field" },
    el("label", { for: id }, f.label),
    el("div", { class: "row" }, box({ mode: "decimal", ...f }, { id }), el("select", { name: `${f.name}_unit`, class: "unit", "aria-label": t("Unit of: {what}", { what: f.label }), onchange: remember }, choices(f.units, unit))),
  );
}

// A box for a vessel's name or a batch's number: those that are known are offered; a photo of a vessel's label fills it in.
function byName(f) {
  const id = `offered-${(count += 1)}`;
  const input = box({ mode: f.batch && "numeric", ...f }, { list: id });
  const whole = el("div", {}, el("label", {}, f.label, input), el("datalist", { id }));
  import("./label.js").then(
    ({ fillByLabel, offered }) => {
      if (f.vessel) whole.append(fillByLabel(input, f.label));
      offered(f).then((names) => whole.querySelector("datalist").replaceChildren(...names.map(([value, text]) => el("option", { value }, text))));
    },
    () => {}, // it is typed then
  );
  return whole;
}

// Shows fields that are asked for only where another one says so, and hides them elsewhere: `only` of a field [name, value].
export function onlyWhere(form, fields, drawn) {
  const bound = fields.filter((f) => f.only && form.elements[f.only[0]]);
  const draw = () => {
    for (const f of bound) drawn[fields.indexOf(f)].hidden = form.elements[f.only[0]].value !== f.only[1];
  };
  for (const name of new Set(bound.map((f) => f.only[0]))) form.elements[name].onchange = draw;
  draw();
}

// --- what was filled in; null for nothing

export function number(text, label = t("this")) {
  const said = (text || "").trim().replace(",", ".");
  if (!said) return null;
  if (/^[+-]?[1-9]\d{0,2}\.\d{3}$/.test(said)) throw new Error(t("{label}: {typed} can be read in two ways: write {whole} or {exact}.", { label, typed: text.trim(), whole: said.replace(".", ""), exact: decimal(`${said}0`) }));
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(said)) throw new Error(t("{label}: {typed} is not a number.", { label, typed: text.trim() }));
  return Number(said);
}

export function amount(values, name) {
  const said = (values[name] || "").trim();
  if (!said) return null;
  return /[a-df-z°]/i.test(said) ? said : `${said} ${values[`${name}_unit`]}`; // a unit that was typed goes before the chosen one
}

export function range(values, name, parts = 1) {
  const low = number(values[name], t("from"));
  const high = number(values[`${name}_to`], t("to"));
  if (low === null && high === null) return null;
  return [(low ?? high) / parts, (high ?? low) / parts];
}
