// Answers on this tablet, in the order in which they were given, until the machine has them on record.
const STORE = "answers";
let opened;

function base() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("bench", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "place", autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function on(mode, act) {
  const transaction = (await base()).transaction(STORE, mode, mode === "readwrite" ? { durability: "strict" } : {});
  return new Promise((resolve, reject) => {
    const asked = act(transaction.objectStore(STORE));
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

// An id of the tablet's own; crypto.randomUUID is not there on a plain address other than the loopback.
export function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export const keep = (item) => on("readwrite", (store) => store.add(item));
export const change = (item) => on("readwrite", (store) => store.put(item));
export const forget = (place) => on("readwrite", (store) => store.delete(place));
export const waiting = () => on("readonly", (store) => store.getAll());
