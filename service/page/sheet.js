// The style of what is loaded later, once.
import { el } from "./dom.js";

export function sheet() {
  if (!document.querySelector("link[href='/finding.css']")) document.head.append(el("link", { rel: "stylesheet", href: "/finding.css" }));
}
