// Photos wait here, in the phone's own database, from the moment they are taken until the log has them.
// A photo leaves only when the service has acknowledged it, or when the user throws it away.
import { sendPhoto } from "./api.js";

const opening = new Promise((done, failed) => {
  const request = indexedDB.open("stripread", 1);
  request.onupgradeneeded = () => request.result.createObjectStore("photos", { keyPath: "key" });
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

async function within(mode, act) {
  const db = await opening;
  return new Promise((done, failed) => {
    const transaction = db.transaction("photos", mode, { durability: "strict" });
    const request = act(transaction.objectStore("photos"));
    transaction.oncomplete = () => done(request && request.result);
    transaction.onerror = transaction.onabort = () => failed(transaction.error);
  });
}

export const all = async () => (await within("readonly", (s) => s.getAll())).sort((a, b) => new Date(a.snapped_at) - new Date(b.snapped_at));
export const drop = (key) => within("readwrite", (s) => s.delete(key));
const save = (item) => within("readwrite", (s) => s.put(item));

// randomUUID exists only on secure pages; the bench is often plain http
const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

export async function add(file, details) {
  const item = { ...details, key: newKey(), name: file.name || "photo.jpg", type: file.type || "image/jpeg", trouble: null };
  item.photo = await file.arrayBuffer(); // not the file: some phones let it vanish
  await save(item);
  return item.key;
}

export async function again(key, changes) {
  const item = (await all()).find((i) => i.key === key);
  if (item) await save({ ...item, trouble: null, ...changes });
}

export class Sender {
  // on: { progress(share, waiting), sent(reading, item), changed(), link(trouble or null) }
  constructor(on) {
    this.on = on;
    this.busy = false;
    this.timer = null;
  }

  async run() {
    clearTimeout(this.timer);
    if (this.busy) {
      this.more = true;
      return;
    }
    this.busy = true;
    try {
      do {
        this.more = false;
        await this.round();
      } while (this.more);
    } finally {
      this.busy = false;
      this.on.changed();
    }
  }

  async round() {
    for (const item of await all()) {
      if (item.trouble) continue;
      try {
        const waiting = (await all()).length;
        const reading = await sendPhoto(item, (share) => this.on.progress(share, waiting));
        await drop(item.key);
        this.on.link(null);
        this.on.sent(reading, item);
      } catch (trouble) {
        if (trouble.later === undefined) throw trouble;
        if (trouble.later) {
          this.on.link(trouble);
          clearTimeout(this.timer);
          this.timer = setTimeout(() => this.run(), (trouble.retry || 5) * 1000);
          if (trouble.code === "readers_ended") continue; // it may be this one that eats all memory: the others go on
          return; // the others would meet the same
        }
        await save({ ...item, trouble: trouble.message });
      }
      this.on.changed();
    }
  }
}

// Make a photo smaller only if the service would not take it.
export async function fitting(file, limit) {
  if (!limit || file.size <= limit) return file;
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  for (let share = Math.sqrt(limit / file.size) * 0.9; share > 0.1; share *= 0.8) {
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * share);
    canvas.height = Math.round(picture.height * share);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.93));
    if (blob && blob.size <= limit) return new File([blob], (file.name || "photo").replace(/\.\w+$/, "") + ".jpg", { type: "image/jpeg" });
  }
  return file;
}
