// Keeps questions ready on this device while there is signal: about half an hour of them.
import { all, drop, get, open, put, setWho, who } from "./store.js";

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
  const [questions, answers, sets] = db ? await Promise.all(["questions", "answers", "sets"].map((name) => all(db, name))) : [[], [], []];
  const off = db && ((await get(db, "meta", "off")) || {}).value;
  // Somebody else may have signed in here since: whose stock this is comes before how much there is of it.
  const page = document.querySelector("[data-person]");
  const other = page && page.dataset.person !== `${person}`;
  if (off && !other) return;
  const given = new Set(answers.map(({ question }) => question));
  const ready = questions.filter(({ id }) => !given.has(id));
  const seconds = ready.reduce((sum, one) => sum + (one.spare_of ? 0 : one.seconds), 0);
  const last = db && (await get(db, "meta", "kept"));
  if (!force && !other && last && seconds >= ENOUGH_S && Date.now() - Date.parse(last.filled) < FRESH_MS) return;
  const response = await fetch("/api/v1/kept-questions", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ format: 1, have: ready.map(({ id }) => id).slice(0, 400) }),
  });
  if (!response.ok) return;
  const { questions: fresh, keep, ...rest } = await response.json();
  if (rest.person !== person) {
    await setWho(rest.person);
    return filled(true);
  }
  if (off) return;
  // What is being drilled stays, and what was answered while its answer is here to be looked at.
  const held = new Set([...keep, ...sets.flatMap(({ ids, spares }) => [...ids, ...spares])]);
  for (const answer of answers) {
    if (answer.state === "waiting" || held.has(answer.question)) held.add(answer.question);
    else if (answer.state === "stored" && !(answer.result.differs && !answer.seen)) await drop(db, "answers", answer.n);
  }
  for (const { id } of questions) if (!held.has(id)) await drop(db, "questions", id);
  let place = Math.max(0, ...questions.map((one) => one.place));
  for (const one of fresh) await put(db, "questions", { ...one, place: (place += 1) });
  await put(db, "meta", { ...rest, name: "kept", filled: new Date().toISOString() });
  await (await caches.open("kept")).put("/kept", new Response("")); // the worker opens Start from here now
}
