// The drill: start, answer, feedback, next, end, all in one page.
import { fieldsOf, head, prepare, read, refuse, tap } from "./form.js";
import { forget, keep, recall } from "./kept.js";
import { Refused, send, uuid } from "./send.js";

const screen = document.getElementById("screen");
const status = document.getElementById("status");
let shown = location.pathname;
// The screen after the feedback: {url, html}.
let ahead = null;

export function drill() {
  document.addEventListener("submit", onSubmit);
  document.addEventListener("click", onClick);
  document.addEventListener("input", remember);
  // Not for a link within the page.
  addEventListener("popstate", () => location.pathname === shown || location.reload());
  ready();
}

function onSubmit(event) {
  const form = event.target;
  if (form.matches("[data-start]")) {
    event.preventDefault();
    start(form, event.submitter);
  } else if (form.matches("[data-answer]")) {
    event.preventDefault();
    answer(form, event.submitter);
  } else if (form.matches("[data-swap]")) {
    event.preventDefault();
    load(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) }, () => form.submit());
  }
}

function onClick(event) {
  const link = event.target.closest("a[data-swap]");
  if (link && !event.metaKey && !event.ctrlKey && !event.shiftKey) {
    event.preventDefault();
    if (ahead && ahead.url === link.getAttribute("href")) show(ahead.html, ahead.url);
    else load(link.href, {}, () => location.assign(link.href));
  }
  const field = tap(event);
  if (field) remember({ target: field });
}

async function start(form, button) {
  const fields = new FormData(form);
  const body = {
    minutes: Number(button.value),
    long: fields.get("long") === "1",
    acknowledged: fields.getAll("acknowledged"),
    html: true,
  };
  if (busy(form)) return;
  try {
    const reply = await send("/api/v1/sets", () => body, notYet("The set is not begun yet"));
    show(reply.html, reply.url);
    dispatchEvent(new Event("begun"));
  } catch {
    // The form says in its own page what is wrong.
    form.removeAttribute("aria-busy");
    const chosen = document.createElement("input");
    form.append(Object.assign(chosen, { type: "hidden", name: "minutes", value: button.value }));
    form.submit();
  }
}

async function answer(form, button) {
  const question = form.closest("[data-question]").dataset.question;
  const row = recall(question) || {};
  const response = read(form, button);
  if (typeof response === "string") {
    refuse(response);
    return;
  }
  await deliver(form, question, {
    question,
    uuid: row.uuid || uuid(),
    response,
    sureness: new FormData(form).get("sureness") || null,
    given_at: new Date().toISOString(),
    html: true,
  });
}

// Sends an answer until it is stored; the same UUID each time, so that it is stored once.
async function deliver(form, question, sent) {
  if (busy(form)) return;
  keep(question, { uuid: sent.uuid, fields: fieldsOf(form), sent });
  say("Sending.");
  try {
    const body = () => ({ ...sent, sent_at: new Date().toISOString() });
    const reply = await send("/api/v1/answers", body, notYet("Your answer is not stored yet"));
    forget(question);
    ahead = reply.next;
    // Within a scenario the next part follows at once; what this one was worth comes with the last.
    if (reply.html) show(reply.html, "/questions/" + question);
    else show(reply.next.html, reply.next.url);
  } catch (error) {
    form.removeAttribute("aria-busy");
    // Refused, so not stored: the next try is a new answer. After a fault of the service nobody knows, so it stays the same.
    keep(question, { fields: fieldsOf(form), uuid: error.status === 500 ? sent.uuid : undefined });
    say("");
    if (error instanceof Refused && error.status === 401) location.assign("/sign-in?next=/questions/" + question);
    else if (error.problem) refuse([error.problem.detail, error.problem.mend].filter(Boolean).join(" "), error.problem.where);
    else refuse("This could not be sent.");
  }
}

function remember(event) {
  const form = event.target.closest("[data-answer]");
  if (!form || form.hasAttribute("aria-busy")) return;
  keep(form.closest("[data-question]").dataset.question, { fields: fieldsOf(form) });
}

// A screen that has just appeared: what was typed comes back, what had no reply goes out again.
function ready() {
  const form = screen.querySelector("[data-answer]");
  if (!form) return;
  const question = form.closest("[data-question]").dataset.question;
  const row = recall(question) || {};
  prepare(form, row.fields);
  if (row.sent) deliver(form, question, row.sent);
}

function busy(form) {
  if (form.hasAttribute("aria-busy")) return true;
  form.setAttribute("aria-busy", "true");
  return false;
}

async function load(address, options, otherwise) {
  try {
    const response = await fetch(address, options);
    const page = new DOMParser().parseFromString(await response.text(), "text/html");
    const found = page.getElementById("screen");
    if (!response.ok || !found) throw new Error("not a screen");
    show(found.innerHTML, new URL(response.url).pathname, page.title);
  } catch {
    otherwise();
  }
}

function show(html, address, title) {
  screen.innerHTML = html;
  const named = screen.querySelector("[data-title]");
  document.title = title || (named && named.dataset.title) || document.title;
  if (address !== location.pathname) history.pushState(null, "", address);
  shown = location.pathname;
  say("");
  head();
  ready();
}

function notYet(what) {
  const button = document.createElement("button");
  return (seconds, now) => {
    // Whoever is about to press it keeps it.
    if (!button.isConnected) {
      Object.assign(button, { type: "button", className: "plain", textContent: "Try now", onclick: now });
      const link = document.createElement("a");
      Object.assign(link, { href: "/on-this-device", textContent: "Go on with what is on this device" });
      status.replaceChildren("", button, " ", navigator.serviceWorker?.controller ? link : "");
    }
    status.firstChild.data = `${what}. Trying again in ${seconds} s; it is kept on this device. `;
  };
}

function say(words) {
  status.textContent = words;
}
