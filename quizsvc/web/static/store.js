// What this device keeps, in IndexedDB: one database for each person, so that nobody meets another's questions or answers.
const META = { meta: { keyPath: "name" } };
const STORES = { questions: { keyPath: "id" }, answers: { keyPath: "n", autoIncrement: true }, sets: { keyPath: "id" }, ...META };

export const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = request.oncomplete = () => resolve(request.result);
    request.onerror = request.onabort = () => reject(request.error || new Error("It was interrupted."));
  });

async function opened(name, stores) {
  const opening = indexedDB.open(name, 1);
  opening.onupgradeneeded = () => {
    for (const store in stores) opening.result.createObjectStore(store, stores[store]);
    if (stores.answers) opening.transaction.objectStore("answers").createIndex("question", "question", { unique: true });
  };
  const db = await done(opening);
  db.onversionchange = () => db.close();
  return db;
}

// Whose device this is, and who else has something here. Not in localStorage: that is lost with a browser that is killed.
// It is read and written in one transaction, so that of two tabs neither undoes what the other wrote; a change is told whose
// device it is.
export async function device(name, change) {
  const db = await opened("quizsvc", META);
  try {
    return await run(db, ["meta"], change ? "readwrite" : "readonly", async (meta) => {
      const read = async (one) => (await done(meta.get(one)))?.value;
      const value = await read(name);
      if (change) meta.put({ name, value: change(value, await read("person")) });
      return value;
    });
  } finally {
    db.close();
  }
}

// Rejected where storage is refused.
export const person = () => device("person");
export const who = () => person().catch(() => null);
export const setWho = (person) => device("person", () => person);

export async function open(person) {
  const name = `quizsvc-${person}`;
  const db = await opened(name, STORES);
  await device("persons", (known = [], mine) => {
    if (known.includes(person)) return known;
    if (mine === person) return [...known, person];
    // Signed out meanwhile, in another tab, say: this has just been made anew, and must not stay.
    db.close();
    indexedDB.deleteDatabase(name);
    throw new Error("It was deleted.");
  });
  return db;
}

export async function run(db, names, mode, work) {
  const change = db.transaction(names, mode, { durability: "strict" });
  const ended = done(change);
  ended.catch(() => {});
  try {
    const result = await work(...names.map((name) => change.objectStore(name)));
    await ended;
    return result;
  } catch (error) {
    // Without this what was written until then would stay; where it was aborted already, a second time is one too many.
    if (!change.error) change.abort();
    throw error;
  }
}

export const all = (db, name) => run(db, [name], "readonly", (store) => done(store.getAll()));
export const get = (db, name, key) => run(db, [name], "readonly", (store) => done(store.get(key)));
export const put = (db, name, value) => run(db, [name], "readwrite", (store) => done(store.put(value)));

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
