// Talking to the service: JSON calls, and a post of a photo that reports its progress.

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

const NO_LINK = "No connection to the bench computer.";

// `key`: an Idempotency-Key, so that the same may be sent again.
export async function call(path, method = "GET", body = undefined, key = undefined) {
  let response;
  try {
    response = await fetch(path, {
      method,
      headers: body === undefined ? {} : { "Content-Type": "application/json", ...(key ? { "Idempotency-Key": key } : {}) },
      body: body === undefined ? undefined : JSON.stringify(body),
      cache: "no-store",
    });
  } catch {
    throw new Trouble(0, "no_connection", NO_LINK);
  }
  if (response.status === 204) return null;
  const said = await response.json().catch(() => ({}));
  if (!response.ok) throw new Trouble(response.status, said.code, said.detail || `Error ${response.status}`, 5);
  return said;
}

export function sendPhoto(item, onProgress) {
  const form = new FormData();
  form.append("kind", item.kind);
  if (item.wash !== null) form.append("wash", item.wash);
  if (item.note) form.append("note", item.note);
  for (const name of ["path_mm", "ammonia_excess", "liquid", "ammonia_ph", "flakes", "sample_ml", "drops", "profile", "dipped_at", "temperature_c", "rinse", "blank_entry", "beside", "matching", "cells_entry", "who"]) if ((item[name] ?? "") !== "") form.append(name, item[name]);
  form.append("snapped_at", item.snapped_at);
  form.append("photo", new Blob([item.photo], { type: item.type }), item.name);
  return new Promise((done, failed) => {
    // fetch tells nothing about how far an upload is
    const request = new XMLHttpRequest();
    request.open("POST", `/api/batches/${item.batch}/readings`);
    request.setRequestHeader("Idempotency-Key", item.key);
    request.timeout = 180000;
    request.upload.onprogress = (e) => e.lengthComputable && onProgress(e.loaded / e.total);
    request.onerror = request.ontimeout = () => failed(new Trouble(0, "no_connection", NO_LINK));
    request.onload = () => {
      let said = {};
      try {
        said = JSON.parse(request.responseText);
      } catch {
        // not from the service: something between us and it answered
      }
      if (request.status === 200) done(said);
      else {
        const wait = Number(request.getResponseHeader("Retry-After")) || 5;
        failed(new Trouble(request.status, said.code, said.detail || `Error ${request.status}`, wait));
      }
    };
    request.send(form);
  });
}
