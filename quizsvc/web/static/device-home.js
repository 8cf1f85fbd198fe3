// The first screen on the device: what is kept here, what waits to be sent, and what the service said to it.
import { fill } from "./fill.js";
import { head } from "./form.js";
import { flush, loose } from "./outbox.js";
import { wipe } from "./sign-out.js";
import * as store from "./store.js";

const screen = document.getElementById("screen");
const NO_STORAGE = "Nothing can be kept on this device: its browser refuses storage, or it is full. With signal everything works.";
export const at = (hook) => screen.querySelector(`[data-${hook}]`);
export const count = (number, one) => `${number} ${one}${number === 1 ? "" : "s"}`;
export const say = (words) => (document.getElementById("status").textContent = words);
export const today = (when = Date.now()) => new Date(when).toDateString();
export const outcome = ({ result, judged }) => ((result || judged || {}).outcome || "kept");

const moment = (when) =>
  new Date(when).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
const STATES = {
  sending: "Sending.",
  "no signal": "No signal; they go out by themselves when it is back.",
  "at fault": "The service, or something on the way to it, did not take this. It stays here and is tried again by itself.",
  "answers-of-another-person": "They were given under another name: sign in under it on this device.",
};

// Whose device this is and their database, or why nothing can be kept.
export async function find(state) {
  if (!isSecureContext) state.why = "Questions can be kept only where the address begins with https.";
  else if (!("serviceWorker" in navigator)) state.why = "Questions cannot be kept: this browser has no service worker.";
  else {
    let person;
    try {
      person = await store.person();
      state.db = person ? await store.open(person) : null;
      if (person || !state.set) state.person = person;
    } catch {
      // Refused; or deleted just now by signing out in another tab, after which there is no person.
      if (!person || person === (await store.who())) state.why = NO_STORAGE;
    }
  }
}

// Everything that the database of this device's person holds; nothing where there is none. One reading after the other:
// an older one must not overwrite a newer one.
let reading = Promise.resolve();
export const load = (state) => (reading = reading.then(() => readAll(state)));

async function readAll(state) {
  const names = ["questions", "answers", "sets", "meta"];
  let found = null;
  try {
    found = state.db && (await Promise.all(names.map((name) => store.all(state.db, name))));
  } catch {
    // Deleted in another tab: it is opened anew.
    state.db = null;
  }
  // A set on the screen goes on from memory where its questions were deleted.
  if (state.set && !(found && found[0].length)) found = names.map((name) => state[name]);
  names.forEach((name, at) => (state[name] = (found && found[at]) || []));
  state.answers = [...state.answers.filter(({ n }) => n > 0), ...loose];
  state.questions.sort((one, other) => one.place - other.place);
  state.given = Object.fromEntries(state.answers.map((answer) => [answer.question, answer]));
  state.set = state.set && (state.sets.find(({ id }) => id === state.set.id) || state.set);
}

// Keeps an answer on the disk before anybody says so; of two tabs that answer one question the first counts.
export const give = (db, answer) =>
  store.run(db, ["answers"], "readwrite", async (answers) => {
    const had = await store.done(answers.index("question").get(answer.question));
    if (had) return { answer: had, first: false };
    return { answer: { ...answer, n: await store.done(answers.add(answer)) }, first: true };
  });

export const drop = (db, name, key) => store.run(db, [name], "readwrite", (rows) => store.done(rows.delete(key)));

export const meta = (state, name) => state.meta.find((row) => row.name === name) || {};
export const ready = (state) => state.questions.filter(({ id, spare_of }) => !spare_of && !state.given[id]);

export function waits(state) {
  const waiting = state.answers.filter((answer) => answer.state === "waiting").length;
  return waiting && `${count(waiting, "answer")} given here ${waiting === 1 ? "waits" : "wait"} to be sent.`;
}

function tell(hook, words) {
  const place = at(hook);
  place.hidden = !words;
  place.textContent = words || "";
}

// `owed` are the cautions above Start, `open` the set that can be gone on with, as {name, answered, left}.
export async function paint(state, owed, open) {
  const there = ready(state);
  const minutes = Math.round(there.reduce((sum, one) => sum + one.seconds, 0) / 60);
  const since = there.map((one) => one.issued_at).sort()[0];
  at("name").textContent = open ? `${open.name}, ${open.answered} of ${open.answered + open.left} answered` : "Short set";
  for (const part of screen.querySelectorAll("[data-fresh]")) part.hidden = Boolean(open);
  for (const part of screen.querySelectorAll("[data-other]")) part.hidden = !open;
  if (open) at("left").textContent = `${open.left} left`;
  at("caution='C9'").hidden = !owed.includes("C9");
  at("begin").hidden = !there.length;
  tell("why-off", state.why);
  const used = state.questions.length ? "Every question kept here is answered. " : "No questions are kept here yet. ";
  const none = state.why ? "" : `${used}They come by themselves, with signal, once you have started a set.`;
  const held = `${count(there.length, "question")} kept here, about ${count(minutes, "minute")}, since ${moment(since || 0)}.`;
  tell("kept", there.length ? held : none);
  at("waits").hidden = !waits(state);
  at("waiting").textContent = waits(state) || "";
  at("state").textContent = STATES[state.sending] || "";
  for (const need of screen.querySelectorAll("[data-need]")) need.hidden = need.dataset.need !== state.sending;
  // What is in this page only would be lost with it.
  for (const link of screen.querySelectorAll("[data-need] a")) link.target = loose.length ? "_blank" : "";
  const stored = state.answers.some((answer) => answer.state === "stored") && !waits(state);
  tell("stored", stored && "Every answer given here is stored by the service.");
  // Where theirs cannot be read, this person's own screen is painted all the same.
  const others = Object.values(await store.others().catch(() => [])).reduce((sum, one) => sum + one, 0);
  if (!at("device")) return; // meanwhile a set was begun, or the live start page came
  const whose = "until that person signs in on this device";
  at("claim").hidden = !others || state.other !== "claim";
  tell("others", others && `${count(others, "answer")} of somebody else ${others === 1 ? "waits" : "wait"} here ${whose}.`);
  const differs = (answer) => answer.state === "stored" && answer.result.differs && answer.judged && !answer.seen;
  list(state, "differing", differs, (answer) => `The service judged this differently: ${outcome(answer)}, not ${answer.judged.outcome}.`);
  list(state, "refused", (answer) => answer.state === "refused", ({ problem }) => `${problem.detail} ${problem.mend || ""}`);
  at("keeping").hidden = !state.db;
  at("keep").checked = put ? put.on : !meta(state, "off").value;
}

function list(state, hook, which, words) {
  const rows = state.answers.filter(which);
  const place = at(hook).querySelector("ul");
  at(hook).hidden = !rows.length;
  // A list that is the same stays, and with it the focus in it.
  const same = rows.map(({ n }) => n).join();
  if (place.dataset.rows === same) return;
  place.dataset.rows = same;
  place.replaceChildren();
  for (const answer of rows) {
    const [item, title, said] = ["li", "p", "p"].map((name) => document.createElement(name));
    const button = document.createElement("button");
    Object.assign(title, { className: "spot-head", textContent: answer.title });
    said.textContent = words(answer);
    Object.assign(button, { type: "button", className: "plain", textContent: "Remove" });
    button.dataset.remove = answer.n;
    button.setAttribute("aria-label", `Remove: ${answer.title}`);
    item.append(title, said, button);
    place.append(item);
  }
}

// What was pressed on this screen; `again` shows it anew.
export async function press(state, button, again) {
  const { remove, delete: all } = button.dataset;
  if (remove) {
    const answer = state.answers.find(({ n }) => n === Number(remove));
    // What the service judged is only no longer shown; what it refused goes.
    if (answer.n < 0) loose.splice(loose.indexOf(answer), 1);
    else if (answer.state === "refused") await drop(state.db, "answers", answer.n);
    else await store.put(state.db, "answers", { ...answer, seen: true });
    await again();
    head();
  } else if ("send" in button.dataset) flush();
  else if (all === "" && waits(state)) {
    at("sure").hidden = false;
    tell("loses", `${waits(state)} Deleting loses them for good.`);
    at("delete='no'").focus();
  } else if (all !== undefined) {
    at("sure").hidden = true;
    if (all !== "no") await forgetAll(state, again);
    at("delete").focus();
  }
}

// Nothing comes back by itself after it was deleted: the switch is off until somebody wants questions here again.
async function forgetAll(state, again) {
  state.db.close();
  await wipe(state.person);
  state.db = await store.open(state.person);
  await store.put(state.db, "meta", { name: "off", value: true });
  await again();
  say("Deleted. Nothing is kept on this device.");
}

// How the switch was put last, until that is kept: a screen painted meanwhile, of what was read before, leaves it so.
let put = null;

export async function keepOrNot(state, on, again) {
  const mine = (put = { on });
  try {
    await store.put(state.db, "meta", { name: "off", value: !on });
    say(on ? "Questions are kept ready here." : "No more questions come here; what is here stays until it is deleted.");
    if (on) await fill({ force: true });
    await again();
  } finally {
    if (put === mine) put = null;
  }
}
