// What this tablet knows: the case as the machine last told it, and the answers on their way there.
import { ask, Cut, Refused } from "./api.js";
import { change, forget, freshId, keep, waiting } from "./queue.js";

export const store = { case: "", words: null, bench: null, standing: null, queue: [], connected: true, locked: "", held: "", reckoning: false };
const AT_ONCE = 20;
const BEAT = 2500;
let listeners = [];
let sending = false;
let heard = "";

export const onChange = (act) => { listeners.push(act); };
const changed = () => listeners.forEach((act) => act());

export const who = () => localStorage.getItem("who") || "";

// Puts an answer on this tablet; it is on its way to the machine at once. `photo` is a picture as bytes.
export async function answer(parts, photo) {
  const item = { case: store.case, state: "waiting", photo: photo ?? null, answer: { id: freshId(), who: who() || "bench", at: new Date().toISOString(), ...parts } };
  store.queue.push(item);
  changed();
  item.place = await keep(item);
  send();
  return item.answer.id;
}

// An answer that was refused or asked back: sent once more, or left.
export async function again(item, parts) {
  Object.assign(item.answer, parts);
  item.state = "waiting";
  item.says = [];
  await change(item);
  changed();
  send();
}

export async function leave(item) {
  await forget(item.place);
  store.queue = store.queue.filter((x) => x !== item);
  changed();
}

export const stuck = () => store.queue.filter((x) => x.state !== "waiting");
export const unsent = () => store.queue.filter((x) => x.state === "waiting");
const kept = () => unsent().filter((x) => x.place !== undefined);

let told = () => {};
export const onAcknowledged = (act) => { told = act; };

async function send() {
  if (sending) return;
  sending = true;
  try {
    while (kept().length && (await sendSome()));
  } finally {
    sending = false;
  }
}

async function sendSome() {
  const first = kept()[0];
  const some = [];
  for (const item of kept()) {
    if (item.case !== first.case || some.length === AT_ONCE) break;
    some.push(item);
  }
  const path = `/api/cases/${encodeURIComponent(first.case)}`;
  try {
    for (const item of some.filter((x) => x.photo && !x.answer.photo)) {
      item.answer.photo = (await ask(`${path}/photos`, { photo: new Blob([item.photo]), long: true })).photo;
    }
    const { acknowledged, held } = await ask(`${path}/answers`, { body: some.map((x) => x.answer) });
    reached(true, held);
    for (const done of acknowledged) await took(some.find((x) => x.answer.id === done.id), done);
    await refresh();
    return !held;
  } catch (error) {
    if (error instanceof Refused && ![401, 403, 404, 409, 421].includes(error.status)) {
      for (const item of some) await stop(item, "refused", [error.message]);
      return true;
    }
    missed(error);
    return false;
  }
}

async function took(item, done) {
  if (!item) return;
  if (done.became === "recorded") await leave(item);
  else await stop(item, done.became, done.says);
  told(done, item);
}

async function stop(item, state, says) {
  item.state = state;
  item.says = says;
  await change(item);
  changed();
}

const missed = (error) => reached(!(error instanceof Cut), error instanceof Refused ? error.message : "", error);

function reached(connected, held, error) {
  store.connected = connected;
  store.held = held;
  store.locked = error instanceof Refused && error.status === 401 ? "key" : "";
  changed();
}

// ---- what the machine tells ---------------------------------------------------------------------------------

export async function refresh() {
  if (!store.case) return;
  const path = `/api/cases/${encodeURIComponent(store.case)}`;
  const asked = store.case;
  const found = await ask(`${path}?mark=${encodeURIComponent(store.bench?.mark ?? "")}`);
  if (asked !== store.case) return;
  const before = JSON.stringify([store.bench?.mark, store.bench?.elsewhere, store.bench?.others]);
  store.bench = found.parts ? found : { ...store.bench, ...found };
  if (before !== JSON.stringify([found.mark, found.elsewhere, found.others])) changed();
  reckon();
}

async function reckon() {
  if (store.reckoning || !store.bench || heard === store.bench.mark) return;
  const mark = store.bench.mark;
  store.reckoning = true;
  try {
    store.standing = await ask(`/api/cases/${encodeURIComponent(store.case)}/standing`, { long: true });
    heard = mark;
  } catch {
    // the last one stands until the machine answers again
  } finally {
    store.reckoning = false;
    changed();
  }
}

async function beat() {
  try {
    await refresh();
    if (!store.connected || store.locked) reached(true, store.held);
    await send();
  } catch (error) {
    missed(error);
  }
}

export async function open(name) {
  store.case = name;
  store.bench = store.standing = null;
  heard = "";
  await refresh();
  changed();
}

export async function begin() {
  store.queue = await waiting();
  store.words = await ask("/api/words");
  setInterval(beat, BEAT);
  addEventListener("online", beat);
  document.addEventListener("visibilitychange", () => document.hidden || beat());
  send();
}

// ---- the record with what is on its way ----------------------------------------------------------------------

const STATES = { saw: "present", absent: "absent", lost: "lost", "not looked at": "not looked at" };
export const STATE_KEYS = Object.keys(STATES);

export function entriesOnTheWay(place) {
  return unsent().filter((x) => x.case === store.case).flatMap((x) => x.answer.whats ?? []).filter((w) => w.add === place).map((w) => w.entry);
}

// State by feature of a part or kind: as recorded, then as tapped here and not yet sent.
export function answered(topic) {
  const found = { ...topic.answers };
  for (const entry of entriesOnTheWay("observations")) {
    const same = topic.part ? entry.part === topic.part : !entry.part && entry.on === topic.kind;
    const key = STATE_KEYS.find((k) => k in entry);
    if (same && key && topic.features.includes(entry[key])) found[entry[key]] = STATES[key];
  }
  return found;
}

export const openOnes = (topic) => { const known = answered(topic); return topic.features.filter((f) => !(f in known)); };
export const stageIndex = (stage) => store.words.steps.findIndex((s) => s.stage === stage);
export const topicsOf = (part, kind) => store.bench.topics.filter((t) => !t.asks.length && (part ? t.part === part : !t.part && t.kind === kind));
export const perishing = (topic) => openOnes(topic).filter((f) => store.words.features[f]?.lost === topic.stage);

export function valueOf(asked) {
  const key = JSON.stringify(asked.path);
  const set = unsent().filter((x) => x.case === store.case).flatMap((x) => x.answer.whats ?? []).filter((w) => w.set && JSON.stringify(w.set) === key);
  return set.length ? set.at(-1).to : asked.value;
}
