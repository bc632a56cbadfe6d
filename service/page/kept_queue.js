// The phone's own database: what waits to be logged, in order, and which number a batch made here got in the log.
// Every tab of this phone sees the same; each change is one transaction, on the disk before anybody is told.
import { t } from "./words.js";

const opening = new Promise((done, failed) => {
  const request = indexedDB.open("stripread", 2);
  request.onupgradeneeded = (event) => {
    const db = request.result;
    const waiting = db.createObjectStore("waiting", { keyPath: "n", autoIncrement: true });
    waiting.createIndex("key", "key", { unique: true });
    db.createObjectStore("made", { keyPath: "local" });
    db.createObjectStore("turn", { keyPath: "id" });
    const pictures = db.createObjectStore("pictures", { keyPath: "key" }); // apart: the list is read often
    if (event.oldVersion === 1) takeUp(request.transaction, waiting, pictures);
  };
  request.onsuccess = () => {
    request.result.onversionchange = () => request.result.close(); // a later page in another tab needs another form of it
    done(request.result);
  };
  request.onerror = () => failed(request.error);
});

// Photos that waited in the first form of this database.
function takeUp(transaction, waiting, pictures) {
  const old = transaction.objectStore("photos");
  old.getAll().onsuccess = (event) => {
    for (const { key, batch, name, type, photo, trouble, ...body } of event.target.result.sort((a, b) => new Date(a.snapped_at) - new Date(b.snapped_at))) {
      waiting.add({ key, what: "photo", method: "POST", path: "/api/batches/{batch}/readings", batch, name, type, photo: true, trouble, body, at: body.snapped_at, words: t("Photo") });
      pictures.add({ key, photo });
    }
    transaction.db.deleteObjectStore("photos");
  };
}

// `act(stores, answer)` asks in one transaction; what it gives to `answer` is what comes out once all is on the disk.
async function within(mode, names, act) {
  const db = await opening;
  return new Promise((done, failed) => {
    const transaction = db.transaction(names, mode, { durability: "strict" });
    let result;
    act(Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)])), (value) => (result = value));
    transaction.oncomplete = () => done(result);
    transaction.onerror = transaction.onabort = () => failed(transaction.error);
  });
}

// Everything that waits, the oldest first, and the numbers of batches that were made here.
export const waitingNow = () =>
  within("readonly", ["waiting", "made"], ({ waiting, made }, answer) => {
    made.getAll().onsuccess = (m) => {
      const numbers = Object.fromEntries(m.target.result.map((one) => [one.local, one.id]));
      waiting.getAll().onsuccess = (w) => answer({ items: w.target.result, numbers });
    };
  });

export const put = (items) =>
  within("readwrite", ["waiting", "pictures"], ({ waiting, pictures }) => {
    for (const item of items) {
      waiting.add({ ...item, photo: Boolean(item.photo) });
      if (item.photo) pictures.add({ key: item.key, photo: item.photo });
    }
  });

export const pictureOf = (key) =>
  within("readonly", ["pictures"], ({ pictures }, answer) => {
    pictures.get(key).onsuccess = (event) => answer(event.target.result && event.target.result.photo);
  });

// Changes one that waits: `change(item)` gives it anew, or null to let it go; of `number` a batch made here is known.
export const alter = (key, change, number = null) =>
  within("readwrite", ["waiting", "made", "pictures"], ({ waiting, made, pictures }, answer) => {
    waiting.index("key").get(key).onsuccess = (event) => {
      const item = event.target.result;
      if (!item) return; // another tab was there first
      const changed = change(item);
      answer(item);
      if (number !== null) made.put({ local: item.makes, id: number });
      if (changed) waiting.put({ ...changed, n: item.n, key });
      else {
        waiting.delete(item.n);
        pictures.delete(key);
      }
    };
  });

// --- whose turn it is to send: one tab at a time, so that the order holds

const me = Math.random().toString(36).slice(2);
const TURN_MS = 6000;

const take = () =>
  within("readwrite", ["turn"], ({ turn }, answer) => {
    turn.get(1).onsuccess = (event) => {
      const had = event.target.result;
      const free = !had || had.tab === me || had.until < Date.now() || had.until > Date.now() + 2 * TURN_MS;
      if (free) turn.put({ id: 1, tab: me, until: Date.now() + TURN_MS });
      answer(free);
    };
  });

const giveBack = () =>
  within("readwrite", ["turn"], ({ turn }) => {
    turn.get(1).onsuccess = (event) => event.target.result && event.target.result.tab === me && turn.delete(1);
  });

// Runs `act` while no other tab sends; false if another one has the turn. Web Locks exist only on secure pages, and the
// bench is often plain http: there a lease in the database does it. Were it to lapse, the keys still keep all single.
export async function inTurn(act) {
  if (navigator.locks) return navigator.locks.request("stripread-queue", async () => { await act(); return true; });
  if (!(await take())) return false;
  const renewing = setInterval(take, TURN_MS / 3);
  try {
    await act();
  } finally {
    clearInterval(renewing);
    await giveBack();
  }
  return true;
}
