// A question in the page's one dialog.
import { $ } from "./dom.js";
import { field, onlyWhere } from "./fields.js";
import { keepTyped, mine } from "./typed.js";

// A small form in a dialog. `fields`: as in fields.js. `act(values)` may throw to stay open.
export function ask(title, fields, act) {
  const dialog = $("dialog");
  const form = dialog.querySelector("form");
  $("dialog-title").textContent = title;
  $("dialog-trouble").textContent = "";
  const drawn = fields.map(field);
  $("dialog-fields").replaceChildren(...drawn);
  const typed = keepTyped(form, `typed-${mine.get("batch")}-${title}`); // a reload in the middle of it loses nothing
  onlyWhere(form, fields, drawn);
  dialog.addEventListener("close", typed.forget, { once: true });
  let acting = false; // a second tap on the button is none
  form.onsubmit = async (event) => {
    event.preventDefault();
    if (acting) return;
    acting = true;
    const values = Object.fromEntries(new FormData(form));
    try {
      await act(values);
      dialog.close();
    } catch (trouble) {
      $("dialog-trouble").textContent = trouble.message;
    } finally {
      acting = false;
    }
  };
  $("dialog-cancel").onclick = () => dialog.close();
  dialog.showModal();
}
