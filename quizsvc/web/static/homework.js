// Homework: what stands in the fields is saved while one types. Without signal it is kept on this device and sent later.
import { fieldsOf, prepare, read } from "./form.js";
import { forget, keep, recall } from "./kept.js";

const PREFIX = "answer:"; // of kept.js
const AFTER_MS = 700;
const TRY_AGAIN_MS = 15000;
const form = document.querySelector("[data-draft]");
const status = document.getElementById("homework-status");
let timer = 0;
let sending = null; // the draft that is on its way
let saved = form && content(form);

if (form) editing();
const handIn = document.querySelector("[data-hand-in]");
if (handIn) handIn.addEventListener("submit", (event) => handOver(event));
countdown();
// A list of what is open, or what would be handed in, is shown anew.
flush().then((sent) => sent && !form && document.querySelector("[data-work], [data-hand-in]") && location.reload());
addEventListener("online", flush);
setInterval(() => waiting().length && flush(), TRY_AGAIN_MS);

// The question on the screen

function editing() {
  const { draft: question } = form.dataset;
  const row = recall(question);
  prepare(form, row && row.draft ? row.fields : []);
  for (const name of ["input", "change", "click"]) form.addEventListener(name, later);
  document.addEventListener("visibilitychange", () => document.hidden && now());
  form.addEventListener("submit", leave);
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(now, AFTER_MS); // also after a tap on a step, which other scripts turn into a place
}

// Keeps what stands in the fields on this device first, then sends it.
function now() {
  clearTimeout(timer);
  const written = content(form);
  if (JSON.stringify(written) === JSON.stringify(saved)) return sending;
  saved = written;
  const version = Number(form.elements.version.value) + 1;
  keep(form.dataset.draft, {
    fields: fieldsOf(form),
    draft: { work: form.dataset.work, version, ...written, given_at: new Date().toISOString() },
  });
  return flush();
}

function content(from, button) {
  const response = read(from, button);
  return { response: typeof response === "string" ? {} : response, sureness: new FormData(from).get("sureness") };
}

// Without signal the page stays, for it could not come back; the draft is kept.
async function leave(event) {
  const button = event.submitter;
  event.preventDefault();
  clearTimeout(timer);
  if (button && button.name !== "pass") now();
  await flush();
  if (recall(form.dataset.draft) && !navigator.onLine) return;
  if (document.getElementById("newer-here")) return;
  if (button && button.name) {
    const pressed = document.createElement("input");
    form.append(Object.assign(pressed, { type: "hidden", name: button.name, value: button.value }));
  }
  form.submit();
}

// What waits on this device

export function waiting() {
  try {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
    return keys.map((key) => [key.slice(PREFIX.length), recall(key.slice(PREFIX.length))]).filter(([, row]) => row && row.draft);
  } catch {
    return []; // storage is switched off: nothing waits
  }
}

// Sends every draft that waits, one round at a time; says whether any was taken.
export function flush() {
  sending = (sending || Promise.resolve()).then(sendAll, sendAll);
  return sending;
}

async function sendAll() {
  let any = false;
  for (const [question, row] of waiting()) {
    const reply = await put(question, row.draft);
    if (!reply) {
      say("No signal: your answer is kept on this device and sent later.");
      return any;
    }
    const same = JSON.stringify((recall(question) || {}).draft) === JSON.stringify(row.draft);
    if (reply.status === 404 || reply.status === 401) continue; // somebody else's, who was here before
    if (!reply.ok) {
      forget(question);
      say(`An answer on this device was not taken: ${shown(row)}. ${reply.body.detail || ""}`);
    } else if (reply.body.saved) {
      any = true;
      if (same) forget(question);
      if (form && form.dataset.draft === question) form.elements.version.value = reply.body.version;
      if (form) say("Saved.");
    } else if (form && form.dataset.draft === question) ask(question, row, reply.body);
    else if (same) forget(question); // a newer one from another device stands there
  }
  return any;
}

async function put(question, draft) {
  try {
    const response = await fetch("/api/v1/drafts", {
      method: "PUT",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify({ question, ...draft, sent_at: new Date().toISOString() }),
    });
    if (response.status >= 500) return null; // busy or away: another time
    return { ok: response.ok, status: response.status, body: await response.json() };
  } catch {
    return null;
  }
}

// Another device has written meanwhile: nobody but the person can say which one is meant.
function ask(question, row, { version, newer }) {
  const old = document.getElementById("newer-here");
  if (old) old.remove();
  const box = document.createElement("div");
  Object.assign(box, { id: "newer-here", className: "refusal" });
  box.setAttribute("role", "alert");
  const words = document.createElement("p");
  words.textContent = `Another device has saved this question meanwhile: ${newer.said}.`;
  box.append(
    words,
    button("Keep what stands here", () => {
      box.remove();
      form.elements.version.value = version;
      saved = null;
      now();
    }),
    button("Take the other one", () => {
      forget(question);
      location.reload();
    }),
  );
  form.before(box);
  forget(question);
}

function shown({ fields }) {
  return fields.filter(([name]) => name !== "sureness").map(([, value]) => value).join(", ");
}

// Handing in

async function handOver(event) {
  const { submitter } = event;
  event.preventDefault();
  await flush();
  if (waiting().some(([, row]) => row.draft.work === handIn.dataset.handIn)) {
    say("No signal: some answers are only on this device. Hand in when there is signal again.");
    return;
  }
  handIn.elements.device_at.value = new Date().toISOString();
  if (submitter && submitter.name) {
    const pressed = document.createElement("input");
    handIn.append(Object.assign(pressed, { type: "hidden", name: submitter.name, value: submitter.value }));
  }
  handIn.submit();
}

// A Sitting's time, counted from when the page came: the device's clock may be wrong.
function countdown() {
  const line = document.querySelector("[data-left]");
  if (!line) return;
  const words = line.querySelector("[data-minutes]");
  const end = performance.now() + Number(line.dataset.left) * 1000;
  const tick = async () => {
    const left = Math.max(0, Math.floor((end - performance.now()) / 1000));
    words.textContent = left < 60 ? "Less than a minute left." : `${Math.floor(left / 60)} min left.`;
    if (left > 0) return;
    clearInterval(clock);
    if (form) await now();
    words.textContent = "The time is over.";
  };
  const clock = setInterval(tick, 1000);
}

function button(words, does) {
  const made = document.createElement("button");
  return Object.assign(made, { type: "button", className: "plain", textContent: words, onclick: does });
}

function say(words) {
  if (status) status.textContent = words;
}
