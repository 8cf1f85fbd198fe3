// What this device keeps, in IndexedDB: one database for each person, so that nobody meets another's questions or answers.
const META = { meta: { keyPath: "name" } };
const STORES = { questions: { keyPath: "id" }, answers: { keyPath: "n", autoIncrement: true }, sets: { keyPath: "id" }, ...META };

export class Unavailable extends Error {}

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = request.oncomplete = () => resolve(request.result);
    request.onerror = request.onabort = () => reject(request.error || new Unavailable("It was interrupted."));
  });

async function opened(name, stores) {
  try {
    const opening = indexedDB.open(name, 1);
    opening.onupgradeneeded = () => {
      for (const store in stores) opening.result.createObjectStore(store, stores[store]);
      if (stores.answers) opening.transaction.objectStore("answers").createIndex("question", "question", { unique: true });
    };
    const db = await done(opening);
    db.onversionchange = () => db.close();
    return db;
  } catch {
    throw new Unavailable("Nothing can be kept on this device: its browser refuses storage, or it is full. With signal everything works.");
  }
}

// Whose device this is, and who else has something here. Not in localStorage: that is lost with a browser that is killed.
async function device(name, change) {
  const db = await opened("quizsvc", META);
  try {
    const { value } = (await get(db, "meta", name)) || {};
    if (change) await put(db, "meta", { name, value: change(value) });
    return value;
  } finally {
    db.close();
  }
}

export const person = () => device("person"); // Unavailable where storage is refused
export const who = () => person().catch(() => null);
export const setWho = (person) => device("person", () => person);

export async function open(person) {
  const db = await opened(`quizsvc-${person}`, STORES);
  await device("persons", (known = []) => [...new Set([...known, person])]);
  return db;
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

// How many answers of other persons wait here, by person.
export async function others() {
  const found = {};
  const mine = await who();
  for (const person of ((await device("persons").catch(() => [])) || []).filter((one) => one !== mine)) {
    const db = await open(person);
    const { length } = await waiting(db);
    if (length) found[person] = length;
    db.close();
  }
  return found;
}

export async function wipe(person) {
  await device("persons", (known = []) => known.filter((one) => one !== person));
  if (self.caches) await caches.delete("kept");
  await done(indexedDB.deleteDatabase(`quizsvc-${person}`));
}
