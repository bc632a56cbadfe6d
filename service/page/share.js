// One reading as a picture, handed to the phone's own way of sharing; a download where there is none.
import { error } from "./api.js";

export async function share(entry, button) {
  const name = `reading-${entry.log.id}.png`;
  button.disabled = true;
  try {
    const response = await fetch(`/api/readings/${entry.log.id}/share.png`, { cache: "no-store" }).catch(() => Promise.reject({ status: 0 }));
    if (!response.ok) {
      const said = await response.json().catch(() => ({}));
      throw Object.assign(new Error(said.detail || error(response.status)), { status: response.status });
    }
    const file = new File([await response.blob()], name, { type: "image/png" });
    if (navigator.canShare && navigator.canShare({ files: [file] })) {
      try {
        return await navigator.share({ files: [file], title: "stripread" });
      } catch (stopped) {
        if (stopped.name === "AbortError") return; // somebody thought better of it
      }
    }
    const address = URL.createObjectURL(file);
    const link = Object.assign(document.createElement("a"), { href: address, download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
  } finally {
    button.disabled = false;
  }
}
