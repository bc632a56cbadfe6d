// The style of what is loaded later, once.
import { el } from "./dom.js";

export function sheet(href = "/finding.css") {
  if (!document.querySelector(`link[href='${href}']`)) document.head.append(el("link", { rel: "stylesheet", href }));
}
