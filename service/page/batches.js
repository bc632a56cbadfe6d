// The list of batches: a page of the newest, further pages as they are asked for, and the chosen one however old it is.
import { call } from "./api.js";
import { t } from "./words.js";

const EACH = 100;
export const OLDER = "older"; // the choice that asks for a further page
let pages = 1;
let full = false; // there are older ones

export async function listBatches(chosen) {
  const found = [];
  full = true;
  for (let page = 0; page < pages && full; page++) {
    const after = found.length ? `&after=${found.at(-1).id}` : "";
    const more = await call(`/api/batches?limit=${EACH}${after}`);
    found.push(...more);
    full = more.length === EACH;
  }
  if (typeof chosen === "number" && !found.some((b) => b.id === chosen)) {
    const old = await oneBatch(chosen);
    if (old) found.push(old);
  }
  return found;
}

// One batch as the list has it, however old; null where the log has none of that number.
export async function oneBatch(id) {
  const one = await call(`/api/batches/${id}`).catch((problem) => (problem.status === 404 ? null : Promise.reject(problem)));
  return one && { id: one.id, name: one.name, opened_at: one.opened_at, closed_at: one.closed_at, zone: one.zone, bench: one.bench, water: one.water, entries: one.entries };
}

export const olderChoice = () => (full ? [[OLDER, t("Older batches …")]] : []);
export const showOlder = () => { pages += 1; };
