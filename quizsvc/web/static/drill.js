// The drill: start, answer, feedback, next, end, all in one page.
import { fieldsOf, head, prepare, read, refuse, tap } from "./form.js";
import { forget, keep, recall } from "./kept.js";
import { send, uuid } from "./send.js";

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
  if (!form.matches("[data-start], [data-answer], [data-swap]")) return;
  event.preventDefault();
  if ("start" in form.dataset) start(form, event.submitter);
  else if ("answer" in form.dataset) answer(form, event.submitter);
  else load(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) }, () => form.submit());
}

function onClick(event) {
  const link = event.target.closest("a[data-swap]");
  if (link && !event.metaKey && !event.ctrlKey && !event.shiftKey) {
    event.preventDefault();
    if (ahead?.url === link.getAttribute("href")) show(ahead.html, ahead.url);
    else load(link.href, {}, () => location.assign(link.href));
  }
  const field = tap(event);
  if (field) remember({ target: field });
}

const asked = (form) => form.closest("[data-question]").dataset.question;

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
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "minutes", value: button.value }));
    form.submit();
  }
}

async function answer(form, button) {
  const question = asked(form);
  const row = recall(question) || {};
  const response = read(form, button);
  if (typeof response === "string") return refuse(response);
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
    // Refused by the service, so not stored: the next try is a new answer. After a fault, or a page of something on the way,
    // nobody knows, so it stays the same.
    const { status, problem = {} } = error;
    keep(question, { fields: fieldsOf(form), uuid: status < 500 && problem.type ? undefined : sent.uuid });
    say("");
    if (status === 401) location.assign("/sign-in?next=/questions/" + question);
    else refuse([problem.detail, problem.mend].filter(Boolean).join(" ") || "This could not be sent.", problem.where);
  }
}

function remember(event) {
  const form = event.target.closest("[data-answer]");
  if (!form || form.hasAttribute("aria-busy")) return;
  const question = asked(form);
  // After a fault the next try is the same answer, also where it was changed.
  keep(question, { fields: fieldsOf(form), uuid: recall(question)?.uuid });
}

// A screen that has just appeared: what was typed comes back, what had no reply goes out again.
function ready() {
  const form = screen.querySelector("[data-answer]");
  if (!form) return;
  const question = asked(form);
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
    if (!response.ok) throw new Error();
    show(page.getElementById("screen").innerHTML, new URL(response.url).pathname, page.title);
  } catch {
    // No signal, or no screen.
    otherwise();
  }
}

function show(html, address, title) {
  screen.innerHTML = html;
  document.title = title || screen.querySelector("[data-title]")?.dataset.title || document.title;
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
      const link = Object.assign(document.createElement("a"), { href: "/on-this-device", textContent: "Go on with what is on this device" });
      status.replaceChildren("", button, " ", navigator.serviceWorker?.controller ? link : "");
    }
    status.firstChild.data = `${what}. Trying again in ${seconds} s; it is kept on this device. `;
  };
}

function say(words) {
  status.textContent = words;
}
