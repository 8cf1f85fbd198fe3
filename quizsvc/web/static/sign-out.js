// Leaving this device: what waits is offered to be sent first. Once the service has said that the session is over,
// everything of this person here is deleted, so that whoever uses it next finds nothing.
import { PREFIX, recall } from "./kept.js";
import { flush } from "./outbox.js";
import { all, device, done, open, setWho, who } from "./store.js";

export async function leave(form) {
  const person = await who();
  const [left, refused] = await count(person);
  if (!left && !refused) return go(form, person);
  const those = left === 1 ? "One answer given on this device still waits" : `${left} answers given on this device still wait`;
  const words = tell(
    form,
    `${left ? `${those} to be sent. ` : ""}${refused ? `Refused by the service: ${refused}. ` : ""}Going on deletes what is here.`,
    ...(left ? [button("Send first, then go on", "button", send)] : []),
    button(left ? "Go on without sending" : "Go on", "plain", () => go(form, person)),
  );

  async function send() {
    words.textContent = "Sending.";
    addEventListener("outbox", ({ detail: { state, waiting: still } }) => {
      if (still && state !== "sending") words.textContent = "They cannot be sent now. Staying signed in keeps them here.";
    });
    await flush();
    if (drafts().length) await (await import("./homework.js")).flush();
    const [still, more] = await count(person);
    // What was refused only now is said before it is deleted.
    if (!still) await (more > refused ? leave(form) : go(form, person));
  }
}

// How many answers wait here, and how many the service refused.
async function count(person) {
  const answers = person ? await all(await open(person), "answers") : [];
  const [waiting, refused] = ["waiting", "refused"].map((state) => answers.filter((one) => one.state === state).length);
  return [waiting + drafts().length, refused];
}

// What was written for homework and is not saved by the service yet.
function drafts() {
  const keys = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
  return keys.filter((key) => recall(key.slice(PREFIX.length))?.draft);
}

async function go(form, person) {
  try {
    const body = new URLSearchParams(new FormData(form));
    const reply = await fetch(form.action, { method: "POST", body, redirect: "manual" });
    if (await over()) {
      await clear(person).catch(() => {});
      return location.assign("/");
    }
    // A mistyped name, say: the service's page tells.
    const page = new DOMParser().parseFromString(await reply.text(), "text/html");
    document.getElementById("screen").replaceChildren(...page.getElementById("screen").childNodes);
  } catch {
    // No signal, or no reply of the service's own.
    tell(form, "Not confirmed by the service, so nothing here was deleted. Try again with signal.");
  }
}

// Asked for what needs a person, the service says that there is none in this browser any more.
async function over() {
  const headers = { "Content-Type": "application/json" };
  const { type } = await (await fetch("/api/v1/kept-questions", { method: "POST", headers, body: "{}" })).json();
  return type === "urn:quizsvc:sign-in-needed";
}

function tell(form, said, ...buttons) {
  document.getElementById("leaving")?.remove();
  const box = document.createElement("div");
  const words = document.createElement("p");
  Object.assign(box, { id: "leaving", className: "refusal" });
  box.setAttribute("role", "alert");
  words.textContent = said;
  box.append(words, ...buttons);
  form.append(box);
  buttons[0]?.focus();
  return words;
}

function button(words, look, does) {
  const made = document.createElement("button");
  Object.assign(made, { type: "button", className: look, textContent: words, onclick: does });
  return made;
}

async function clear(person) {
  for (const key of Object.keys(localStorage)) if (key.startsWith(PREFIX)) localStorage.removeItem(key);
  // Where the very first questions have come while the session ended, it is known only now whose they are.
  const left = person || (await who());
  // Before the rest, so that nothing is filled or sent for this person any more.
  await setWho(null);
  if (left) await wipe(left);
}

export async function wipe(person) {
  await device("persons", (known = []) => known.filter((one) => one !== person));
  if (self.caches) await caches.delete("kept");
  await done(indexedDB.deleteDatabase(`quizsvc-${person}`));
}
