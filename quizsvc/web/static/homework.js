// Homework: what stands in the fields is saved while one types. Without signal it is kept on this device and sent later.
import { fieldsOf, prepare, read } from "./form.js";
import { forget, keep, PREFIX, recall } from "./kept.js";
import { once } from "./send.js";

const AFTER_MS = 700;
const TRY_AGAIN_MS = 15000;
export const LAST_SAVED = "homework-saved";
const status = document.getElementById("homework-status");
const here = new Map(); // drafts that the browser refuses to keep, by question
let timer = 0;
let sending = null; // the drafts that are on their way
// The questions on the screen: one in its form, or several in one whose names begin differently.
const sheets = [...document.querySelectorAll("[data-draft]")].map((root) => {
  const { draft: question, work, pre = "" } = root.dataset;
  const sheet = { root, question, work, pre, form: root.closest("form") };
  return { ...sheet, saved: content(sheet) };
});

if (sheets.length) editing(sheets[0].form);
flush();
addEventListener("online", flush);
setInterval(() => waiting().length && flush(), TRY_AGAIN_MS);
if (document.querySelector(".time-left")) import("./homework-time.js");

// The questions on the screen

function editing(form) {
  for (const sheet of sheets) {
    const { draft, fields } = waitingFor(sheet.question) || {};
    prepare(sheet.root, draft ? fields.map(([name, value]) => [sheet.pre + name, value]) : []);
    const pass = field(sheet, "pass");
    if (draft && pass) pass.checked = draft.response.pass === true;
  }
  for (const name of ["input", "change", "click"]) form.addEventListener(name, later);
  document.addEventListener("visibilitychange", () => document.hidden && now());
  form.addEventListener("submit", leave);
  form.addEventListener("keydown", stay);
  // Without signal the page could not come back; what no storage takes would be gone with it.
  addEventListener("beforeunload", (event) => (here.size || !navigator.onLine) && event.preventDefault());
}

function later({ type, target }) {
  const sheet = sheets.find(({ root }) => root.contains(target));
  const pass = sheet && field(sheet, "pass");
  const given = type === "input" ? !(target.name || "").endsWith("sureness") : type === "click" && target.closest(".step, .plot, .sign");
  if (given && pass && pass !== target) pass.checked = false; // answering takes a pass back
  clearTimeout(timer);
  timer = setTimeout(now, AFTER_MS); // also after a tap on a step, which other scripts turn into a place
}

// The key of a phone that ends a line sends one question, but not a whole work.
function stay(event) {
  if (event.key !== "Enter" || !event.target.matches("[data-pre] input[type='text']")) return;
  event.preventDefault();
  now();
}

// Keeps what stands in the fields on this device first, then sends it.
export function now() {
  clearTimeout(timer);
  let any = false;
  for (const sheet of sheets) {
    const written = content(sheet);
    if (JSON.stringify(written) === JSON.stringify(sheet.saved)) continue;
    any = true;
    sheet.saved = written;
    // What waits keeps its number, by which the service sees what it was made from.
    const version = waitingFor(sheet.question)?.draft?.version || Number(field(sheet, "version").value) + 1;
    const draft = { work: sheet.work, version, ...written, given_at: new Date().toISOString() };
    put(sheet.question, { fields: fieldsOf(own(sheet)), draft });
  }
  return any ? flush() : sending;
}

// A form of its own with the fields of a question, named as where it stands alone.
function own({ form, pre }) {
  const made = document.createElement("form");
  for (const [name, value] of new FormData(form)) {
    if (name.startsWith(pre)) made.append(hidden(name.slice(pre.length), value));
  }
  return made;
}

function content(sheet) {
  const fields = own(sheet);
  const given = read(fields, fields.elements.pass);
  const response = typeof given === "string" || untouched(given) ? {} : given;
  return { response, sureness: new FormData(fields).get("sureness") };
}

// Boxes that nobody has touched are there all the same.
function untouched({ readings, option }) {
  return readings && option === undefined && Object.values(readings).every((typed) => !typed.trim());
}

function field({ form, pre }, name) {
  return form.elements[pre + name];
}

// Without signal the page stays, for it could not come back; the draft is kept.
async function leave(event) {
  const { submitter: button } = event;
  const form = event.target;
  event.preventDefault();
  clearTimeout(timer);
  if (button?.name !== "pass") now();
  await flush();
  // A whole work is sent piece by piece; the form of one question may bring what the call could not.
  if (sheets.some(({ question }) => waitingFor(question)) && (form.dataset.whole || !navigator.onLine)) return;
  if (document.querySelector(".newer-here")) return;
  if (button?.name === "stay") return say("Saved.");
  here.clear(); // the form brings it
  press(form, button);
}

// Sends a form as if by its button.
export function press(form, button) {
  if (button?.name) form.append(hidden(button.name, button.value));
  form.submit();
}

function hidden(name, value) {
  return Object.assign(document.createElement("input"), { type: "hidden", name, value });
}

// What waits on this device

function put(question, row) {
  keep(question, row);
  if (JSON.stringify(recall(question)) === JSON.stringify(row)) here.delete(question);
  else here.set(question, row);
}

function waitingFor(question) {
  return here.get(question) || recall(question);
}

function drop(question) {
  here.delete(question);
  forget(question);
}

export function waiting() {
  let keys = [];
  try {
    keys = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)).map((key) => key.slice(PREFIX.length));
  } catch {
    // storage is switched off: only this page has anything
  }
  const all = [...new Set([...keys, ...here.keys()])];
  return all.map((question) => [question, waitingFor(question)]).filter(([, row]) => row && row.draft);
}

// Sends every draft that waits, one round at a time; says whether any was taken.
export function flush() {
  sending = (sending || Promise.resolve()).then(sendAll, sendAll).then((any) => (any && dispatchEvent(new Event("saved")), any));
  return sending;
}

async function sendAll() {
  let any = false;
  for (const [question, row] of waiting()) {
    const sheet = sheets.find((one) => one.question === question);
    if (sheet?.box?.isConnected) continue; // it was asked which one is meant
    const { saved, status, version, newer, detail } = (await call(question, row.draft)) || {};
    if (status === 404) continue; // somebody else's, who was here before
    if (status === 401 || (!status && saved === undefined)) {
      unsent(status ? "Sign in again in another tab" : "No signal");
      return any;
    }
    const last = waitingFor(question);
    const same = JSON.stringify(last) === JSON.stringify(row);
    const other = newer && `Saved meanwhile, here or on another device: ${newer.said}.`;
    if (saved) {
      any = true;
      if (same) drop(question);
      // Written on while it was on its way: the next writing follows on this one.
      else if (last?.draft) put(question, { ...last, draft: { ...last.draft, version: version + 1 } });
      note();
      if (!sheet) continue;
      field(sheet, "version").value = version;
      tell(sheet, "Saved.");
    } else if (sheet && other) ask(sheet, version, other);
    else {
      if (same) drop(question);
      tell(sheet, `An answer on this device was not taken: ${shown(row)}. ${other || detail}`);
    }
  }
  return any;
}

async function call(question, draft) {
  try {
    return await once("/api/v1/drafts", () => ({ question, ...draft, sent_at: new Date().toISOString() }), { method: "PUT" });
  } catch ({ status, problem }) {
    // Busy or away, or not a word of the service's own: another time.
    return status < 500 && problem.type && { ...problem, status };
  }
}

function unsent(why) {
  for (const sheet of sheets) if (waitingFor(sheet.question)) mark(sheet, "On this device, not sent yet.");
  const rest = here.size ? ". Leave this page open: this browser keeps nothing." : ": your answer is kept on this device and sent later.";
  say(why + rest);
}

// Another device has written meanwhile: nobody but the person can say which one is meant.
function ask(sheet, version, other) {
  const box = document.createElement("div");
  sheet.box = Object.assign(box, { className: "refusal newer-here" });
  box.setAttribute("role", "alert");
  const words = document.createElement("p");
  words.textContent = other;
  box.append(
    words,
    button("Keep what stands here", () => {
      box.remove();
      drop(sheet.question);
      field(sheet, "version").value = version;
      sheet.saved = null;
      now();
    }),
    button("Take the other one", () => {
      drop(sheet.question);
      location.reload();
    }),
  );
  sheet.root.before(box);
}

function shown({ fields }) {
  return fields.filter(([name]) => name !== "sureness").map(([, value]) => value).join(", ");
}

// For the list of the work, which the service may be making just now.
function note() {
  try {
    sessionStorage.setItem(LAST_SAVED, Date.now());
  } catch {
    // storage is switched off: the list's own link looks again
  }
}

function button(words, does) {
  const made = document.createElement("button");
  return Object.assign(made, { type: "button", className: "plain", textContent: words, onclick: does });
}

function tell(sheet, words) {
  if (sheet) mark(sheet, words);
  say(words);
}

function mark({ root }, words) {
  const place = root.querySelector("[data-saved]");
  if (place) place.textContent = words;
}

export function say(words) {
  if (status) status.textContent = words;
}
