// What this device keeps, in IndexedDB: one database for each person, so that nobody meets another's questions or answers.
const STORES = { questions: { keyPath: "id" }, answers: { keyPath: "n", autoIncrement: true }, sets: { keyPath: "id" }, meta: { keyPath: "name" } };
const MINE = "device-person";
const SEEN = "device-persons"; // everybody with something here: not every browser lists its databases

export class Unavailable extends Error {}

const memory = {}; // where even localStorage is refused, the page itself remembers
function local(key, value) {
  try {
    if (value !== undefined) localStorage.setItem(key, JSON.stringify(value));
    return JSON.parse(localStorage.getItem(key));
  } catch {
    if (value !== undefined) memory[key] = value;
    return memory[key] ?? null;
  }
}

export const who = () => local(MINE);
export const setWho = (person) => local(MINE, person);
const persons = (change) => local(SEEN, change(local(SEEN) || []));

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = request.oncomplete = () => resolve(request.result);
    request.onerror = request.onabort = () => reject(request.error || new Unavailable("It was interrupted."));
  });

export async function open(person) {
  try {
    const opening = indexedDB.open(`quizsvc-${person}`, 1);
    opening.onupgradeneeded = () => {
      for (const name in STORES) opening.result.createObjectStore(name, STORES[name]);
      opening.transaction.objectStore("answers").createIndex("question", "question", { unique: true });
    };
    const db = await done(opening);
    db.onversionchange = () => db.close();
    persons((known) => [...new Set([...known, person])]);
    return db;
  } catch {
    throw new Unavailable("Nothing can be kept on this device: its browser refuses storage, or it is full. With signal everything works.");
  }
}

async function run(db, names, mode, work) {
  const change = db.transaction(names, mode, { durability: "strict" });
  const ended = done(change);
  ended.catch(() => {});
  const result = await work(...names.map((name) => change.objectStore(name)));
  await ended;
  return result;
}

export const all = (db, name) => run(db, [name], "readonly", (store) => done(store.getAll()));
export const get = (db, name, key) => run(db, [name], "readonly", (store) => done(store.get(key)));
export const put = (db, name, value) => run(db, [name], "readwrite", (store) => done(store.put(value)));
export const drop = (db, name, key) => run(db, [name], "readwrite", (store) => done(store.delete(key)));

// Keeps an answer on the disk before anybody says so; of two tabs that answer one question the first counts.
export const give = (db, answer) =>
  run(db, ["answers"], "readwrite", async (answers) => {
    const had = await done(answers.index("question").get(answer.question));
    if (had) return { answer: had, first: false };
    return { answer: { ...answer, n: await done(answers.add(answer)) }, first: true };
  });

export const waiting = async (db) => (await all(db, "answers")).filter(({ state }) => state === "waiting");

// How many answers of other persons wait here.
export async function others() {
  let sum = 0;
  for (const person of persons((known) => known)) {
    if (person === who()) continue;
    const db = await open(person);
    sum += (await waiting(db)).length;
    db.close();
  }
  return sum;
}

export async function wipe(person) {
  persons((known) => known.filter((one) => one !== person));
  if (self.caches) await caches.delete("kept");
  await done(indexedDB.deleteDatabase(`quizsvc-${person}`));
}
