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
    const old = await call(`/api/batches/${chosen}`).catch((problem) => (problem.status === 404 ? null : Promise.reject(problem)));
    if (old) found.push({ id: old.id, name: old.name, opened_at: old.opened_at, closed_at: old.closed_at, zone: old.zone, water: old.water, entries: old.entries });
  }
  return found;
}

export const olderChoice = () => (full ? [[OLDER, t("Older batches …")]] : []);
export const showOlder = () => { pages += 1; };
