// Talking to the service: JSON calls, and what waits in the queue posted under its key.
import { t } from "./words.js";

export class Trouble extends Error {
  // status 0: no connection. `retry` is in seconds.
  constructor(status, code, detail, retry) {
    super(detail);
    Object.assign(this, { status, code, retry });
  }
  get later() {
    return [0, 401, 408, 429, 500, 502, 503, 504, 507].includes(this.status);
  }
}

const NO_LINK = t("No connection to the bench computer.");
export const error = (status) => t("Error {status}", { status });
const PATIENCE_MS = 20000; // a Wi-Fi that went away may let a request hang for minutes

let missed = 0;
// How many questions had no answer so far, for a reason that will pass: what is shown may be old.
export const unanswered = () => missed;

// Asks for something, or does what need not wait: joining, shutting out. All that is logged goes through `send` of queue.js.
export async function call(path, method = "GET", body = undefined, key = undefined) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const response = await fetch(path, {
      method,
      headers: { ...(body === undefined ? {} : { "Content-Type": "application/json" }), ...(key ? { "Idempotency-Key": key } : {}) },
      body: body === undefined ? undefined : JSON.stringify(body),
      cache: "no-store",
      signal: stop.signal,
    });
    if (response.status === 204) return null;
    const text = await response.text(); // breaks off where the service was ended in the middle of its answer
    let said = {};
    try {
      said = JSON.parse(text);
    } catch {
      if (response.ok) throw new Trouble(0, "no_connection", NO_LINK);
    }
    if (!response.ok) throw new Trouble(response.status, said.code, said.detail || error(response.status), Number(response.headers.get("Retry-After")) || 5);
    return said;
  } catch (problem) {
    const met = problem instanceof Trouble ? problem : new Trouble(0, "no_connection", NO_LINK);
    if (method === "GET" && met.later && met.status !== 401) missed += 1;
    throw met;
  } finally {
    clearTimeout(timer);
  }
}

export function sendPhoto(path, item, onProgress) {
  const form = new FormData();
  for (const [name, value] of Object.entries(item.body)) if ((value ?? "") !== "") form.append(name, value);
  form.append(item.file_field || "photo", new Blob([item.photo], { type: item.type }), item.name);
  return new Promise((done, failed) => {
    // fetch tells nothing about how far an upload is
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.setRequestHeader("Idempotency-Key", item.key);
    request.timeout = 180000;
    request.upload.onprogress = (e) => e.lengthComputable && onProgress(e.loaded / e.total);
    request.onerror = request.ontimeout = request.onabort = () => failed(new Trouble(0, "no_connection", NO_LINK));
    request.onload = () => {
      let said = {};
      try {
        said = JSON.parse(request.responseText);
      } catch {
        // not from the service: something between us and it answered
      }
      if (request.status === 200 || request.status === 201) done(said);
      else {
        const wait = Number(request.getResponseHeader("Retry-After")) || 5;
        failed(new Trouble(request.status, said.code, said.detail || error(request.status), wait));
      }
    };
    request.send(form);
  });
}
