// A question in the page's one dialog.
import { $ } from "./dom.js";
import { field } from "./fields.js";

// A small form in a dialog. `fields`: as in fields.js. `act(values)` may throw to stay open.
export function ask(title, fields, act) {
  const dialog = $("dialog");
  const form = dialog.querySelector("form");
  $("dialog-title").textContent = title;
  $("dialog-trouble").textContent = "";
  $("dialog-fields").replaceChildren(...fields.map(field));
  form.onsubmit = async (event) => {
    event.preventDefault();
    const values = Object.fromEntries(new FormData(form));
    try {
      await act(values);
      dialog.close();
    } catch (trouble) {
      $("dialog-trouble").textContent = trouble.message;
    }
  };
  $("dialog-cancel").onclick = () => dialog.close();
  dialog.showModal();
}
