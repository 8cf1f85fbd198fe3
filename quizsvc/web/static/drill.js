// The drill: start, answer, feedback, next, end, all in one page.
import { forget, keep, recall } from "./kept.js";
import { Refused, send, uuid } from "./send.js";

const screen = document.getElementById("screen");
const status = document.getElementById("status");
const NAMES = { order: "place", pairs: "pair", rows: "row", readings: "reading" }; // fields of what the service calls open
let ahead = null; // the screen after the feedback, sent along with it: {url, html}

export function drill() {
  document.addEventListener("submit", onSubmit);
  document.addEventListener("click", onClick);
  document.addEventListener("input", remember);
  addEventListener("popstate", () => location.reload());
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
  const step = event.target.closest("[data-order] .step");
  if (step) {
    event.preventDefault();
    place(step);
  }
  const plot = event.target.closest(".plot .picture");
  if (plot) {
    const radio = plot.closest(".plot").querySelector("input");
    radio.checked = true;
    remember({ target: radio });
  }
  if (event.target.matches(".sign")) {
    const field = event.target.nextElementSibling;
    field.value = /^[-\u2212]/.test(field.value) ? field.value.slice(1) : "-" + field.value;
    field.focus();
    remember({ target: field });
  }
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
  } catch {
    // The form says in its own page what is wrong.
    form.removeAttribute("aria-busy");
    const chosen = document.createElement("input");
    chosen.type = "hidden";
    chosen.name = "minutes";
    chosen.value = button.value;
    form.append(chosen);
    form.submit();
  }
}

async function answer(form, button) {
  const question = form.closest("[data-question]").dataset.question;
  const row = recall(question) || {};
  const nothing = form.elements.text ? "typed yet. Type a number" : "picked yet. Pick what is true";
  const response = read(form, button) || `Nothing is ${nothing}, or pass.`;
  if (typeof response === "string") {
    refuse(response);
    return;
  }
  const sureness = new FormData(form).get("sureness") || null;
  await deliver(form, question, {
    question,
    uuid: row.uuid || uuid(),
    response,
    sureness,
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

// What is answered, in the words of the service; null while nothing is, a text where two steps have one place. Which row
// is still open, the service says.
function read(form, button) {
  const fields = new FormData(form);
  if (button && button.name === "pass") return { pass: true };
  if (form.elements.text) return fields.get("text").trim() ? { text: fields.get("text").trim() } : null;
  const readings = under(fields, "reading-");
  const option = fields.has("option") ? { option: fields.get("option") } : {};
  if (readings) return { readings, ...option };
  if (fields.has("option")) return option;
  if (fields.has("spoken")) return { points: fields.getAll("points") };
  const places = under(fields, "place-");
  if (places) {
    const steps = Object.keys(places).filter((step) => places[step]);
    const twice = steps.find((step, at) => steps.slice(0, at).some((before) => places[before] === places[step]));
    if (twice) return `Two steps have place ${places[twice]}. Give each its own place.`;
    return steps.length ? { order: steps.sort((one, other) => places[one] - places[other]) } : null;
  }
  const rows = under(fields, "row-");
  if (rows) {
    const actions = under(fields, "after-") || {};
    for (const row of Object.keys(rows)) if (rows[row] === "after") rows[row] = actions[row] || "";
    return { rows };
  }
  const pairs = under(fields, "pair-");
  if (pairs) return { pairs };
  return fields.has("options") ? { options: fields.getAll("options") } : null;
}

// The fields whose names begin so, by the rest of their names; null where there is none.
function under(fields, prefix) {
  const found = [...fields].filter(([name]) => name.startsWith(prefix));
  return found.length ? Object.fromEntries(found.map(([name, value]) => [name.slice(prefix.length), value])) : null;
}

function fieldsOf(form) {
  return [...new FormData(form)].filter(([name]) => /^(text|options?|points|sureness)$|^(reading|place|row|after|pair)-/.test(name));
}

// Tapping a step gives it the next place, tapping it again takes the place back; the lists work all the same.
function place(step) {
  const lists = [...step.closest("[data-order]").querySelectorAll("select")];
  const own = step.closest("li").querySelector("select");
  if (own.value) {
    const gone = Number(own.value);
    own.value = "";
    for (const list of lists) if (Number(list.value) > gone) list.value = String(Number(list.value) - 1);
  } else {
    own.value = String(Math.max(0, ...lists.map((list) => Number(list.value))) + 1);
  }
  remember({ target: own });
}

function remember(event) {
  const form = event.target.closest("[data-answer]");
  if (!form || form.hasAttribute("aria-busy")) return;
  keep(form.closest("[data-question]").dataset.question, { fields: fieldsOf(form) });
}

// Makes a screen that has just appeared ready: what was typed comes back, an answer without a reply goes out again.
function ready() {
  const form = screen.querySelector("[data-answer]");
  if (!form) return;
  for (const field of form.querySelectorAll(".number input")) addSign(field);
  const hint = form.querySelector("[data-order-hint]");
  if (hint) hint.textContent = "Tap the steps in their order; tap again to take one back.";
  const question = form.closest("[data-question]").dataset.question;
  const row = recall(question);
  if (!row) return;
  for (const [name, value] of row.fields || []) {
    for (const field of form.querySelectorAll(`[name="${name}"]`)) {
      if (field.type === "text" || field.tagName === "SELECT") field.value = value;
      else if (field.value === value) field.checked = true;
    }
  }
  if (row.sent) deliver(form, question, row.sent);
}

// Some phones' number pads have no minus.
function addSign(field) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain sign";
  button.textContent = "\u00b1";
  button.setAttribute("aria-label", "Change the sign");
  field.before(button);
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
  say("");
  scrollTo(0, 0);
  const heading = screen.querySelector("#outcome") || screen.querySelector("#progress") || screen.querySelector("h1");
  if (heading) {
    heading.tabIndex = -1;
    heading.focus({ preventScroll: true });
  }
  ready();
}

// Says why nothing was stored: beside the row that is open, where the service names one.
function refuse(words, where = "") {
  const place = screen.querySelector("#refusal");
  const [group, id] = where.split("/");
  const open = id && screen.querySelector(`[name="${NAMES[group]}-${id}"]`);
  const field = open || document.getElementById("text");
  const row = open && open.closest("fieldset, li");
  if (row) row.append(place);
  else if (open) open.closest(".number").after(place);
  place.hidden = false;
  place.textContent = words;
  for (const old of screen.querySelectorAll("[aria-invalid]")) old.removeAttribute("aria-invalid");
  if (!field) return;
  if (field.type !== "radio") field.setAttribute("aria-invalid", "true");
  field.focus();
}

function notYet(what) {
  return (seconds, now) => {
    say(`${what}. Trying again in ${seconds} s; it is kept on this device. `);
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain";
    button.textContent = "Try now";
    button.addEventListener("click", now);
    status.append(button);
  };
}

function say(words) {
  status.textContent = words;
}
