// The drill on the device: sets of the questions kept here, with signal or without. The screens stand in the shell's page;
// what was asked and answered is in IndexedDB: a set outlives a closed browser.
import { at, count, drop, find, give, keepOrNot, load, meta, paint, press, say, today, waits } from "./device-home.js";
import { asked, missed, owed, paintEnd, pick, unfinished } from "./device-set.js";
import { filled } from "./feedback.js";
import { head, prepare, read, refuse } from "./form.js";
import { forget, recall } from "./kept.js";
import { flush, loose } from "./outbox.js";
import { uuid } from "./send.js";
import * as store from "./store.js";
import { Open, judge } from "./table.js";

const screen = document.getElementById("screen");
const shell = [...screen.children];
const pages = {};
for (const page of screen.querySelectorAll("[data-page]")) pages[page.dataset.page] = page.content;
const stop = new AbortController();
const WIPED =
  "What was kept on this device has been deleted. This answer is in this page only, until the service has it: leave the page open.";
// With what the database holds; `given` are the answers by question, `set` is the one on the screen.
const state = { db: null, person: null, why: "", sending: "", set: null };
let shown = shell[0]; // once it is gone, another script has put its own screen here

const question = (id) => state.questions.find((one) => one.id === id);
const next = () => asked(state, state.set).next;

function put(page) {
  const fresh = pages[page].cloneNode(true);
  shown = fresh.firstElementChild;
  screen.replaceChildren(fresh);
  say("");
}

async function home() {
  state.set = null;
  shown = shell[0];
  screen.replaceChildren(...shell);
  document.title = "On this device \u00b7 quizsvc";
  await again();
}

// What is on the screen, with what the database holds now.
async function again() {
  if (at("set-open")) return;
  if (!state.why && (!state.db || state.person !== (await store.who()))) await find(state);
  await load(state);
  if (at("sum")) at("sum").textContent = waits(state) || "";
  if (!at("device")) return;
  await paint(state, owed(state), unfinished(state));
}

async function save(set) {
  state.set = set;
  state.sets = [...state.sets.filter(({ id }) => id !== set.id), set];
  try {
    await store.put(state.db, "sets", set);
  } catch (error) {
    // Deleted meanwhile, it goes on from memory.
    if (error.name === "QuotaExceededError") throw error;
  }
  await load(state);
}

async function begin(minutes, long) {
  const { ids, seconds } = pick(state, minutes * 60, long);
  if (!ids.length) return say("None of the questions kept here fits. Choose more minutes, or a Long set.");
  const now = new Date().toISOString();
  const rows = [...(meta(state, "acknowledged").rows || []), ...owed(state).map((id) => ({ id, at: now }))];
  await store.put(state.db, "meta", { name: "acknowledged", rows });
  await store.put(state.db, "meta", { name: "c9", day: today() });
  for (const old of state.sets) await drop(state.db, "sets", old.id);
  await save({ id: uuid(), minutes, long, ids, begun_at: now, ended_at: null, spares: [] });
  ask();
  const found = Math.round(seconds / 60);
  if (found < 0.8 * minutes) say(`${count(ids.length, "question")}, about ${count(found, "minute")}: more is not kept here.`);
}

// The next question of the set, or its end.
function ask() {
  const id = next();
  if (!id) return end();
  put("question");
  at("body").innerHTML = question(id).html;
  bar(id);
  prepare(at("answer"), (recall(id) || {}).fields);
  head();
}

function bar(id) {
  const { ids, spares } = state.set;
  const spare = spares.indexOf(id) + 1;
  const place = spare ? `Again: ${spare} of ${spares.length}` : `${ids.indexOf(id) + 1} of ${ids.length}`;
  const article = at("set-open");
  article.dataset.question = id;
  article.dataset.kind = question(id).kind;
  // An item of the invented aircraft says so itself.
  at("caution='C2'").hidden = Boolean(article.querySelector("[data-caution='C2']"));
  document.getElementById("progress").textContent = place;
  document.title = `${place} \u00b7 quizsvc`;
}

async function answer(form, button) {
  if (form.hasAttribute("aria-busy")) return;
  const one = question(at("question").dataset.question);
  const response = read(form, button);
  if (typeof response === "string") return refuse(response);
  let judged = null; // what the device cannot judge, the service does when it arrives
  try {
    judged = judge(one.table, response, meta(state, "kept").units);
  } catch (error) {
    if (error instanceof Open) return refuse(error.message, error.where);
    console.error(error);
  }
  form.setAttribute("aria-busy", "true");
  const sureness = new FormData(form).get("sureness");
  const sent = { uuid: uuid(), question: one.id, title: one.title, response, sureness, given_at: new Date().toISOString() };
  let given = { ...sent, judged, state: "waiting" };
  try {
    given = (await give(state.db, given)).answer;
  } catch (error) {
    if (error.name === "QuotaExceededError") {
      form.removeAttribute("aria-busy");
      return refuse(`This could not be kept on this device. ${error.message || ""}`);
    }
    // The database was deleted while the question stood here. Nothing is written anew where somebody wanted it deleted.
    given = { ...given, n: -1 - loose.length, person: state.person };
    loose.push(given);
    addEventListener("beforeunload", stay);
  }
  forget(one.id);
  await load(state);
  state.given[one.id] = given;
  feedback(one.id, "Next");
  if (given.n < 0) say(WIPED);
  flush();
}

function stay(event) {
  if (loose.some((one) => one.state === "waiting")) event.preventDefault();
}

function feedback(id, onward) {
  put("feedback");
  at("set-open").replaceChildren(filled(pages.words, question(id).feedback, state.given[id]));
  const button = document.createElement("button");
  Object.assign(button, { type: "button", className: "button", textContent: onward === "Next" && !next() ? "End of set" : onward });
  button.dataset[onward === "Next" ? "next" : "end"] = "";
  at("next").append(button);
  if (!navigator.onLine) for (const link of screen.querySelectorAll(".to-handbook a")) link.replaceWith(`${link.textContent}, with signal`);
  bar(id);
  head();
}

async function end(stopped) {
  const { set } = state;
  // On a device that is full this cannot be kept, and need not be: the end is shown all the same.
  if (!set.ended_at && (stopped || !next())) await save({ ...set, ended_at: new Date().toISOString() }).catch(() => {});
  put("end");
  paintEnd(state, pages);
  head();
  await again();
}

async function onClick({ target }) {
  const button = target.closest("button");
  if (!button) return;
  const { dataset } = button;
  if (dataset.minutes) await begin(Number(dataset.minutes), "long" in dataset);
  else if ("goOn" in dataset) {
    state.set = unfinished(state).set;
    await ask();
  } else if ("next" in dataset) await ask();
  else if ("stop" in dataset) await end(true);
  else if ("end" in dataset) await end();
  else if ("again" in dataset) {
    await save({ ...state.set, ended_at: null, spares: missed(state) });
    await ask();
  } else if (dataset.review) feedback(dataset.review, "End of set");
  else if ("home" in dataset) {
    await home();
    head();
  } else await press(state, button, again);
}

function here() {
  if (!shown.isConnected) stop.abort();
  return shown.isConnected;
}

function listen(where, name, does) {
  const guarded = async (event) => {
    try {
      if (here()) await does(event);
    } catch (error) {
      say(`This device could not keep that. ${error.message}`);
    }
  };
  where.addEventListener(name, guarded, { signal: stop.signal });
}

listen(screen, "click", onClick);
listen(screen, "change", ({ target }) => target.matches("[data-keep]") && keepOrNot(state, target.checked, again));
listen(screen, "submit", (event) => {
  event.preventDefault();
  event.stopPropagation(); // not for the service: it is judged here
  return answer(event.target, event.submitter);
});
listen(window, "outbox", ({ detail }) => {
  Object.assign(state, detail.other ? { other: detail.other } : { sending: detail.state });
  return again();
});
listen(window, "kept", again);
again();
