/* What this phone saves, in IndexedDB: the outbox's entries, and the offline package.
   Small entries are mirrored in localStorage, because phones lose IndexedDB: iOS cuts its connection in the
   background, and some private windows have none. An entry is kept when either place holds it. */

const NAME = "coilbook";
const ENTRIES = "entries";
const TAKEN = "taken";
const MIRROR = "coilbook.entry.";
const OUT = "coilbook.out.";
const MIRROR_MOST = 2048; // characters of an entry
const TIMEOUT = 3000; // ms: on phones an open request may never be answered
const LOST = new Set(["InvalidStateError", "UnknownError"]);

export class StorageRefused extends Error {}

let opening = null;

function opened() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore(ENTRIES, { keyPath: "id" });
      request.result.createObjectStore(TAKEN);
    };
    request.onsuccess = () => {
      request.result.onclose = shut;
      request.result.onversionchange = shut;
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    setTimeout(() => reject(new DOMException("no answer", "UnknownError")), TIMEOUT);
  });
  opening.catch(() => { opening = null; });
  return opening;
}

function shut() {
  opening?.then((db) => db.close(), () => {});
  opening = null;
}

async function once(name, mode, work) {
  const db = await opened();
  return new Promise((resolve, reject) => {
    const turn = db.transaction(name, mode, { durability: "strict" });
    const outcome = {};
    turn.oncomplete = () => resolve(outcome.value);
    turn.onabort = () => reject(turn.error ?? new DOMException("aborted", "UnknownError"));
    work(turn.objectStore(name), (value) => { outcome.value = value; });
  });
}

/* Run one transaction; a lost connection is closed and opened again, once. */
async function turn(name, mode, work) {
  try {
    return await once(name, mode, work);
  } catch (error) {
    if (!LOST.has(error.name)) throw error;
    shut();
    return once(name, mode, work);
  }
}

const mirror = {
  get(id) {
    try { return JSON.parse(localStorage.getItem(MIRROR + id)); } catch { return null; }
  },
  all() {
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(MIRROR));
      return keys.map((key) => mirror.get(key.slice(MIRROR.length))).filter(Boolean);
    } catch { return []; }
  },
  /* Whether it holds the entry now. */
  put(entry) {
    try {
      const text = JSON.stringify(entry);
      if (text.length > MIRROR_MOST) return false;
      localStorage.setItem(MIRROR + entry.id, text);
      return true;
    } catch { return false; }
  },
  drop(id) {
    try { for (const prefix of [MIRROR, OUT]) localStorage.removeItem(prefix + id); } catch { /* then it never held it */ }
  },
};

/* Note that an entry is sent while its page is closed: synchronously, since other writes may be lost then. */
export function goesOut(id) {
  try { localStorage.setItem(OUT + id, "yes"); } catch { /* then it may go out twice, and is there once */ }
}

/* An entry with what was noted of it. */
function noted(entry) {
  let out = null;
  try { out = entry && localStorage.getItem(OUT + entry.id); } catch { /* nothing was noted */ }
  return out ? { ...entry, tries: Math.max(1, entry.tries) } : entry;
}

/* Save a new entry. Throws StorageRefused if neither storage accepts it. */
export async function keep(entry) {
  const mirrored = mirror.put(entry);
  try {
    await turn(ENTRIES, "readwrite", (store) => store.put(entry));
  } catch (error) {
    if (!mirrored) throw new StorageRefused(`This phone keeps nothing (${error.name}).`);
  }
}

/* Whether anything was ever kept on this phone: opening the store to look would leave one behind. Where that cannot be
   known it is taken to be so. */
export async function used() {
  if (mirror.all().length) return true;
  try { return (await indexedDB.databases()).some(({ name }) => name === NAME); } catch { return true; }
}

/* Every entry, the oldest first. */
export async function entries() {
  const all = new Map(mirror.all().map((entry) => [entry.id, entry]));
  try {
    const held = await turn(ENTRIES, "readonly", (store, tell) => {
      store.getAll().onsuccess = (event) => tell(event.target.result);
    });
    for (const entry of held) all.set(entry.id, entry);
  } catch { /* the mirror is what there is */ }
  return [...all.values()].map(noted).sort((one, other) => one.made_at - other.made_at || (one.id < other.id ? -1 : 1));
}

/* Change an entry in one step: `update` makes the new entry from the old, null to drop it, undefined to leave it.
   Answers the entry as it then is; null where it was dropped, undefined where it is not there or was left. */
export async function change(id, update) {
  const step = (held) => {
    const next = held ? update(noted(held)) : undefined;
    if (next === null) mirror.drop(id);
    else if (next && !mirror.put(next)) mirror.drop(id);
    return next;
  };
  try {
    return await turn(ENTRIES, "readwrite", (store, tell) => {
      store.get(id).onsuccess = (event) => {
        const next = step(event.target.result ?? mirror.get(id));
        if (next === null) store.delete(id);
        else if (next) store.put(next);
        tell(next);
      };
    });
  } catch {
    return step(mirror.get(id));
  }
}

/* The offline package, by key. If storage refuses it nothing is lost: the service has it. */
export const taken = {
  put: (key, value) => turn(TAKEN, "readwrite", (store) => store.put(value, key)),
  drop: (key) => turn(TAKEN, "readwrite", (store) => store.delete(key)),
  get: (key) => turn(TAKEN, "readonly", (store, tell) => {
    store.get(key).onsuccess = (event) => tell(event.target.result);
  }),
  all: (prefix) => turn(TAKEN, "readonly", (store, tell) => {
    const range = IDBKeyRange.bound(prefix, `${prefix}\uffff`);
    store.getAll(range).onsuccess = (event) => tell(event.target.result);
  }),
};
