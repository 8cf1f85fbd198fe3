// Keeps questions ready on this device while there is signal: about half an hour of them.
import { all, open, run, setWho, who } from "./store.js";

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
  const [questions, answers, sets, rows] = await Promise.all(names.map((name) => (db ? all(db, name) : [])));
  const meta = (name) => rows.find((row) => row.name === name) || {};
  const off = meta("off").value;
  // Somebody else may have signed in here since: whose stock this is comes before how much there is of it.
  const page = document.querySelector("[data-person]");
  const other = page && page.dataset.person !== `${person}`;
  if (off && !other) return;
  const used = new Set(answers.map(({ question }) => question));
  const ready = questions.filter(({ id }) => !used.has(id));
  const seconds = ready.reduce((sum, one) => sum + (one.spare_of ? 0 : one.seconds), 0);
  if (!force && !other && seconds >= ENOUGH_S && Date.now() - Date.parse(meta("kept").filled) < FRESH_MS) return;
  const response = await fetch("/api/v1/kept-questions", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ format: 1, have: ready.map(({ id }) => id).slice(0, 400) }),
  });
  if (!response.ok) return;
  const { questions: fresh, keep, ...rest } = await response.json();
  if (keep && rest.person !== person) {
    await setWho(rest.person);
    return filled(true);
  }
  if (off) return;
  // What is being drilled stays, and what was answered while its answer is here to be looked at.
  const held = new Set([...keep, ...sets.flatMap(({ ids, spares }) => [...ids, ...spares])]);
  // All or nothing: a page that is left or a device that is full midway must not leave a stock of one question.
  await run(db, names, "readwrite", (asked, given, _, known) => {
    for (const answer of answers) {
      if (answer.state === "waiting" || held.has(answer.question)) held.add(answer.question);
      else if (answer.state === "stored" && !(answer.result.differs && !answer.seen)) given.delete(answer.n);
    }
    for (const { id } of questions) if (!held.has(id)) asked.delete(id);
    let place = Math.max(0, ...questions.map((one) => one.place));
    for (const one of fresh) asked.put({ ...one, place: (place += 1) });
    known.put({ ...rest, name: "kept", filled: new Date().toISOString() });
  });
  // The worker opens Start from here now.
  await (await caches.open("kept")).put("/kept", new Response(""));
}
