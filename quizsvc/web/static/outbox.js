// Answers that wait on this device go out in their order, each stored once: the service knows them by their UUIDs.
import { Refused, hurry, send } from "./send.js";
import { get, open, others, put, waiting, who } from "./store.js";

const BATCH = 25;
const NEEDS = { "client-format": "older client", "answers-of-another-person": "other person", "sign-in-needed": "sign in" };
let queued = null;

export function start() {
  addEventListener("online", flush);
  addEventListener("kept", flush); // somebody else may be signed in now
  document.addEventListener("visibilitychange", () => document.hidden || flush());
  return flush();
}

// Asks for one more round, and is done when that is; of two tabs one sends at a time, and the second finds nothing left.
export function flush() {
  hurry(); // whoever asks has a reason not to wait for the next try
  return (queued ??= begin());
}

async function begin() {
  const person = await who();
  const round = async () => {
    queued = null;
    try {
      if (!person || (await who()) !== person) return; // signed out meanwhile
      await sendAll(person);
      // Of those who were here before, the service takes what this person has claimed.
      for (const other of Object.keys(await others())) await sendAll(Number(other), true);
    } catch {
      // Storage that is refused, full or wiped: nothing waits here.
    }
  };
  // Where storage is refused there is no person, and locks are refused too.
  await (person && navigator.locks ? navigator.locks.request(`outbox-${person}`, round) : round());
}

async function sendAll(person, other) {
  const db = await open(person);
  const told = async (state) => {
    const detail = other ? { other: state } : { state, waiting: (await waiting(db)).length };
    dispatchEvent(new CustomEvent("outbox", { detail }));
  };
  for (let size = BATCH; ; ) {
    const noted = ((await get(db, "meta", "acknowledged")) || { rows: [] }).rows.slice(0, 40);
    // One by one, what was acknowledged goes by itself too: no answer is blamed for it.
    const rows = size === 1 && noted.length ? [] : (await waiting(db)).slice(0, size);
    if (!rows.length && !noted.length) return told("idle");
    await told("sending");
    try {
      const reply = await send("/api/v1/answer-batches", () => batch(person, rows, noted), () => told("no signal"));
      for (const [at, result] of reply.results.entries()) {
        const { problem } = result;
        await put(db, "answers", { ...rows[at], state: problem ? "refused" : "stored", result, problem });
      }
      await forget(db, noted);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      const need = NEEDS[(error.problem.type || "").split(":").pop()];
      if (need) return told(error.problem.claim ? "claim" : need);
      // Something in the batch is refused as a whole: one by one, only that one stays behind.
      if (size === 1 && [400, 413, 422].includes(error.status)) {
        if (rows.length) await put(db, "answers", { ...rows[0], state: "refused", problem: error.problem });
        await forget(db, noted);
      } else if (size === 1) return told("no signal"); // the service is at fault or busy: another time
      size = 1;
    }
  }
}

function batch(person, rows, acknowledged) {
  const answers = rows.map(({ question, uuid, response, sureness, given_at, judged }) => {
    return { question, uuid, response, sureness: sureness || null, given_at, outcome: judged ? judged.outcome : null };
  });
  return { format: 1, person, sent_at: new Date().toISOString(), acknowledged, answers };
}

async function forget(db, noted) {
  const sent = JSON.stringify(noted);
  const { rows } = (await get(db, "meta", "acknowledged")) || { rows: [] };
  if (sent !== "[]") await put(db, "meta", { name: "acknowledged", rows: rows.filter((row) => !sent.includes(JSON.stringify(row))) });
}
