// Answers that wait on this device go out in their order, each stored once: the service knows them by their UUIDs.
import { Refused, hurry, pause, send } from "./send.js";
import { get, open, others, put, waiting, who } from "./store.js";

const BATCH = 25;
const TRIES = 3;
const NEEDS = ["client-format", "answers-of-another-person", "sign-in-needed"];
// What could not be taken even alone, by UUID: it waits, and goes last from then on, so that it holds nothing back.
const held = new Set();
// Given to a database that had been deleted: these are in this page's memory only.
export const loose = [];
let queued = null;
let timer = 0;

export function start() {
  addEventListener("online", flush);
  // Somebody else may be signed in now.
  addEventListener("kept", flush);
  document.addEventListener("visibilitychange", () => document.hidden || flush());
  return flush();
}

// Asks for one more round, and is done when that is; of two tabs one sends at a time, and the second finds nothing left.
export function flush() {
  // Whoever asks has a reason not to wait for the next try.
  hurry();
  return (queued ??= begin());
}

async function begin() {
  const person = await who();
  const round = async () => {
    queued = null;
    clearTimeout(timer);
    try {
      if (person && (await who()) === person) {
        await sendKept(person);
        // Of those who were here before, the service takes what this person has claimed.
        for (const other of Object.keys(await others())) await sendKept(Number(other), true);
      }
      if (loose.length) await sendAll(null, loose[0].person);
    } catch {
      // Storage failed or was wiped midway.
      later();
    }
  };
  // Where storage is refused there is no person, and locks are refused too. A lock that cannot be had must not silence this:
  // without one two tabs may send the same, which is stored once.
  await (person && navigator.locks ? navigator.locks.request(`outbox-${person}`, round).catch(round) : round());
}

// In a minute.
function later() {
  clearTimeout(timer);
  timer = setTimeout(flush, 60000);
}

async function sendKept(person, other) {
  const db = await open(person);
  try {
    await sendAll(db, person, other);
  } finally {
    db.close();
  }
}

async function sendAll(db, person, other) {
  const left = async () => (db ? waiting(db) : loose.filter(({ state }) => state === "waiting"));
  const settle = (row, change) => (db ? put(db, "answers", { ...row, ...change }) : Object.assign(row, change));
  const told = async (state) => {
    const detail = other ? { other: state } : { state, waiting: (await left()).length };
    dispatchEvent(new CustomEvent("outbox", { detail }));
  };
  const tried = new Set();
  for (let size = BATCH, faults = 0, noting = db; ; ) {
    const noted = noting ? (await notes(db)).slice(0, 40) : [];
    const all = (await left()).filter(({ uuid }) => !tried.has(uuid));
    const fresh = all.filter(({ uuid }) => !held.has(uuid));
    const single = size === 1 || !fresh.length;
    // One by one, what was acknowledged goes by itself too: no answer is blamed for it.
    const rows = single && noted.length ? [] : (fresh.length ? fresh : all).slice(0, single ? 1 : size);
    if (!rows.length && !noted.length) return told(tried.size ? "at fault" : "idle");
    await told("sending");
    try {
      const silent = () => told("no signal").catch(() => {});
      const { results } = await send("/api/v1/answer-batches", () => batch(person, rows, noted), silent);
      // That is no reply of the service's own.
      if (results?.length !== rows.length) throw new Refused(200, {});
      faults = 0;
      for (const [at, result] of results.entries()) {
        const { problem } = result;
        await settle(rows[at], { state: problem ? "refused" : "stored", result, problem });
      }
      await forget(db, noted);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      const { type = "", claim } = error.problem;
      const [first] = rows;
      const need = type.split(":").pop();
      if (NEEDS.includes(need)) return told(claim ? "claim" : need);
      if (type && [400, 413, 422].includes(error.status)) {
        // Something in the batch is refused as a whole: one by one, only that one stays behind.
        if (single) {
          size = BATCH;
          if (first) await settle(first, { state: "refused", problem: error.problem });
          await forget(db, noted);
        } else size = 1;
        continue;
      }
      // The service is at fault or busy, or something on the way, which judges no answer, refused it: it waits. After
      // some tries one by one, so that only what cannot be taken stays behind.
      faults += 1;
      if (single) {
        size = BATCH;
        if (first) [held, tried].forEach((set) => set.add(first.uuid));
        else noting = null;
        later();
      } else if (faults >= TRIES) {
        size = 1;
        continue;
      }
      await told("at fault");
      // Nothing goes at all: the next round is in a minute.
      if (faults > 2 * TRIES) return;
      await pause(faults - 1, () => {});
    }
  }
}

function batch(person, rows, acknowledged) {
  const answers = rows.map(({ question, uuid, response, sureness, given_at, judged }) => {
    return { question, uuid, response, sureness: sureness || null, given_at, outcome: judged?.outcome || null };
  });
  return { format: 1, person, sent_at: new Date().toISOString(), acknowledged, answers };
}

const notes = async (db) => (await get(db, "meta", "acknowledged"))?.rows || [];

async function forget(db, noted) {
  const sent = JSON.stringify(noted);
  const rows = noted.length && (await notes(db)).filter((row) => !sent.includes(JSON.stringify(row)));
  if (rows) await put(db, "meta", { name: "acknowledged", rows });
}
