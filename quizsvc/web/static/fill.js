// Keeps questions ready on this device while there is signal: about half an hour of them.
import { once } from "./send.js";
import { all, done, open, run, setWho, who } from "./store.js";

const ENOUGH_S = 20 * 60;
const FRESH_MS = 6 * 3600 * 1000;

export async function fill({ force = false } = {}) {
  if (!isSecureContext || !navigator.onLine) return;
  try {
    await (navigator.locks ? navigator.locks.request("fill", () => filled(force)) : filled(force));
  } catch {
    // No signal, or no room: what is there stays, and the device's screen says what it is.
  }
  dispatchEvent(new Event("kept"));
}

async function filled(force) {
  const person = await who();
  const db = person && (await open(person));
  const names = ["questions", "answers", "sets", "meta"];
  const [questions, answers, , rows] = await Promise.all(names.map((name) => (db ? all(db, name) : [])));
  const meta = Object.fromEntries(rows.map((row) => [row.name, row]));
  const off = meta.off?.value;
  // Somebody else may have signed in here since: whose stock this is comes before how much there is of it.
  const whose = document.querySelector("[data-person]")?.dataset.person;
  const other = whose && whose !== `${person}`;
  if (off && !other) return;
  const used = new Set(answers.map(({ question }) => question));
  const ready = questions.filter(({ id }) => !used.has(id));
  const seconds = ready.reduce((sum, one) => sum + (one.spare_of ? 0 : one.seconds), 0);
  const fresh = Date.now() - Date.parse(meta.kept?.filled) < FRESH_MS;
  if (!force && !other && seconds >= ENOUGH_S && fresh && (await caches.match("/kept"))) return;
  const have = ready.map(({ id }) => id).slice(0, 400);
  // However long it takes: a stock is large, and a line may be slow.
  const { questions: more, keep, ...rest } = await once("/api/v1/kept-questions", () => ({ format: 1, have }), { signal: null });
  if (keep && rest.person !== person) {
    await setWho(rest.person);
    return filled(true);
  }
  if (off) return;
  // All or nothing: a page that is left or a device that is full midway must not leave a stock of one question.
  await run(db, names, "readwrite", async (asked, given, begun, known) => {
    // What is being drilled stays, and what was answered while its answer is here to be looked at: by now, not by when
    // the service was asked.
    const [sets, now] = await Promise.all([begun, given].map((rows) => done(rows.getAll())));
    const held = new Set([...keep, ...sets.flatMap(({ ids, spares }) => [...ids, ...spares])]);
    for (const { n, question, state, result, seen } of now) {
      if (state === "waiting" || held.has(question)) held.add(question);
      else if (state === "stored" && (seen || !result.differs)) given.delete(n);
    }
    for (const { id } of questions) if (!held.has(id)) asked.delete(id);
    let place = Math.max(0, ...questions.map((one) => one.place));
    for (const one of more) asked.put({ ...one, place: (place += 1) });
    known.put({ ...rest, name: "kept", filled: new Date().toISOString() });
  });
  // The worker opens Start from here now. A page that is left before this does it all again.
  await (await caches.open("kept")).put("/kept", new Response(""));
}
